//! The plan of a camera record: a bare wall along the dial and back, at light levels that follow each
//! other so closely that their times overlap.

use crate::exposure::series::thirds_below_a_second;
use crate::exposure::{DialTime, GivenTime, Times};
use crate::quantity::Seconds;

/// From the meter's reading to two thirds of full scale: a saturation-based ISO puts full scale at 7.8
/// times the metered level (ISO 12232, 78 / 10, from memory), so that is 2.36 stops above.
const ABOVE_METER_THIRDS: i32 = 7;
/// Thirds of a stop along the dial at each light level; two levels share some of them.
const ALONG: i32 = 15;
/// Most thirds of a stop from one light level to the next (ours: two stops of times are shared).
const NEXT: i32 = 9;
/// The longest time of the first level in thirds below one second: 1/15 to 1/60, so that it goes down
/// to the shortest times that are of use with filters (ours).
const FIRST: std::ops::RangeInclusive<i32> = 12..=18;
/// The same where no reading is given: 1/30.
const WITHOUT_READING: i32 = 15;
/// 30 s on the dial.
const DIAL_ENDS: i32 = -15;
/// Times of dark frames beside the longest, thirds below one second.
const DARKS: [i32; 2] = [-9, 0];
/// Frames at a time before going on along the dial.
pub const EACH: u32 = 2;
/// Dark frames are made before the first light level and after the last.
pub const DARK_ROUNDS: u32 = 2;
/// Of two lamps: from one stop below the longest time of the first level on, so that the sides of the frame,
/// which are brighter, are not clipped, at every stop, so that doubling is followed from one to the next.
const FIRST_OF_LAMPS: usize = 3;
const EVERY_OF_LAMPS: usize = 3;
const TIMES_OF_LAMPS: usize = 4;
/// Frames of each light, and of none (ours: one would do, and two may be held against each other).
pub const EACH_LIGHT: u32 = 2;
/// Lights at each time: one lamp, both, the other, none.
pub const LIGHTS: usize = 4;
/// To turn the dial between frames, and to set the next light level, in seconds (ours).
const HANDLING_S: (f64, f64) = (3.0, 60.0);
/// To cover a lamp, in seconds (ours).
const OF_LIGHT_S: f64 = 20.0;

/// Why no plan can be made.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WallPlanError {
    /// Nothing to reach.
    #[error(
        "--longest {0} is too short for a record; leave it out, or give the longest dial time that you \
         use with filters, 1 s or more, like --longest 8s"
    )]
    TooShort(String),
    /// No dial goes so far.
    #[error(
        "--longest {0} is on no dial; times beyond 30 s are timed by hand or by a timer and need no \
         record, so leave it out"
    )]
    BeyondDial(String),
}

/// The plan.
#[derive(Clone, Debug, PartialEq)]
pub struct WallPlan {
    /// Light levels in order, the brightest first.
    pub levels: Vec<WallLevel>,
    /// Times at which two lamps are shot each alone and both, longest first.
    pub lamps: Vec<DialTime>,
    /// Times of the dark frames, shortest first, both before the first light level and after the last.
    pub darks: Vec<DialTime>,
    /// Thirds of a stop by which the reading given is to be darkened before the first frame; negative
    /// where it is to be brightened.
    pub darken_thirds: i32,
}

/// One light level.
#[derive(Clone, Debug, PartialEq)]
pub struct WallLevel {
    /// What the meter reads at it.
    pub reading: DialTime,
    /// Thirds of a stop less light than at the level before; 0 for the first.
    pub closed_thirds: i32,
    /// Times along the dial, longest first; then back the same way.
    pub times: Vec<DialTime>,
}

impl WallPlan {
    /// Plans the wall for a meter reading, where there is one, up to a longest dial time, 30 s where
    /// none is given.
    ///
    /// # Errors
    /// [`WallPlanError`], each saying what to type instead.
    pub fn of(
        metered: Option<GivenTime>,
        longest: Option<GivenTime>,
    ) -> Result<Self, WallPlanError> {
        let last = longest.map_or(Ok(DIAL_ENDS), last_step)?;
        let wanted =
            metered.map(|t| thirds_below_a_second(t.true_time(Times::Dial)) - ABOVE_METER_THIRDS);
        let first = wanted.unwrap_or(WITHOUT_READING).clamp(*FIRST.start(), *FIRST.end());
        let levels = (first - last + NEXT - 1) / NEXT;
        let steps: Vec<i32> =
            (0..=levels).map(|n| first + ((last - first) * n).div_euclid(levels)).collect();
        let mut before = first;
        let mut level = |step: &i32| {
            let closed_thirds = before - step;
            before = *step;
            let reading = DialTime::at_third(step + ABOVE_METER_THIRDS)?;
            let times = (0..=ALONG).filter_map(|n| DialTime::at_third(step + n)).collect();
            Some(WallLevel { reading, closed_thirds, times })
        };
        let darks = DARKS.into_iter().filter(|step| *step > last).chain([last]);
        let mut darks: Vec<DialTime> = darks.filter_map(DialTime::at_third).collect();
        darks.sort_by(|a, b| a.shown().get().total_cmp(&b.shown().get()));
        let levels: Vec<WallLevel> = steps.iter().filter_map(&mut level).collect();
        let of_lamps = levels.first().map_or(&[][..], |first| &first.times);
        let of_lamps = of_lamps.iter().skip(FIRST_OF_LAMPS);
        let lamps = of_lamps.step_by(EVERY_OF_LAMPS).take(TIMES_OF_LAMPS).copied();
        Ok(Self {
            lamps: lamps.collect(),
            levels,
            darks,
            darken_thirds: wanted.map_or(0, |wanted| wanted - first),
        })
    }

    /// How many frames.
    #[must_use]
    pub fn frames(&self) -> u32 {
        self.levels.iter().map(WallLevel::frames).sum::<u32>()
            + self.lamp_frames()
            + DARK_ROUNDS * EACH * self.darks.len() as u32
    }

    /// How many of them are of two lamps.
    #[must_use]
    pub fn lamp_frames(&self) -> u32 {
        EACH_LIGHT * (LIGHTS * self.lamps.len()) as u32
    }

    /// About how long it takes.
    #[must_use]
    pub fn duration(&self) -> Seconds {
        let (frame, level) = HANDLING_S;
        let one = |t: &DialTime| f64::from(EACH) * (t.true_time().get() + frame);
        let along = |l: &WallLevel| level + 2.0 * l.times.iter().map(one).sum::<f64>();
        let dark = f64::from(DARK_ROUNDS) * self.darks.iter().map(one).sum::<f64>();
        let lamps: f64 = self.lamps.iter().map(one).sum();
        let lamps = level + LIGHTS as f64 * (lamps + OF_LIGHT_S);
        Seconds::new(self.levels.iter().map(along).sum::<f64>() + lamps + dark)
    }
}

impl WallLevel {
    /// How many frames.
    #[must_use]
    pub fn frames(&self) -> u32 {
        2 * EACH * self.times.len() as u32
    }
}

/// Thirds below one second of the longest time.
fn last_step(longest: GivenTime) -> Result<i32, WallPlanError> {
    let step = thirds_below_a_second(longest.true_time(Times::Dial));
    if step < DIAL_ENDS {
        return Err(WallPlanError::BeyondDial(longest.text()));
    }
    if step > 0 { Err(WallPlanError::TooShort(longest.text())) } else { Ok(step) }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::exposure::parse_time;

    fn plan(metered: Option<&str>, longest: Option<&str>) -> Result<WallPlan, WallPlanError> {
        let time = |text: &str| parse_time(text).unwrap();
        WallPlan::of(metered.map(time), longest.map(time))
    }

    #[test]
    fn levels_follow_each_other_down_to_the_longest_time_and_share_two_stops_of_times() {
        for metered in [None, Some("1/8000"), Some("1/125"), Some("1/60"), Some("4")] {
            for longest in [None, Some("1"), Some("8"), Some("30"), Some("2.5")] {
                let plan = plan(metered, longest).unwrap();
                let last = plan.levels.last().unwrap();
                let end = longest.map_or(30.0, |text| parse_time(text).unwrap().seconds().get());
                assert_eq!(last.times[0].shown().get(), end);
                for pair in plan.levels.windows(2) {
                    let shared = pair[1].times.iter().filter(|t| pair[0].times.contains(t)).count();
                    assert!(shared >= 7, "{metered:?} {longest:?}: {shared}");
                    assert!((1..=9).contains(&pair[1].closed_thirds), "{:?}", pair[1]);
                }
                for level in &plan.levels {
                    assert_eq!(level.times.len(), 16);
                    let above = level.times[0].true_time().get() / level.reading.true_time().get();
                    assert!((above.log2() - 7.0 / 3.0).abs() < 1e-9, "{above}");
                }
            }
        }
    }

    /// ISO 12232, from memory: the saturation-based speed is 78 / H_sat and the meter's level 10 / S,
    /// so that a time 7/3 stop above the meter's is at 2^(7/3) / 7.8 = 65 % of full scale.
    #[test]
    fn the_longest_time_fills_two_thirds_of_the_scale() {
        let share = (f64::from(ABOVE_METER_THIRDS) / 3.0).exp2() / 7.8;
        assert!((0.6..0.7).contains(&share), "{share}");
    }

    #[test]
    fn light_that_is_too_bright_or_too_dim_for_the_first_level_is_told() {
        assert_eq!(plan(Some("1/125"), None).unwrap().darken_thirds, 0);
        assert_eq!(plan(Some("1/500"), None).unwrap().darken_thirds, 2);
        assert_eq!(plan(Some("1/15"), None).unwrap().darken_thirds, -7);
        assert!(matches!(plan(None, Some("1/8")), Err(WallPlanError::TooShort(_))));
        assert!(matches!(plan(None, Some("2m")), Err(WallPlanError::BeyondDial(_))));
    }
}
