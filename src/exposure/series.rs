//! The series behind the dials: shutter times, f-numbers and ISO settings in thirds and halves of
//! a stop (markings after ISO 516 and ISO 517; that powers of two stand behind them is common
//! practice, no source).

use crate::quantity::{FNumber, Iso, Seconds, Stops};

/// A dial shows a value this close, as a relative difference, to the number that a file records;
/// the nearest exact power of two to any dial value it does not equal is ten times farther.
const SAME: f64 = 5e-4;

/// Which series a dial value belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Series {
    /// Steps of a third of a stop.
    Third,
    /// Steps of half a stop.
    Half,
}

/// How recorded times are to be read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Times {
    /// Dial times hide powers of two.
    #[default]
    Dial,
    /// The numbers as they are.
    Exact,
}

/// One value of a dial: text, the number it shows, and log2(1/t) of the true time in sixths.
#[derive(Debug, PartialEq)]
struct Marking {
    text: &'static str,
    shown: f64,
    sixths: i32,
    series: Series,
}

/// A shutter time as the camera shows it; its true time may differ.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DialTime(&'static Marking);

const fn third(text: &'static str, shown: f64, k: i32) -> Marking {
    Marking { text, shown, sixths: 2 * k, series: Series::Third }
}

const fn half(text: &'static str, shown: f64, h: i32) -> Marking {
    Marking { text, shown, sixths: 3 * h, series: Series::Half }
}

/// Longest first; where bodies spell one step differently the first spelling is ours. The half
/// stops that share a marking with a third (20, 10, 6, 1/6, 1/10, 1/20) are read as thirds.
static SHUTTER: &[Marking] = &[
    third("30", 30.0, -15),
    third("25", 25.0, -14),
    third("20", 20.0, -13),
    third("15", 15.0, -12),
    third("13", 13.0, -11),
    third("10", 10.0, -10),
    third("8", 8.0, -9),
    third("6", 6.0, -8),
    third("5", 5.0, -7),
    third("4", 4.0, -6),
    third("3.2", 3.2, -5),
    half("3", 3.0, -3),
    third("2.5", 2.5, -4),
    third("2", 2.0, -3),
    third("1.6", 1.6, -2),
    half("1.5", 1.5, -1),
    third("1.3", 1.3, -1),
    third("1", 1.0, 0),
    third("0.8", 0.8, 1),
    third("1/1.3", 1.0 / 1.3, 1),
    half("0.7", 0.7, 1),
    third("0.6", 0.6, 2),
    third("1/1.6", 1.0 / 1.6, 2),
    third("0.5", 0.5, 3),
    third("0.4", 0.4, 4),
    third("0.3", 0.3, 5),
    third("1/3", 1.0 / 3.0, 5),
    third("1/4", 1.0 / 4.0, 6),
    third("1/5", 1.0 / 5.0, 7),
    third("1/6", 1.0 / 6.0, 8),
    third("1/8", 1.0 / 8.0, 9),
    third("1/10", 1.0 / 10.0, 10),
    half("1/11", 1.0 / 11.0, 7),
    third("1/13", 1.0 / 13.0, 11),
    third("1/15", 1.0 / 15.0, 12),
    third("1/20", 1.0 / 20.0, 13),
    half("1/23", 1.0 / 23.0, 9),
    third("1/25", 1.0 / 25.0, 14),
    third("1/30", 1.0 / 30.0, 15),
    third("1/40", 1.0 / 40.0, 16),
    half("1/45", 1.0 / 45.0, 11),
    third("1/50", 1.0 / 50.0, 17),
    third("1/60", 1.0 / 60.0, 18),
    third("1/80", 1.0 / 80.0, 19),
    half("1/90", 1.0 / 90.0, 13),
    third("1/100", 1.0 / 100.0, 20),
    third("1/125", 1.0 / 125.0, 21),
    third("1/160", 1.0 / 160.0, 22),
    half("1/180", 1.0 / 180.0, 15),
    third("1/200", 1.0 / 200.0, 23),
    third("1/250", 1.0 / 250.0, 24),
    third("1/320", 1.0 / 320.0, 25),
    half("1/350", 1.0 / 350.0, 17),
    third("1/400", 1.0 / 400.0, 26),
    third("1/500", 1.0 / 500.0, 27),
    third("1/640", 1.0 / 640.0, 28),
    half("1/750", 1.0 / 750.0, 19),
    third("1/800", 1.0 / 800.0, 29),
    third("1/1000", 1.0 / 1000.0, 30),
    third("1/1250", 1.0 / 1250.0, 31),
    half("1/1500", 1.0 / 1500.0, 21),
    third("1/1600", 1.0 / 1600.0, 32),
    third("1/2000", 1.0 / 2000.0, 33),
    third("1/2500", 1.0 / 2500.0, 34),
    half("1/3000", 1.0 / 3000.0, 23),
    third("1/3200", 1.0 / 3200.0, 35),
    third("1/4000", 1.0 / 4000.0, 36),
    third("1/5000", 1.0 / 5000.0, 37),
    half("1/6000", 1.0 / 6000.0, 25),
    third("1/6400", 1.0 / 6400.0, 38),
    third("1/8000", 1.0 / 8000.0, 39),
    third("1/10000", 1.0 / 10000.0, 40),
    third("1/12800", 1.0 / 12800.0, 41),
    third("1/13000", 1.0 / 13000.0, 41),
    third("1/16000", 1.0 / 16000.0, 42),
    third("1/20000", 1.0 / 20000.0, 43),
    third("1/25000", 1.0 / 25000.0, 44),
    third("1/26000", 1.0 / 26000.0, 44),
    third("1/32000", 1.0 / 32000.0, 45),
];

/// Markings of dials that go on beyond 30 s, in seconds, with k = 3 log2(1/t).
const BEYOND: &[(f64, i32)] = &[
    (40.0, -16),
    (50.0, -17),
    (60.0, -18),
    (80.0, -19),
    (100.0, -20),
    (120.0, -21),
    (160.0, -22),
    (200.0, -23),
    (240.0, -24),
    (300.0, -25),
    (320.0, -25),
    (400.0, -26),
    (480.0, -27),
    (600.0, -28),
    (640.0, -28),
    (720.0, -29),
    (800.0, -29),
    (900.0, -30),
    (960.0, -30),
];

/// Third stops of the aperture dial: marking and k = 6 log2 N; then the half stops.
const F_THIRDS: &[(f64, i32)] = &[
    (1.0, 0),
    (1.1, 1),
    (1.2, 2),
    (1.4, 3),
    (1.6, 4),
    (1.8, 5),
    (2.0, 6),
    (2.2, 7),
    (2.5, 8),
    (2.8, 9),
    (3.2, 10),
    (3.5, 11),
    (4.0, 12),
    (4.5, 13),
    (5.0, 14),
    (5.6, 15),
    (6.3, 16),
    (7.1, 17),
    (8.0, 18),
    (9.0, 19),
    (10.0, 20),
    (11.0, 21),
    (13.0, 22),
    (14.0, 23),
    (16.0, 24),
    (18.0, 25),
    (20.0, 26),
    (22.0, 27),
    (25.0, 28),
    (29.0, 29),
    (32.0, 30),
];

/// Half stops of the aperture dial that no third shares: marking and h = 4 log2 N.
const F_HALVES: &[(f64, i32)] = &[
    (1.7, 3),
    (2.4, 5),
    (3.3, 7),
    (3.4, 7),
    (4.8, 9),
    (6.7, 11),
    (9.5, 13),
    (19.0, 17),
    (27.0, 19),
];

/// ISO settings in thirds: marking and n = 3 log2(S / 100).
const ISO_THIRDS: &[(f64, i32)] = &[
    (50.0, -3),
    (64.0, -2),
    (80.0, -1),
    (100.0, 0),
    (125.0, 1),
    (160.0, 2),
    (200.0, 3),
    (250.0, 4),
    (320.0, 5),
    (400.0, 6),
    (500.0, 7),
    (640.0, 8),
    (800.0, 9),
    (1000.0, 10),
    (1250.0, 11),
    (1600.0, 12),
    (2000.0, 13),
    (2500.0, 14),
    (3200.0, 15),
    (4000.0, 16),
    (5000.0, 17),
    (6400.0, 18),
    (8000.0, 19),
    (10000.0, 20),
    (12800.0, 21),
    (16000.0, 22),
    (20000.0, 23),
    (25600.0, 24),
    (51200.0, 27),
    (102_400.0, 30),
];

fn same(a: f64, b: f64) -> bool {
    (a / b - 1.0).abs() <= SAME
}

fn found(series: &[(f64, i32)], value: f64) -> Option<i32> {
    series.iter().find(|(shown, _)| same(value, *shown)).map(|(_, step)| *step)
}

impl DialTime {
    /// The dial time that shows exactly this number, if there is one; anything else (a timer's
    /// 12 s, an exact 1/64) is literal.
    #[must_use]
    pub fn showing(time: Seconds) -> Option<Self> {
        SHUTTER.iter().find(|m| same(time.get(), m.shown)).map(Self)
    }

    /// The third-stop dial time whose true time is nearest to this true time, in stops; none
    /// beyond half a step past either end of the dial (30 s, 1/32000).
    #[must_use]
    pub fn nearest(time: Seconds) -> Option<Self> {
        let k = 3.0 * -time.get().log2();
        if !k.is_finite() {
            return None;
        }
        let sixths = 2.0 * k.round();
        SHUTTER
            .iter()
            .find(|m| m.series == Series::Third && f64::from(m.sixths) == sixths)
            .map(Self)
    }

    /// So many thirds of a stop below one second; none beyond either end of the dial.
    #[must_use]
    pub fn at_third(step: i32) -> Option<Self> {
        Self::nearest(Seconds::new((-f64::from(step) / 3.0).exp2()))
    }

    /// As the camera shows it, without a unit: "1/15", "0.5", "8".
    #[must_use]
    pub fn text(self) -> &'static str {
        self.0.text
    }

    /// The number shown, in seconds.
    #[must_use]
    pub fn shown(self) -> Seconds {
        Seconds::new(self.0.shown)
    }

    /// The power of two behind it: 2^(-k/3), or 2^(-h/2).
    #[must_use]
    pub fn true_time(self) -> Seconds {
        Seconds::new((-f64::from(self.0.sixths) / 6.0).exp2())
    }

    /// log2(true / shown), at most 0.093 stop either way.
    #[must_use]
    pub fn difference(self) -> Stops {
        super::stops_between(self.shown(), self.true_time())
    }

    /// Which series it belongs to.
    #[must_use]
    pub fn series(self) -> Series {
        self.0.series
    }

    /// The third-stop dial from the longest to the shortest of these two, one spelling a step.
    #[must_use]
    pub fn thirds(longest: Seconds, shortest: Seconds) -> Vec<Self> {
        let mut list: Vec<Self> = SHUTTER
            .iter()
            .filter(|m| m.series == Series::Third)
            .filter(|m| m.shown <= longest.get() * (1.0 + SAME))
            .filter(|m| m.shown >= shortest.get() * (1.0 - SAME))
            .map(Self)
            .collect();
        list.dedup_by_key(|dial| dial.0.sixths);
        list
    }

    /// Whether it is a whole stop of the dial (1/500, 1/250, ... 4, 8).
    #[must_use]
    pub fn is_full_stop(self) -> bool {
        self.0.sixths % 6 == 0
    }
}

/// By how many thirds of a stop, to the nearest, a time lies below one second.
#[must_use]
pub fn thirds_below_a_second(time: Seconds) -> i32 {
    (-3.0 * time.get().log2()).round() as i32
}

/// The metered times that tables list, shortest first: 1/500 to 8 s in thirds.
#[must_use]
pub fn metered_times() -> Vec<DialTime> {
    let mut list = DialTime::thirds(Seconds::new(8.0), Seconds::new(1.0 / 500.0));
    list.reverse();
    list
}

/// The same in whole stops.
#[must_use]
pub fn metered_times_full() -> Vec<DialTime> {
    metered_times().into_iter().filter(|dial| dial.is_full_stop()).collect()
}

/// The true time behind a recorded one: a power of two behind a dial time, else the number itself.
/// Times beyond 30 s stay as they are; [`pair_doubt`] counts them where a dial could show them.
#[must_use]
pub fn true_time(recorded: Seconds, times: Times) -> Seconds {
    match times {
        Times::Exact => recorded,
        Times::Dial => DialTime::showing(recorded).map_or(recorded, DialTime::true_time),
    }
}

/// How far the true time may lie from the number recorded, in stops, signed: log2(true / shown)
/// of dial times, also of dials that go on beyond 30 s; 0 for anything else.
#[must_use]
pub fn dial_difference(recorded: Seconds) -> Stops {
    if let Some(dial) = DialTime::showing(recorded) {
        return dial.difference();
    }
    found(BEYOND, recorded.get())
        .map_or(Stops::new(0.0), |k| Stops::new(-f64::from(k) / 3.0 - recorded.get().log2()))
}

/// What it makes to a strength from this very pair whether the camera keeps powers of two or the
/// times its dial shows: 0 for equal times, 0.186 stop for 1/60 with 15 s.
#[must_use]
pub fn pair_doubt(bare: Seconds, filtered: Seconds) -> Stops {
    (dial_difference(filtered) - dial_difference(bare)).abs()
}

/// The true f-number behind a marking (third stops first, then half stops), else the number itself.
#[must_use]
pub fn true_f_number(marked: FNumber) -> FNumber {
    let n = marked.get();
    let exact = found(F_THIRDS, n)
        .map(|k| (f64::from(k) / 6.0).exp2())
        .or_else(|| found(F_HALVES, n).map(|h| (f64::from(h) / 4.0).exp2()));
    FNumber::new(exact.unwrap_or(n))
}

/// The true ISO setting behind a marking, 100 x 2^(n/3), else the number itself.
#[must_use]
pub fn true_iso(marked: Iso) -> Iso {
    let exact = found(ISO_THIRDS, marked.get()).map(|n| 100.0 * (f64::from(n) / 3.0).exp2());
    Iso::new(exact.unwrap_or(marked.get()))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn only_dial_times_are_snapped() {
        let taken = |t: f64| true_time(Seconds::new(t), Times::Dial).get();
        assert_eq!(taken(1.0 / 60.0), 1.0 / 64.0);
        assert_eq!(taken(30.0), 32.0);
        // Half stops: 2^-5.5 behind 1/45, 2^-0.5... behind 0.7.
        assert!((taken(1.0 / 45.0) - 2f64.powf(-5.5)).abs() < 1e-12);
        assert!((taken(0.7) - 2f64.powf(-0.5)).abs() < 1e-12);
        // A timer by hand, exact rationals, powers of two as they are.
        for literal in [12.0, 14.0, 28.0, 60.0, 1.0 / 64.0, 1.0 / 61.0, 0.0625, 17.3, 32.0] {
            assert_eq!(taken(literal), literal);
        }
        assert_eq!(true_time(Seconds::new(30.0), Times::Exact).get(), 30.0);
    }

    #[test]
    fn doubt_of_a_pair() {
        let doubt =
            |bare: f64, filtered: f64| pair_doubt(Seconds::new(bare), Seconds::new(filtered)).get();
        // 2 log2(16/15), the largest of the series.
        assert!((doubt(1.0 / 60.0, 15.0) - 0.186_219).abs() < 1e-6);
        assert_eq!(doubt(30.0, 30.0), 0.0);
        assert!((doubt(1.0, 30.0) - 0.093_109).abs() < 1e-6);
        // 30 s and 15 s are off alike.
        assert!(doubt(15.0, 30.0) < 1e-12);
        assert_eq!(doubt(1.0, 12.0), 0.0);
        // A dial that goes on to 60 s would mean 64.
        assert!((doubt(1.0, 60.0) - 0.093_109).abs() < 1e-6);
    }

    #[test]
    fn nearest_dial_time_is_its_own_inverse() {
        for marking in SHUTTER.iter().filter(|m| m.series == Series::Third) {
            let dial = DialTime(marking);
            let back = DialTime::nearest(dial.true_time()).unwrap();
            assert_eq!(back.0.sixths, marking.sixths, "{}", marking.text);
            assert_eq!(DialTime::showing(dial.shown()).unwrap().text(), marking.text);
        }
        for dial in SHUTTER.iter().map(DialTime) {
            assert!(dial.difference().abs().get() < 0.0932, "{}", dial.text());
        }
        for odd in [40.0, 0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(DialTime::nearest(Seconds::new(odd)), None);
        }
    }

    #[test]
    fn metered_times_run_from_a_500th_to_8_seconds() {
        let list = metered_times();
        assert_eq!(list.len(), 37);
        assert_eq!((list[0].text(), list[36].text()), ("1/500", "8"));
        let full: Vec<_> = metered_times_full().iter().map(|dial| dial.text()).collect();
        assert_eq!(
            full,
            [
                "1/500", "1/250", "1/125", "1/60", "1/30", "1/15", "1/8", "1/4", "0.5", "1", "2",
                "4", "8"
            ]
        );
    }
}
