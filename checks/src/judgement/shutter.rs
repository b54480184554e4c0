//! Shutters: what stays open when the dial says so.

use super::dice::Dice;
use lightloss_planted::published_body::BODY_SECONDS;

/// A dial time as files hold it, seconds.
pub const DIAL: [f64; 53] = [
    1.0 / 8000.0,
    1.0 / 6400.0,
    1.0 / 5000.0,
    1.0 / 4000.0,
    1.0 / 3200.0,
    1.0 / 2500.0,
    1.0 / 2000.0,
    1.0 / 1600.0,
    1.0 / 1250.0,
    1.0 / 1000.0,
    1.0 / 800.0,
    1.0 / 640.0,
    1.0 / 500.0,
    1.0 / 400.0,
    1.0 / 320.0,
    1.0 / 250.0,
    1.0 / 200.0,
    1.0 / 160.0,
    1.0 / 125.0,
    1.0 / 100.0,
    1.0 / 80.0,
    1.0 / 60.0,
    1.0 / 50.0,
    1.0 / 40.0,
    1.0 / 30.0,
    1.0 / 25.0,
    1.0 / 20.0,
    1.0 / 15.0,
    1.0 / 13.0,
    1.0 / 10.0,
    1.0 / 8.0,
    1.0 / 6.0,
    1.0 / 5.0,
    1.0 / 4.0,
    0.3,
    0.4,
    0.5,
    0.6,
    0.8,
    1.0,
    1.3,
    1.6,
    2.0,
    2.5,
    3.2,
    4.0,
    5.0,
    6.0,
    8.0,
    10.0,
    13.0,
    15.0,
    20.0,
];
/// The dial's last two, past which the timer of a bulb exposure takes over.
pub const DIAL_END: [f64; 2] = [25.0, 30.0];

/// How much longer than powers of two the published body's series is; shorter times go on so (ours).
const PUBLISHED_SERIES: f64 = 1.03;

/// Sort of shutter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sort {
    /// Timed by a crystal, no curtains.
    Crystal,
    /// Curtains: 20 microseconds, and 0.3 % of each distinct time.
    Mechanical,
    /// 1 to 3 % of each distinct time.
    Sloppy,
    /// The measured body.
    Published,
}

impl Sort {
    pub fn name(self) -> &'static str {
        match self {
            Self::Crystal => "crystal",
            Self::Mechanical => "20 us + 0.3 %",
            Self::Sloppy => "1 to 3 % a time",
            Self::Published => "measured body",
        }
    }
}

/// One body's shutter.
#[derive(Clone, Debug)]
pub struct Shutter {
    sort: Sort,
    /// Powers of two behind the dial; the dial itself otherwise.
    pub powers: bool,
    /// Relative error per distinct time, and seconds of the curtains.
    share: f64,
    curtain_s: f64,
    /// Relative scatter from frame to frame.
    scatter: f64,
    seed: u64,
}

impl Shutter {
    pub fn drawn(sort: Sort, dice: &mut Dice) -> Self {
        let (share, curtain_s, scatter) = match sort {
            Sort::Crystal | Sort::Published => (0.0, 0.0, 1e-5),
            Sort::Mechanical => (0.003, 20e-6, 0.001),
            Sort::Sloppy => (dice.uniform(0.01, 0.03), 0.0, 0.001),
        };
        let powers = sort == Sort::Published || dice.chance(0.5);
        Self { sort, powers, share, curtain_s, scatter, seed: dice.number() }
    }
    /// A shutter that opens for just the power of two.
    #[cfg(test)]
    pub fn perfect() -> Self {
        Self {
            sort: Sort::Crystal,
            powers: true,
            share: 0.0,
            curtain_s: 0.0,
            scatter: 0.0,
            seed: 0,
        }
    }
    /// Seconds that it opens for this once. A bulb timer starts and ends by the body's clock.
    pub fn opened(&self, time: Time, dice: &mut Dice) -> f64 {
        let once = 1.0 + self.scatter * dice.normal();
        match time {
            Time::Timer(s) => s + (once - 1.0),
            Time::Dial(s) => self.lasting(s) * once,
        }
    }
    /// Seconds that it opens for at a dial time, but for the scatter of each frame.
    pub fn lasting(&self, dial: f64) -> f64 {
        let nominal = if self.powers { power_of_two(dial) } else { dial };
        let mut own = Dice::of(&[self.seed, dial.to_bits()]);
        let (share, curtain) = (self.share * own.normal(), self.curtain_s * own.normal());
        match self.sort {
            Sort::Published => BODY_SECONDS
                .iter()
                .find(|(shown, _)| (shown / dial - 1.0).abs() < 0.01)
                .map_or(PUBLISHED_SERIES * nominal, |(_, opened)| *opened),
            _ => (nominal * (1.0 + share) + curtain).max(0.2 * nominal),
        }
    }
}

/// The third of a stop behind a dial time (common practice, no source).
pub fn power_of_two(dial: f64) -> f64 {
    ((3.0 * dial.log2()).round() / 3.0).exp2()
}

/// A time as it is set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Time {
    /// On the dial.
    Dial(f64),
    /// Whole seconds on bulb by an electronic timer.
    Timer(f64),
}

impl Time {
    /// The time that one would set for so many seconds, in thirds of a stop or by the timer.
    pub fn near(seconds: f64) -> Self {
        let far = |dial: f64| (power_of_two(dial) / seconds).log2().abs();
        let dials = || DIAL.iter().chain(&DIAL_END).copied();
        let nearest = dials().min_by(|a, b| far(*a).total_cmp(&far(*b))).unwrap_or(1.0);
        if seconds > 36.0 { Self::Timer(seconds.round()) } else { Self::Dial(nearest) }
    }
    /// Seconds as a file tells them.
    pub fn shown(self) -> f64 {
        match self {
            Self::Dial(s) | Self::Timer(s) => s,
        }
    }
    /// Seconds as one reckons with them.
    pub fn meant(self) -> f64 {
        match self {
            Self::Dial(s) => power_of_two(s),
            Self::Timer(s) => s,
        }
    }
    pub fn is_bulb(self) -> bool {
        matches!(self, Self::Timer(_))
    }
}
