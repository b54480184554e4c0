//! Where the edge runs: a first look at where light and dark balance, then steps that make all
//! samples fit one edge spread function.

use super::line::Line;
use super::samples::{Greens, Sample};
use super::spread::{KNOT_PX, Spread, quickly, roughly};
use crate::numerics::least_squares::{NormalSums, robust_fit};
use crate::numerics::robust::{deviation, quantiles};

/// The patch is cut into so many bands for the first look.
const BANDS: usize = 12;
/// Steps of the fit at most.
const STEPS: usize = 8;
/// The fit has settled when the line moves by less, in pixels.
const SETTLED_PX: f64 = 1e-3;
/// So far a line that is fitted again later may still move.
const NEARLY_PX: f64 = 0.03;
/// One of so many samples tells levels and the scale of noise.
pub const ONE_OF: usize = 8;
/// Samples further off than so many deviations are hot or dead, and than the edge changes over so many
/// pixels, by which the line may still be off.
const HOT: f64 = 8.0;
const UNSURE_PX: f64 = 0.25;
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
    let lights = greens.samples.iter().step_by(ONE_OF).map(|s| s.light);
    let [low, high] = quantiles(lights, [0.1, 0.9])?;
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

/// The line that makes a few samples, none of them hot, fit one edge spread function best.
#[must_use]
pub fn nearly(few: &Greens, first: Line, reach: f64) -> Option<Line> {
    let mut line = first;
    let reach = reach.min(TELLING_PX);
    let near = first.near(few, reach + ASTRAY_PX);
    for _ in 0..STEPS {
        let distances = line.distances(&near);
        let spread = roughly(&near.samples, &distances, reach)?;
        let step = step(&near, &distances, &line, &spread)?;
        line = line.moved(step, near.half_along);
        if step.iter().all(|s| s.abs() < NEARLY_PX) {
            break;
        }
    }
    line.is_finite().then_some(line)
}

/// The line that makes the samples fit one edge spread function best, from a line that is nearly there,
/// with that function; samples that are hot or dead are dropped.
#[must_use]
pub fn settled(greens: &mut Greens, first: Line, reach: f64) -> Option<(Line, Spread)> {
    let mut line = first;
    let mut distances = line.distances(greens);
    let mut spread = quickly(&greens.samples, &distances, reach)?;
    drop_hot(greens, &mut distances, &spread)?;
    for _ in 0..STEPS {
        let step = step(greens, &distances, &line, &spread)?;
        line = line.moved(step, greens.half_along);
        distances = line.distances(greens);
        spread = quickly(&greens.samples, &distances, reach)?;
        if step.iter().all(|s| s.abs() < SETTLED_PX) {
            break;
        }
    }
    line.is_finite().then_some((line, spread))
}

/// Drops samples that are hot or dead, with their distances in pixels.
fn drop_hot(greens: &mut Greens, distances: &mut Vec<f64>, spread: &Spread) -> Option<()> {
    let (step, lights) = spread.finely();
    // What lies beyond the function's ends is compared with them.
    let (each, last) = (1.0 / step, lights.len().checked_sub(1)?);
    let place = |distance: f64| (((distance + spread.reach) * each).max(0.0) as usize).min(last);
    let off = |sample: &Sample, distance: f64| sample.light - lights[place(distance)];
    let beside = (UNSURE_PX * each) as usize;
    let unsure: Vec<f64> = (0..=last)
        .map(|i| (lights[(i + beside).min(last)] - lights[i.saturating_sub(beside)]).abs() / 2.0)
        .collect();
    let all = || greens.samples.iter().zip(distances.iter());
    let inside = all().filter(|(_, d)| d.abs() < spread.reach);
    let scale = deviation(inside.step_by(ONE_OF).map(|(s, d)| off(s, *d)))?;
    let most = HOT * scale.max(1.0);
    let kept: Vec<bool> =
        all().map(|(s, d)| off(s, *d).abs() <= most + unsure[place(*d)]).collect();
    if kept.iter().all(|kept| *kept) {
        return Some(());
    }
    let mut own = kept.iter();
    greens.samples.retain(|_| own.next().is_none_or(|kept| *kept));
    let mut own = kept.iter();
    distances.retain(|_| own.next().is_none_or(|kept| *kept));
    Some(())
}

/// By how much the line must move, at the middle and (in parts of the half length) along it, in pixels.
fn step(greens: &Greens, distances: &[f64], line: &Line, spread: &Spread) -> Option<[f64; 3]> {
    // Slopes over a pixel: the noise of a quarter of one would lead astray.
    let slope = |d: f64| spread.at(d + 2.0 * KNOT_PX) - spread.at(d - 2.0 * KNOT_PX);
    let slopes: Vec<f64> = (0..spread.knots()).map(|k| slope(spread.distance(k))).collect();
    let steepest = slopes.iter().map(|s| s.abs()).fold(0.0, f64::max);
    let telling = TELLING_PX.min(spread.reach) - 1.0;
    let (each, length) = (1.0 / KNOT_PX, 1.0 / greens.half_along);
    let mut sums = NormalSums::default();
    for (sample, &d) in greens.samples.iter().zip(distances).filter(|(_, d)| d.abs() <= telling) {
        // Not negative.
        let nearest = ((d + spread.reach) * each + 0.5) as usize;
        let slope = slopes.get(nearest).copied().unwrap_or(0.0);
        if slope.abs() < TELLING * steepest {
            continue;
        }
        let t = sample.along * length;
        sums.add([-slope, -slope * t, -slope * t * t], sample.light - spread.at(d), 1.0);
    }
    let cos = 1.0 / line.slope.hypot(1.0);
    sums.solved().map(|found| found.map(|step| step / cos))
}
