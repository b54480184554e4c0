//! Exposure of each frame as it is understood: true time, evidence for it, doubt.

use super::wish::Wish;
use crate::exposure::{self, DialTime, Times};
use crate::frame::Exposure;
use crate::quantity::{FNumber, Iso, Seconds, Stops};

/// A time that no dial shows, of an APEX value rounded to a tenth: a rectangular distribution (JCGM
/// 100:2008, 4.3.7), stops.
const APEX_TENTH: f64 = 0.029;

/// What the true time rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Evidence {
    /// Exif's ShutterSpeedValue holds the power of two behind the rounded time.
    ShutterSpeed,
    /// Frames of one state at several dial times show the rule.
    Frames,
    /// Powers of two are assumed behind dial times.
    Assumed,
    /// The number itself: exact times, timers, bulb.
    Literal,
}

/// A frame's exposure, understood.
#[derive(Clone, Debug, PartialEq)]
pub struct Understood {
    /// As recorded or given.
    pub recorded: Seconds,
    /// Recorded by ShutterSpeedValue alone.
    pub from_apex: bool,
    /// The dial time it is, if any.
    pub dial: Option<DialTime>,
    /// The true time.
    pub true_time: Seconds,
    /// Why that.
    pub evidence: Evidence,
    /// Standard uncertainty from counting whole seconds by hand, or from rounding of a time that APEX
    /// alone tells, stops.
    pub hand: Stops,
    /// Aperture.
    pub f_number: Option<FNumber>,
    /// ISO setting.
    pub iso: Option<Iso>,
    /// Which of them are those of other frames, since nothing tells this one's.
    pub lent: LentToFrame,
}

/// A value that other frames tell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lent<T> {
    /// The value.
    pub value: T,
    /// Frames that may be of the same state tell others too.
    pub is_disputed: bool,
}

/// Aperture and ISO of other frames, for one of which nothing tells them.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LentToFrame {
    /// Aperture.
    pub f_number: Option<Lent<FNumber>>,
    /// ISO setting.
    pub iso: Option<Lent<Iso>>,
}

/// What the user says of one frame's exposure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Given {
    /// Dial or exact.
    pub times: Times,
    /// Time.
    pub time: Option<Seconds>,
    /// Aperture, whatever the file tells.
    pub f_number: Option<FNumber>,
    /// ISO, whatever the file tells.
    pub iso: Option<Iso>,
    /// Aperture for a lens without contacts.
    pub usual_f_number: Option<FNumber>,
    /// ISO where the file does not tell.
    pub usual_iso: Option<Iso>,
    /// Frames without exposure data were all exposed alike.
    pub same: bool,
    /// What other frames tell, where nothing else does.
    pub lent: LentToFrame,
}

impl Given {
    /// What a wish says of a file, and what other files lend it.
    #[must_use]
    pub fn of(file: &str, wish: &Wish, lent: LentToFrame) -> Self {
        Self {
            times: wish.times,
            time: wish.frame_times.get(file).copied(),
            f_number: wish.frame_f_numbers.get(file).copied(),
            iso: wish.frame_isos.get(file).copied(),
            usual_f_number: wish.f_number,
            usual_iso: wish.iso,
            same: wish.same_exposure,
            lent,
        }
    }
    /// Aperture that the user or the file tells.
    #[must_use]
    pub fn own_f_number(&self, exposure: &Exposure) -> Option<FNumber> {
        let told = self.f_number.or(exposure.f_number);
        told.filter(|n| n.get() > 0.0).or(self.usual_f_number)
    }
    /// ISO that the user or the file tells.
    #[must_use]
    pub fn own_iso(&self, exposure: &Exposure) -> Option<Iso> {
        self.iso.or(exposure.iso).filter(|s| s.get() > 0.0).or(self.usual_iso)
    }
}

/// Understands an exposure; `None` where no time is known.
#[must_use]
pub fn understand(exposure: &Exposure, given: &Given) -> Option<Understood> {
    let recorded = given
        .time
        .or(exposure.time)
        .filter(|t| t.get() > 0.0)
        .or_else(|| given.same.then(|| Seconds::new(1.0)))?;
    let literal = given.time.is_some()
        || given.times == Times::Exact
        || exposure.bulb
        || (given.same && exposure.time.is_none());
    let dial = if literal { None } else { DialTime::showing(recorded) };
    let power = dial.map(DialTime::true_time);
    let told = |power: Seconds| {
        let apex = exposure.apex_time?;
        let near = exposure::stops_between(apex, power).abs().get() < 0.01;
        let differs = exposure::stops_between(recorded, apex).abs().get() > 0.004;
        (near && differs).then_some(())
    };
    let (true_time, evidence) = match power {
        None => (recorded, Evidence::Literal),
        Some(power) if told(power).is_some() => (power, Evidence::ShutterSpeed),
        Some(power) => (power, Evidence::Assumed),
    };
    let known = given.time.is_some() || exposure.time.is_some();
    let by_hand = known
        && given.times == Times::Dial
        && (given.time.is_some() || exposure.bulb || dial.is_none());
    let (f_number, iso) = (given.own_f_number(exposure), given.own_iso(exposure));
    let lent = LentToFrame {
        f_number: given.lent.f_number.filter(|_| f_number.is_none()),
        iso: given.lent.iso.filter(|_| iso.is_none()),
    };
    let from_apex = exposure.from_apex && given.time.is_none();
    Some(Understood {
        recorded,
        from_apex,
        dial,
        true_time,
        evidence,
        hand: match dial {
            None if from_apex => Stops::new(APEX_TENTH),
            _ if by_hand => half_a_second(recorded),
            _ => Stops::new(0.0),
        },
        f_number: f_number.or(lent.f_number.map(|lent| lent.value)),
        iso: iso.or(lent.iso.map(|lent| lent.value)),
        lent,
    })
}

/// A dial time and its power of two are told apart by ShutterSpeedValue, even of a tenth, where they
/// differ by more, stops; 30 s and 32 s are 0.093 apart, 1/125 and 1/128 0.034.
const TOLD_APART: f64 = 0.05;

impl Understood {
    /// Whether the file's ShutterSpeedValue says the time that the dial shows, where the power of two
    /// behind it is another.
    #[must_use]
    pub fn is_told_as_shown(&self, exposure: &Exposure) -> bool {
        let own = exposure.apex_time.filter(|_| !exposure.from_apex);
        self.dial.zip(own).is_some_and(|(dial, apex)| {
            let off = |time: Seconds| exposure::stops_between(apex, time).abs().get();
            dial.difference().abs().get() > TOLD_APART
                && off(dial.true_time()) > TOLD_APART
                && off(dial.shown()) < TOLD_APART / 2.0
        })
    }
}

/// Whole seconds counted by hand are good to half a second either way: a rectangular distribution
/// of standard uncertainty 0.5 / sqrt(3) s (JCGM 100:2008, 4.3.7).
fn half_a_second(time: Seconds) -> Stops {
    let whole = (time.get() - time.get().round()).abs() < 1e-6 && time.get() >= 1.0;
    let u = if whole { 0.5 / 3.0_f64.sqrt() / time.get() / std::f64::consts::LN_2 } else { 0.0 };
    Stops::new(u)
}

impl Understood {
    /// log2(t ISO / N^2): what the level is divided by. Aperture or ISO that no frame tells count
    /// as 1, the same for all.
    #[must_use]
    pub fn log_exposure(&self) -> f64 {
        let iso = self.iso.map_or(1.0, |s| exposure::true_iso(s).get());
        let n = self.f_number.map_or(1.0, |n| exposure::true_f_number(n).get());
        (self.true_time.get() * iso / (n * n)).log2()
    }
    /// Half of the true time, minutes.
    #[must_use]
    pub fn half_minutes(&self) -> f64 {
        self.true_time.get() / 120.0
    }
    /// As the camera shows it: "1/15", "0.5", "14 s".
    #[must_use]
    pub fn text(&self) -> String {
        self.dial.map_or_else(|| literal_text(self.recorded), |dial| dial.text().to_owned())
    }
}

/// A time that no dial shows: "14 s", "1/64 s".
fn literal_text(time: Seconds) -> String {
    let t = time.get();
    if t >= 1.0 {
        format!("{} s", (t * 1000.0).round() / 1000.0)
    } else {
        format!("1/{:.0} s", 1.0 / t)
    }
}
