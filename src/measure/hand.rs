//! How well a hand sets the marks of a ring, and what that makes of each mark's strength.
//!
//! Two polarisers at an angle A from parallel pass cos^2 A (Malus), so that a degree is worth
//! 2 tan A / ln 2 x pi / 180 stops: 0.03 where the ring takes three quarters of a stop beyond its
//! least, 0.2 at four stops beyond, 0.4 at six.

use super::fit::{Fit, Reading, WALK};
use crate::measured::Measured;
use crate::quantity::Stops;

/// What a hand is off by where nothing is known of it: standard deviation in degrees, as good as
/// so many readings (common practice, no source).
const HAND_DEGREES: f64 = 0.2;
const KNOWN_AS: f64 = 2.0;
/// What the two polarisers take where they are parallel, stops, where no mark is lighter (common
/// practice, no source).
const PARALLEL: f64 = 1.5;
/// The lightest mark need not be where the two are parallel: it is off by this at least, stops (ours).
const LEAST: f64 = 0.01;
/// 2 / ln 2 x pi / 180.
const PER_DEGREE: f64 = 0.050_362;

/// Deviation of one setting by hand of each state, stops.
#[must_use]
pub fn by_state(readings: &[Reading], fit: &Fit) -> Vec<f64> {
    let strengths: Vec<f64> = fit.settings.iter().map(|s| s.stops[1]).collect();
    let parallel = strengths.iter().copied().fold(PARALLEL, f64::min);
    let per_degree: Vec<f64> = strengths
        .iter()
        .map(|s| PER_DEGREE * ((s - parallel).max(0.0).exp2() - 1.0).sqrt())
        .collect();
    let mean = per_degree.iter().map(|p| p * p).sum::<f64>() / per_degree.len().max(1) as f64;
    let (mut seen, mut worth) = (KNOWN_AS * HAND_DEGREES * HAND_DEGREES * mean, KNOWN_AS * mean);
    for (state, per_degree) in per_degree.iter().enumerate() {
        if let Some((deviation, visits)) = repeated(readings, fit, state) {
            seen += (visits - 1.0) * deviation.value().get().powi(2);
            worth += (visits - 1.0) * per_degree * per_degree;
        }
    }
    let degrees = if worth > 0.0 { (seen / worth).sqrt() } else { 0.0 };
    per_degree.iter().map(|p| LEAST.hypot(p * degrees)).collect()
}

/// How well a state was met again, where it was set more than once.
#[must_use]
pub fn repeat(readings: &[Reading], fit: &Fit, setting: usize) -> Option<Measured<Stops>> {
    repeated(readings, fit, setting).map(|found| found.0)
}

/// Standard deviation of one setting of the mark between visits, the light's drift taken out
/// (repeatability, JCGM 200:2012, 2.20); its uncertainty is what noise and a walking light do to it.
fn repeated(readings: &[Reading], fit: &Fit, setting: usize) -> Option<(Measured<Stops>, f64)> {
    let mine: Vec<(usize, f64, f64, f64)> = readings
        .iter()
        .filter(|r| r.setting == Some(setting) && !r.doubtful)
        .filter_map(|r| {
            let green = r.channels[1]?;
            Some((r.run, r.minutes, green.y - fit.light_at(r.minutes), green.noise))
        })
        .collect();
    let mut runs: Vec<usize> = mine.iter().map(|m| m.0).collect();
    runs.sort_unstable();
    runs.dedup();
    if runs.len() < 2 {
        return None;
    }
    let (mut levels, mut minutes, mut variance) = (Vec::new(), Vec::new(), 0.0);
    for run in &runs {
        let visit: Vec<_> = mine.iter().filter(|m| m.0 == *run).collect();
        let n = visit.len() as f64;
        levels.push(visit.iter().map(|m| m.2).sum::<f64>() / n);
        minutes.push(visit.iter().map(|m| m.1).sum::<f64>() / n);
        variance +=
            visit.iter().map(|m| m.3 * m.3 + fit.scatter * fit.scatter).sum::<f64>() / (n * n);
    }
    let visits = runs.len() as f64;
    let mean = levels.iter().sum::<f64>() / visits;
    let deviation =
        (levels.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / (visits - 1.0)).sqrt();
    let apart = minutes.windows(2).map(|w| (w[1] - w[0]).abs()).sum::<f64>() / (visits - 1.0);
    let u = (variance / visits + WALK * WALK * apart / 2.0).sqrt();
    Measured::new(Stops::new(deviation), u, f64::INFINITY).ok().map(|found| (found, visits))
}
