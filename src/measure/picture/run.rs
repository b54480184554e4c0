//! Where the edge runs: a first look at where light and dark balance, then steps that make all
//! samples fit one edge spread function.

use super::line::Line;
use super::samples::Greens;
use super::spread::{KNOT_PX, Spread, quickly};
use crate::numerics::least_squares::{robust_fit, weighted};
use crate::numerics::robust::quantile;

/// The patch is cut into so many bands for the first look.
const BANDS: usize = 12;
/// Steps of the fit at most.
const STEPS: usize = 8;
/// The fit has settled when the line moves by less, in pixels.
pub const SETTLED_PX: f64 = 1e-3;
/// So far a line that is fitted again later may still move.
pub const NEARLY_PX: f64 = 0.03;
/// Least part of the steepest slope from which a sample tells where the edge is.
const TELLING: f64 = 0.15;
/// Samples further from the edge tell nothing of where it runs: the longest rise that is measured, and
/// as much beside it.
const TELLING_PX: f64 = 18.0;
/// By so much the first look may be off, in pixels.
pub const ASTRAY_PX: f64 = 6.0;
/// Residuals of the first look are judged by no less, in pixels.
const LEAST_SCALE_PX: f64 = 0.2;

/// Dark and light levels in counts and the first line; `None` where no edge crosses the patch.
#[must_use]
pub fn first_look(greens: &Greens) -> Option<(Line, (f64, f64))> {
    let lights = || greens.samples.iter().map(|s| s.light);
    let (low, high) = (quantile(lights(), 0.1)?, quantile(lights(), 0.9)?);
    if high - low <= 0.0 {
        return None;
    }
    let lean: f64 = greens.samples.iter().map(|s| s.across.signum() * s.light).sum();
    let rising = lean > 0.0;
    let mut bands = [(0.0, 0.0); BANDS];
    for sample in &greens.samples {
        let part = (sample.along / greens.half_along + 1.0) / 2.0 * BANDS as f64;
        let band = &mut bands[(part.max(0.0) as usize).min(BANDS - 1)];
        *band = (band.0 + (sample.light - low) / (high - low), band.1 + 1.0);
    }
    let middle = |i: usize| ((i as f64 + 0.5) / BANDS as f64 * 2.0 - 1.0) * greens.half_along;
    let rows: Vec<[f64; 2]> = (0..BANDS).map(|i| [1.0, middle(i)]).collect();
    let place = |(bright, n): &(f64, f64)| {
        let share = 2.0 * bright / n - 1.0;
        greens.half_across * if rising { -share } else { share }
    };
    let places: Vec<f64> = bands.iter().map(place).collect();
    let fit = robust_fit(&rows, &places, LEAST_SCALE_PX)?;
    let line = Line { offset: fit.coefficients[0], slope: fit.coefficients[1], bow: 0.0 };
    Some((line, if rising { (low, high) } else { (high, low) }))
}

/// The line that makes the samples fit one edge spread function best, until it moves by less than
/// `settled` pixels.
#[must_use]
pub fn refined(greens: &Greens, first: Line, reach: f64, settled: f64) -> Option<Line> {
    let mut line = first;
    let reach = reach.min(TELLING_PX);
    let near = first.near(greens, reach + ASTRAY_PX);
    for _ in 0..STEPS {
        let distances = line.distances(&near);
        let spread = quickly(&near.samples, &distances, reach)?;
        let step = step(&near, &distances, &line, &spread)?;
        line.offset += step[0];
        line.slope += step[1] / greens.half_along;
        line.bow += step[2] / greens.half_along.powi(2);
        if step.iter().all(|s| s.abs() < settled) {
            break;
        }
    }
    let finite = line.offset.is_finite() && line.slope.is_finite() && line.bow.is_finite();
    finite.then_some(line)
}

/// By how much the line must move, at the middle and (in parts of the half length) along it.
fn step(greens: &Greens, distances: &[f64], line: &Line, spread: &Spread) -> Option<[f64; 3]> {
    // Slopes over a pixel: the noise of a quarter of one would lead astray.
    let slope = |d: f64| spread.at(d + 2.0 * KNOT_PX) - spread.at(d - 2.0 * KNOT_PX);
    let slopes: Vec<f64> = (0..spread.knots()).map(|k| slope(spread.distance(k))).collect();
    let steepest = slopes.iter().map(|s| s.abs()).fold(0.0, f64::max);
    let (mut rows, mut left) = (Vec::new(), Vec::new());
    for (sample, &d) in greens.samples.iter().zip(distances) {
        if d.abs() > spread.reach - 1.0 {
            continue;
        }
        let slope = slopes[(((d + spread.reach) / KNOT_PX).round() as usize).min(slopes.len() - 1)];
        if slope.abs() < TELLING * steepest {
            continue;
        }
        let t = sample.along / greens.half_along;
        rows.push([-slope, -slope * t, -slope * t * t]);
        left.push(sample.light - spread.at(d));
    }
    let fit = weighted(&rows, &left, &vec![1.0; rows.len()])?;
    let cos = 1.0 / line.slope.hypot(1.0);
    Some([0, 1, 2].map(|k| fit.coefficients[k] / cos))
}
