//! What looks like times that stretch along the dial is taken for the sensor's.

use super::super::fit::stretch::slope;
use super::super::fit::times::TimesFound;
use super::Tied;
use super::record::{above, dial_rule, row};
use super::wall::{WallFrame, WallShoot};
use nalgebra::DMatrix;

/// Shorter times show the curtains' own microseconds, seconds.
const CLOCKED_S: f64 = 1.0 / 125.5;
/// Normal factor of 95 %.
const NORMAL: f64 = 1.959_963_984_540_054;

/// The times without the slope that they have along the dial, and with what is not known of it; the
/// response has it instead.
pub fn unstretched(shoot: &WallShoot, tied: &Tied, found: TimesFound) -> TimesFound {
    let frame = |k: usize| -> &WallFrame { &shoot.frames[tied.frames[tied.times[k]]] };
    let log_time = |k: usize| frame(k).exposure.true_time.get().log2();
    let as_shown = dial_rule(shoot, tied, &found) > 0.5;
    let counted = |k: &usize| {
        frame(*k).exposure.dial.is_some() && frame(*k).exposure.true_time.get() >= CLOCKED_S
    };
    let clocked: Vec<usize> = (0..tied.times.len()).filter(counted).collect();
    let offset = |k: usize| row(tied, k).map_or(0.0, |r| found.offsets[r]);
    let rule = |k: usize| if as_shown { above(frame(k)) } else { 0.0 };
    let points: Vec<(f64, f64)> =
        clocked.iter().map(|&k| (log_time(k), offset(k) - rule(k))).collect();
    let shared = |a: usize, b: usize| match (row(tied, a), row(tied, b)) {
        (Some(i), Some(j)) => found.covariance[(i, j)],
        _ => 0.0,
    };
    let n = clocked.len();
    let covariance = DMatrix::from_fn(n, n, |i, j| shared(clocked[i], clocked[j]));
    let Some(slope) = slope(&points, &covariance) else { return found };
    let mut all = found;
    let apart = |k: usize| log_time(k) - log_time(tied.reference);
    let rows: Vec<(usize, f64)> =
        (0..tied.times.len()).filter_map(|k| Some((row(tied, k)?, apart(k)))).collect();
    for &(i, x) in &rows {
        all.offsets[i] -= slope.mean * x;
        all.u95[i] = all.u95[i].hypot(NORMAL * slope.variance.sqrt() * x);
        for &(j, other) in &rows {
            all.covariance[(i, j)] += slope.variance * x * other;
        }
    }
    let top = all.response.last().map_or(0.0, |p| p.log_share);
    for point in &mut all.response {
        point.stops += slope.mean * (point.log_share - top);
        point.u = point.u.hypot(slope.variance.sqrt() * (point.log_share - top));
    }
    all
}
