//! Times that nobody waits for, and what to give instead.

use super::Plan;
use crate::quantity::Seconds;

/// Nobody waits longer for a frame, and no light stays the same, seconds (ours).
const LONGEST_S: f64 = 1800.0;
/// What is offered instead, seconds (ours).
const WELCOME_S: f64 = 600.0;
/// A frame may lie so far down, as a share of full scale: some five hundred counts at 14 bit, of which half a count of
/// black is a thousandth.
const LEAST_LEVEL: f64 = 1.0 / 32.0;

/// A time that gives less light than planned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shorter {
    /// The time, whole seconds.
    pub time: Seconds,
    /// Stops less than planned.
    pub stops: i32,
}

impl Plan {
    /// The longest time of a frame.
    #[must_use]
    pub fn longest(&self) -> Seconds {
        let times = self.shots.iter().map(|s| s.time.true_time.get());
        Seconds::new(times.fold(0.0, f64::max))
    }

    /// A shorter time instead of one beyond half an hour, by whole stops.
    #[must_use]
    pub fn shorter(&self) -> Option<Shorter> {
        let longest = self.longest().get();
        if longest <= LONGEST_S {
            return None;
        }
        let fits = |stops: &i32| longest / f64::from(*stops).exp2() <= WELCOME_S;
        let most = (self.light.level.share() / LEAST_LEVEL).log2().round() as i32;
        let stops = (1..most).find(fits).unwrap_or(most);
        Some(Shorter { time: Seconds::new((longest / f64::from(stops).exp2()).round()), stops })
    }
}
