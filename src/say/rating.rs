//! A measured strength against what the filter is rated, the uncertainty looked at.

use super::figures::fixed;
use crate::exposure::{filtered_time, sentence_text};
use crate::quantity::{Seconds, Stops};

/// Less than this is no difference to anybody with a camera (ours).
const SAME_STOPS: f64 = 0.05;
/// A strength that is not known to this says nothing of a rating (ours).
const TOO_UNSURE_STOPS: f64 = 0.5;

/// How a measured strength stands against its rating.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Against {
    /// No difference that matters.
    AsRated,
    /// A difference that the uncertainty covers.
    Within,
    /// The strength is too unsure to be held against anything.
    Untold,
    /// It takes so much more.
    More(Stops),
    /// It takes so much less.
    Less(Stops),
}

impl Against {
    /// Of a strength with its expanded uncertainty.
    #[must_use]
    pub fn of(measured: Stops, u95: Stops, rated: Stops) -> Self {
        let difference = measured - rated;
        match difference.abs() {
            size if size.get() < SAME_STOPS && u95.get() <= TOO_UNSURE_STOPS => Self::AsRated,
            size if size <= u95 && u95.get() > TOO_UNSURE_STOPS => Self::Untold,
            size if size <= u95 => Self::Within,
            size if difference.get() > 0.0 => Self::More(size),
            size => Self::Less(size),
        }
    }

    /// "as rated", "a third of a stop more than rated".
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::AsRated => "as rated".to_owned(),
            Self::Within => "as rated within its uncertainty".to_owned(),
            Self::Untold => "too unsure to be held against its rating".to_owned(),
            Self::More(stops) => format!("{} more than rated", amount(stops.get())),
            Self::Less(stops) => format!("{} less than rated", amount(stops.get())),
        }
    }

    /// What trusting the rating does to the exposure: "right", "0.35 stop too dark".
    #[must_use]
    pub fn exposure(self) -> String {
        let off = |stops: Stops, way: &str| {
            let unit = if stops.get() > 1.0 { "stops" } else { "stop" };
            format!("{:.2} {unit} too {way}", stops.get())
        };
        match self {
            Self::AsRated => "right".to_owned(),
            Self::Within => "right within the uncertainty".to_owned(),
            Self::Untold => "not known".to_owned(),
            Self::More(stops) => off(stops, "dark"),
            Self::Less(stops) => off(stops, "bright"),
        }
    }

    /// The same for the head of a column: "right", "0.35 dark".
    #[must_use]
    pub fn short(self) -> String {
        match self {
            Self::AsRated | Self::Within => "right".to_owned(),
            Self::Untold => "?".to_owned(),
            Self::More(stops) => format!("{} dark", fixed(stops.get(), 2)),
            Self::Less(stops) => format!("{} bright", fixed(stops.get(), 2)),
        }
    }

    /// Whether the rating would give another exposure than the measurement.
    #[must_use]
    pub fn differs(self) -> bool {
        matches!(self, Self::More(_) | Self::Less(_))
    }
}

/// An amount of stops in words, to the fraction that a photographer would say.
fn amount(stops: f64) -> String {
    const WORDS: [(f64, &str); 5] = [
        (1.0 / 3.0, "a third of a stop"),
        (0.5, "half a stop"),
        (2.0 / 3.0, "two thirds of a stop"),
        (1.0, "a stop"),
        (0.25, "a quarter of a stop"),
    ];
    /// As near as a fraction is said for.
    const NEAR_STOPS: f64 = 0.045;
    let near = WORDS.iter().filter(|(value, _)| (value - stops).abs() < NEAR_STOPS);
    match near.min_by(|a, b| (a.0 - stops).abs().total_cmp(&(b.0 - stops).abs())) {
        Some((_, words)) => (*words).to_owned(),
        None => format!("{stops:.2} stop{}", if stops > 1.0 { "s" } else { "" }),
    }
}

/// "a metered 1/15 becomes 82 s, not 64 s": what the true strength makes of a metered time, and
/// what the rating would have made of it where that is another exposure.
#[must_use]
pub fn becomes(
    metered_text: &str,
    metered: Seconds,
    measured: Stops,
    rated: Option<(Stops, Against)>,
) -> String {
    let true_text = sentence_text(filtered_time(metered, measured));
    let rated_text = rated
        .filter(|(_, against)| against.differs())
        .map(|(rated, _)| sentence_text(filtered_time(metered, rated)));
    match rated_text.filter(|rated| *rated != true_text) {
        Some(rated) => format!("a metered {metered_text} becomes {true_text}, not {rated}"),
        None => format!("a metered {metered_text} becomes {true_text}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SURE: Stops = Stops::new(0.01);

    fn against(measured: f64, u95: f64, rated: f64) -> Against {
        Against::of(Stops::new(measured), Stops::new(u95), Stops::new(rated))
    }

    #[test]
    fn a_dark_ten_stop_in_words() {
        // 1/16 s x 2^10.35 = 81.57 s and 1/16 s x 2^10 = 64 s, worked by hand.
        let ten = against(10.35, 0.03, 10.0);
        let rated = Some((Stops::new(10.0), ten));
        assert_eq!(
            becomes("1/15", Seconds::new(0.0625), Stops::new(10.35), rated),
            "a metered 1/15 becomes 82 s, not 64 s"
        );
        assert_eq!(ten.words(), "a third of a stop more than rated");
        assert_eq!(ten.exposure(), "0.35 stop too dark");
        assert_eq!(ten.short(), "0.35 dark");
    }

    #[test]
    fn words_follow_the_size_and_the_way() {
        let words = |measured, rated| against(measured, SURE.get(), rated).words();
        assert_eq!(words(9.97, 10.0), "as rated");
        assert_eq!(words(9.5, 10.0), "half a stop less than rated");
        assert_eq!(words(6.12, 6.0), "0.12 stop more than rated");
        assert_eq!(words(7.4, 6.0), "1.40 stops more than rated");
        assert_eq!(against(9.5, 0.01, 10.0).exposure(), "0.50 stop too bright");
        assert_eq!(against(10.01, 0.01, 10.0).exposure(), "right");
    }

    #[test]
    fn a_difference_inside_the_uncertainty_is_none() {
        let wide = against(10.09, 0.16, 10.0);
        assert_eq!(wide, Against::Within);
        assert_eq!(wide.words(), "as rated within its uncertainty");
        assert_eq!(wide.short(), "right");
        // One frame of the wrong state among four: anything from nought to sixteen.
        let unsure = against(7.8, 8.0, 10.0);
        assert_eq!(unsure.words(), "too unsure to be held against its rating");
        assert_eq!((unsure.exposure().as_str(), unsure.short().as_str()), ("not known", "?"));
        // What lies outside even so wide an uncertainty differs.
        assert_eq!(against(3.0, 0.8, 10.0).words(), "7.00 stops less than rated");
        let time = becomes(
            "1/15",
            Seconds::new(0.0625),
            Stops::new(10.09),
            Some((Stops::new(10.0), wide)),
        );
        assert!(!time.contains("not"), "{time}");
    }
}
