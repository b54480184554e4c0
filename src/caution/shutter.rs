//! What is said of shutter times that frames or a camera record measure.

use crate::profile::Grade;
use crate::quantity::Stops;
use std::cmp::Ordering;

/// From so many years on a camera record is called old (ours).
const OLD_YEARS: u32 = 3;

/// A strength that moves by less, and is known to twice as much without the record, is right to a hundredth of
/// a stop either way, stops (ours).
const NO_HARM: f64 = 0.005;

/// What measured times do for a strength, or would do.
#[derive(Clone, Debug, PartialEq)]
pub enum ShutterDoubt {
    /// Shutter times limit the strength, and a few frames more would measure them.
    MoreFramesWouldHelp {
        /// How many.
        count: usize,
        /// u95 as it is.
        now: Stops,
        /// u95 as it would be.
        then: Stops,
        /// Which frames.
        what: String,
    },
    /// Times were taken from a camera record.
    RecordUsed {
        /// When its frames were made.
        made_on: Option<String>,
        /// Whole years from then to this shoot, where both tell their day.
        years: Option<u32>,
        /// The files tell no serial number, so that it may be of another body.
        unnumbered: bool,
        /// Times that it holds.
        known: Vec<String>,
        /// Times that it does not hold.
        not_known: Vec<String>,
        /// Largest u95 of a strength with it.
        with: Stops,
        /// The same without it.
        without: Stops,
    },
    /// The frames measure ratios of shutter times that are not the record's.
    RecordContradicted {
        /// What the strength moves by when the record is taken up.
        by: Stops,
        /// That strength without it.
        without: Stops,
        /// Of that.
        u95: Stops,
    },
    /// Files lack ExposureTime, and their times are those of ShutterSpeedValue.
    FromApex {
        /// How many frames.
        count: usize,
    },
    /// A camera record of this body holds none of the times.
    RecordOfOtherTimes {
        /// The times.
        times: Vec<String>,
    },
}

impl ShutterDoubt {
    /// Code, grade and text, as the table of cautions has them.
    pub(super) fn entry(&self) -> (&'static str, Grade, String) {
        match self {
            Self::MoreFramesWouldHelp { count, now, then, what } => (
                "more_frames_would_help",
                Grade::Note,
                format!(
                    "Shutter times make most of the uncertainty. {} more frames in the same light would \
                     cut +- {:.3} to +- {:.3}: {what}.",
                    match count {
                        2 => "Two".to_owned(),
                        3 => "Three".to_owned(),
                        7 => "Seven".to_owned(),
                        count => count.to_string(),
                    },
                    now.get(),
                    then.get()
                ),
            ),
            Self::RecordUsed { .. } => ("camera_record_used", Grade::Note, self.record_used()),
            Self::RecordContradicted { by, without, u95 } => {
                let (grade, harm) = if by.get() < NO_HARM && u95.get() < 2.0 * NO_HARM {
                    (Grade::Note, "The strength stays as it is, but".to_owned())
                } else {
                    let off = by.get().max(u95.get());
                    (Grade::Number, format!("The strength may be off by {off:.2} stop:"))
                };
                let text = format!(
                    "{harm} these frames measure shutter times against each other, and not as your camera \
                     record has them. Without the record it is {:.3} +- {:.3}. A shutter that was repaired or \
                     wore since errs otherwise, and an electronic one does so anyway: shoot the wall again \
                     (lightloss camera --replace). --without-record measures without it.",
                    without.get(),
                    u95.get()
                );
                ("camera_record_contradicted", grade, text)
            }
            Self::FromApex { count } => (
                "times_from_apex",
                Grade::Note,
                format!(
                    "{count} without an exposure time in Exif: ShutterSpeedValue (APEX), which cameras \
                     may round, tells it. Where you know better, give it with --time FILE=SECONDS.",
                    count = match count {
                        1 => "One frame is".to_owned(),
                        count => format!("{count} frames are"),
                    }
                ),
            ),
            Self::RecordOfOtherTimes { times } => (
                "camera_record_of_other_times",
                Grade::Note,
                format!(
                    "Your camera record holds none of the times of this shoot ({}), so that it was \
                     measured without it. A new one, from a wall shot at these times too (lightloss camera \
                     --replace), would hold them.",
                    times.join(", ")
                ),
            ),
        }
    }

    fn record_used(&self) -> String {
        let Self::RecordUsed { made_on, years, unnumbered, known, not_known, with, without } = self
        else {
            return String::new();
        };
        let day = made_on.as_ref().map_or(String::new(), |day| format!(" of {day}"));
        let others = match not_known.as_slice() {
            [] => String::new(),
            some => format!(" Not in it, and taken as without it: {}.", some.join(", ")),
        };
        let old = years.filter(|years| *years >= OLD_YEARS).map_or(String::new(), |years| {
            format!(
                " It is {years} years old, and a shutter that wore or was repaired since errs otherwise: \
                 shoot the wall again (lightloss camera --replace)."
            )
        });
        let whose = if *unnumbered {
            " The files tell no serial number: if this was another body of the same model, measure \
             without the record."
        } else {
            ""
        };
        let shown = [with, without].map(|u95| (1e3 * u95.get()).round());
        let [with, without] = [with, without].map(|u95| format!("+- {:.3}", u95.get()));
        let worth = match shown[0].total_cmp(&shown[1]) {
            Ordering::Less => {
                format!(", which makes the strength good to {with} stop; without it {without}.")
            }
            Ordering::Equal => {
                format!(". The strength is good to {with} stop with them and without.")
            }
            Ordering::Greater => format!(
                ". The strength is good to {with} stop; without the record {without} would be said, which \
                 leaves out what it shows of this camera."
            ),
        };
        format!(
            "True shutter times are those of your camera record{day} ({}){worth}{others}{old}{whose} \
             --without-record measures without it.",
            known.join(", ")
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_record_that_is_wrong_where_it_does_not_matter_is_a_note() {
        let told = |by: f64, u95: f64| {
            let [by, without, u95] = [by, 6.0, u95].map(Stops::new);
            let (_, grade, text) = ShutterDoubt::RecordContradicted { by, without, u95 }.entry();
            (grade, text.split(':').next().unwrap_or_default().to_owned())
        };
        let (grade, lead) = told(0.001, 0.004);
        assert!(grade == Grade::Note && lead.starts_with("The strength stays as it is"), "{lead}");
        let off = |stops: &str| (Grade::Number, format!("The strength may be off by {stops} stop"));
        assert_eq!(told(0.03, 0.004), off("0.03"));
        // The record claims more than the frames without it know.
        assert_eq!(told(0.001, 0.08), off("0.08"));
    }

    #[test]
    fn what_a_record_is_worth_is_said_as_it_is() {
        let text = |with: f64, without: f64| {
            ShutterDoubt::RecordUsed {
                made_on: None,
                years: None,
                unnumbered: false,
                known: vec!["1/30".into()],
                not_known: Vec::new(),
                with: Stops::new(with),
                without: Stops::new(without),
            }
            .entry()
            .2
        };
        let better = text(0.008, 0.11);
        assert!(better.contains("makes the strength good to +- 0.008 stop; without it +- 0.110."));
        let alike = text(0.0081, 0.0079);
        assert!(alike.contains("good to +- 0.008 stop with them and without."), "{alike}");
        let wider = text(0.008, 0.006);
        assert!(wider.contains("good to +- 0.008 stop; without the record +- 0.006 would be said"));
        assert!(!wider.contains("makes"), "{wider}");
    }
}
