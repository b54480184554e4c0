//! Which bare time the light asks for, and which times follow from it.

use super::PlanError;
use crate::exposure::series::{pair_doubt, thirds_below_a_second};
use crate::exposure::{DialTime, GivenTime, Times, filtered_time, stops_between};
use crate::exposure::{parse_time, sentence_text};
use crate::quantity::{Seconds, Stops};

/// No shorter than 1/250 ...
const SHORTEST: i32 = 24;
/// ... nor than 1/125 where possible: a shutter is the less exact, the shorter.
const PREFERRED: i32 = 21;
/// 30 s on the dial, 32 s in truth.
const LONGEST: i32 = -15;
/// In light so dim that one frame would take longer than this the plan is made for the light that
/// is needed instead (ours).
const TOO_LONG_S: f64 = 240.0;
/// Without a reading the bare time is no longer than 1/8: nothing is gained by waiting (ours).
const WITHOUT_READING: i32 = 9;

/// How bright bare frames are to be. A saturation-based ISO puts full scale at 7.8 times the metered level (ISO
/// 12232, 78 / 10, from memory): half of it is 1.96 stops above.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BareLevel {
    /// Half of full scale, where neither noise nor clipping matters.
    Half,
    /// A quarter of it, where a sensor lies half as far off its line.
    Quarter,
}

impl BareLevel {
    /// As a share of full scale.
    #[must_use]
    pub fn share(self) -> f64 {
        match self {
            Self::Half => 0.5,
            Self::Quarter => 0.25,
        }
    }
    /// Thirds of a stop from the meter's reading.
    fn above_meter_thirds(self) -> i32 {
        match self {
            Self::Half => 6,
            Self::Quarter => 3,
        }
    }
}

/// A time to set, and what it is in truth.
#[derive(Clone, Debug, PartialEq)]
pub struct ShotTime {
    /// As the dial shows it, or the length of a bulb exposure, "2 min 8 s".
    pub text: String,
    /// True time.
    pub true_time: Seconds,
    /// Timed on bulb.
    pub bulb: bool,
    /// Expected raw level, as a share of full scale.
    pub level: f64,
}

/// The bare time and what must be done to the light.
#[derive(Clone, Debug, PartialEq)]
pub struct Light {
    /// Bare time.
    pub bare: ShotTime,
    /// How bright it makes the frames.
    pub level: BareLevel,
    /// What the meter should read at the aperture and ISO of the shoot, dial time.
    pub reading: String,
    /// Thirds of a stop by which the reading given is to be darkened (aperture, ISO, light).
    pub darken_thirds: i32,
    /// Thirds of a stop by which the reading given is too dim for any sensible time; the plan is
    /// made for a reading that much brighter.
    pub brighten_thirds: i32,
    /// Where the filtered time exceeds 30 s: what the meter would have to read, dial time, and
    /// how many thirds brighter that is; `None` inside where no light makes it 30 s.
    pub too_dim: Option<Option<(String, i32)>>,
}

impl ShotTime {
    /// The same time behind something that takes so many stops.
    #[must_use]
    pub fn behind(&self, stops: Stops) -> Self {
        Self { level: self.level / stops.factor().get(), ..self.clone() }
    }
}

impl Light {
    /// Chooses the bare time for the strongest setting.
    ///
    /// # Errors
    /// [`PlanError::TooDim`].
    pub fn of(
        metered: Option<GivenTime>,
        strongest: Stops,
        level: BareLevel,
    ) -> Result<Self, PlanError> {
        let above = level.above_meter_thirds();
        // Thirds of a stop below one second at which the filtered time is just 30 s.
        let needed = (3.0 * strongest.get()).ceil() as i32 + LONGEST;
        let wanted = match metered {
            Some(given) => thirds_below_a_second(given.true_time(Times::Dial)) - above,
            None => needed.clamp(WITHOUT_READING, SHORTEST),
        };
        if wanted < LONGEST {
            return Err(PlanError::TooDim(metered.map_or_else(String::new, GivenTime::text)));
        }
        let limit = if needed <= PREFERRED { PREFERRED } else { SHORTEST };
        let mut step = wanted.min(limit);
        let waiting = strongest.get() - f64::from(step) / 3.0;
        if waiting > TOO_LONG_S.log2() {
            step = needed.min(SHORTEST).max(step);
        }
        let mut light = Self {
            bare: on_dial(step, level.share()),
            level,
            reading: dial(step + above),
            darken_thirds: (wanted - step).max(0),
            brighten_thirds: (step - wanted).max(0),
            too_dim: None,
        };
        let longest = light.through(strongest);
        if longest.bulb {
            let reachable = needed <= SHORTEST;
            light.too_dim = Some(reachable.then(|| (dial(needed + above), needed - step)));
        }
        Ok(light)
    }

    /// What keeping the times of the dial instead of powers of two would make of frames of this time
    /// against the bare ones.
    #[must_use]
    pub fn dial_doubt(&self, time: &ShotTime) -> Stops {
        pair_doubt(shown(&self.bare), shown(time))
    }

    /// A bare frame's time so many thirds of a stop shorter.
    #[must_use]
    pub fn bare_shorter_by(&self, thirds: i32) -> ShotTime {
        let step = thirds_below_a_second(self.bare.true_time) + thirds;
        on_dial(step, self.bare.level * (-f64::from(thirds) / 3.0).exp2())
    }

    /// The longest time up to that of [`Self::through`] whose dial and true times differ the least within
    /// a stop.
    #[must_use]
    pub fn plain_through(&self, strength: Stops) -> ShotTime {
        let exact = -3.0 * filtered_time(self.bare.true_time, strength).get().log2();
        // Powers of two that are as good as whole.
        let longest = (exact - 1e-6).ceil() as i32;
        let differs = |step: &i32| {
            DialTime::at_third(*step).map_or(f64::INFINITY, |dial| dial.difference().get().abs())
        };
        let plain = (longest..longest + 3).min_by(|a, b| differs(a).total_cmp(&differs(b)));
        let Some(step) = plain.filter(|step| *step >= LONGEST) else {
            return self.through(strength);
        };
        let mut time = on_dial(step, self.bare.level);
        let longer = stops_between(self.bare.true_time, time.true_time).get() - strength.get();
        time.level *= longer.exp2();
        time
    }

    /// The time that brings a filter of this strength to the level of the bare frames.
    #[must_use]
    pub fn through(&self, strength: Stops) -> ShotTime {
        let exact = filtered_time(self.bare.true_time, strength);
        let short = thirds_below_a_second(exact) >= LONGEST;
        let (text, true_time) = match DialTime::nearest(exact).filter(|_| short) {
            Some(dial) => (dial.text().to_owned(), dial.true_time()),
            None => on_bulb(exact),
        };
        let off = stops_between(exact, true_time).get();
        ShotTime { text, true_time, bulb: !short, level: self.bare.level * off.exp2() }
    }
}

fn dial(step: i32) -> String {
    DialTime::at_third(step).map_or_else(|| "\u{2013}".to_owned(), |dial| dial.text().to_owned())
}

fn on_dial(step: i32, level: f64) -> ShotTime {
    let true_time = Seconds::new((-f64::from(step) / 3.0).exp2());
    ShotTime { text: dial(step), true_time, bulb: false, level }
}

fn shown(time: &ShotTime) -> Seconds {
    let dial = DialTime::nearest(time.true_time).filter(|_| !time.bulb);
    dial.map_or(time.true_time, DialTime::shown)
}

/// "2 min 8 s", and the time that it says: no finer than anybody sets a timer.
fn on_bulb(exact: Seconds) -> (String, Seconds) {
    let text = sentence_text(exact);
    let said = parse_time(&text).map_or(exact, |given| given.seconds());
    (text, said)
}
