//! What looks like times that stretch along the dial is taken for the sensor's.

use super::super::fit::stretch::{SlopeTold, TimePoint, own};
use super::super::fit::times::{ANY_POWER, PowerFound, TimesFound};
use super::Tied;
use super::record::{above, row};
use super::wall::{WallFrame, WallShoot};
use crate::body_record::CLOCKED_S;
use crate::measured::NORMAL_95;
use nalgebra::DMatrix;

/// The times without the slope that they have along the dial, and with what is not known of it; the
/// response has it instead. And the probability that the dial shows true times.
pub fn unstretched(shoot: &WallShoot, tied: &Tied, found: TimesFound) -> (TimesFound, f64) {
    let frame = |k: usize| -> &WallFrame { &shoot.frames[tied.frames[tied.times[k]]] };
    let point = |k: usize| {
        let exposure = &frame(k).exposure;
        let seconds = exposure.true_time.get();
        TimePoint {
            log_time: seconds.log2(),
            off: row(tied, k).map_or(0.0, |r| found.offsets[r]),
            above: if exposure.dial.is_some() { above(frame(k)) } else { 0.0 },
            clocked: exposure.dial.is_some() && seconds >= CLOCKED_S,
        }
    };
    let n = tied.times.len();
    let points: Vec<TimePoint> = (0..n).map(point).collect();
    let measured = |a: usize, b: usize| match (row(tied, a), row(tied, b)) {
        (Some(i), Some(j)) => found.covariance[(i, j)],
        _ => 0.0,
    };
    let told = found.power.as_ref().map(|power| told(power, tied));
    let by_lamps = found.power.as_ref().map_or(0.0, |power| power.stops + power.with_bends);
    let Some(own) = own(&points, &DMatrix::from_fn(n, n, measured), told.as_ref()) else {
        return (found, 0.5);
    };
    let reference = tied.reference;
    let c = &own.covariance;
    let shared = |a: usize, b: usize| {
        c[(a, b)] - c[(a, reference)] - c[(b, reference)] + c[(reference, reference)]
    };
    let mut all = found;
    if let Some(power) = &mut all.power {
        power.contradicted = own.contradicted;
    }
    let places: Vec<(usize, usize)> = (0..n).filter_map(|k| Some((k, row(tied, k)?))).collect();
    for &(a, i) in &places {
        all.offsets[i] = own.off[a] - own.off[reference];
        all.u95[i] = NORMAL_95 * shared(a, a).max(0.0).sqrt();
        for &(b, j) in &places {
            all.covariance[(i, j)] = shared(a, b);
        }
    }
    let (slope, u) = slope(&points, &own.off, c);
    let slope = slope + by_lamps;
    let knots = all.response.len().max(1) as f64;
    let middle = all.response.iter().map(|p| p.log_share).sum::<f64>() / knots;
    for point in &mut all.response {
        point.stops += slope * (point.log_share - middle);
        point.u = point.u.hypot(u * (point.log_share - middle));
    }
    (all, own.as_shown)
}

/// What two lamps tell, by distinct time.
fn told(power: &PowerFound, tied: &Tied) -> SlopeTold {
    let with = |k: usize| row(tied, k).map_or(0.0, |r| power.with_offsets[r]);
    SlopeTold {
        slope: power.stops,
        variance: power.variance,
        believed: ANY_POWER,
        with: (0..tied.times.len()).map(with).collect(),
    }
}

/// The straight line through what the times are not off by themselves, stops per stop, and its
/// standard uncertainty.
fn slope(points: &[TimePoint], own: &[f64], covariance: &DMatrix<f64>) -> (f64, f64) {
    let n = points.len() as f64;
    let middle = points.iter().map(|p| p.log_time).sum::<f64>() / n;
    let x: Vec<f64> = points.iter().map(|p| p.log_time - middle).collect();
    let spread: f64 = x.iter().map(|x| x * x).sum::<f64>().max(f64::MIN_POSITIVE);
    let along = points.iter().zip(own).zip(&x).map(|((p, own), x)| (p.off - own) * x);
    let pairs = (0..x.len()).flat_map(|i| (0..x.len()).map(move |j| (i, j)));
    let variance: f64 = pairs.map(|(i, j)| x[i] * x[j] * covariance[(i, j)]).sum();
    (along.sum::<f64>() / spread, variance.max(0.0).sqrt() / spread)
}
