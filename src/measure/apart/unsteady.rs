//! Whether the light was less steady while the filter was on than before and after: a cloud over all of
//! its frames shifts them alike, but seldom stands still.

use super::{files, level, steady_variance};
use crate::caution::ApartDoubt;
use crate::profile::FrameState;
use crate::quantity::Stops;
use crate::shoot::Judged;
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// Light walks by this much at least, stops per root of a minute (ours).
const LEAST_WALK: f64 = 0.008;
/// Probability by which chance is ruled out (ours).
const SURE: f64 = 0.98;
/// Less scatter does no harm, stops (ours).
const HARMLESS: f64 = 0.01;

/// Frames through the filter that scatter far more than bare ones.
#[must_use]
pub fn through_filter(sets: &[Vec<&Judged>]) -> Option<ApartDoubt> {
    let of = |state: FrameState| sets.iter().filter(move |set| set[0].state == state);
    let pairs = |state: FrameState| -> Vec<TwoAlike> {
        of(state).flat_map(|set| set.windows(2).map(|w| TwoAlike::of(w[0], w[1]))).collect()
    };
    // Across the filter light drifts.
    let (near, far): (Vec<TwoAlike>, Vec<TwoAlike>) =
        pairs(FrameState::Bare).into_iter().partition(|pair| pair.one_run);
    let minutes: f64 = far.iter().map(|p| p.minutes).sum();
    let drifted: f64 = far.iter().map(|p| p.apart * p.apart).sum();
    let walk = (drifted / minutes.max(f64::MIN_POSITIVE)).max(LEAST_WALK * LEAST_WALK);
    let quiet: f64 = near.iter().map(|p| p.apart * p.apart / 2.0).sum();
    let (own, degrees) = steady_variance(quiet, near.len());
    let filtered = pairs(FrameState::Setting);
    let expected = |p: &TwoAlike| 2.0 * own + walk * p.minutes + p.noise * p.noise;
    let n = filtered.len() as f64;
    let times = filtered.iter().map(|p| p.apart * p.apart / expected(p)).sum::<f64>() / n;
    let mean = |of: &dyn Fn(&TwoAlike) -> f64| {
        Stops::new((filtered.iter().map(of).sum::<f64>() / n / 2.0).sqrt())
    };
    let chance = FisherSnedecor::new(n, degrees).ok()?;
    let scatter = mean(&|p| p.apart * p.apart);
    let sure = times.is_finite() && chance.cdf(times) > SURE && scatter.get() > HARMLESS;
    let frames: Vec<&Judged> = of(FrameState::Setting).flatten().copied().collect();
    sure.then(|| ApartDoubt::Scatter {
        through: files(&frames),
        scatter,
        expected: mean(&expected),
    })
}

/// Two frames taken alike, one after the other.
struct TwoAlike {
    /// Stops.
    apart: f64,
    minutes: f64,
    /// What noise makes of their difference, stops.
    noise: f64,
    one_run: bool,
}

impl TwoAlike {
    fn of(a: &Judged, b: &Judged) -> Self {
        Self {
            apart: level(b) - level(a),
            minutes: (b.minutes - a.minutes).max(0.0),
            noise: a.look.noise.hypot(b.look.noise),
            one_run: a.run == b.run,
        }
    }
}
