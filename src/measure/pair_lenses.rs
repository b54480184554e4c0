//! What a fitted pair foretells: other lenses, and positions between the marks.

use super::pair::{FittedMark, Pair};
use crate::profile::{LastMark, LensSpread, WidestLens};
use crate::quantity::{Millimetres, Stops};
use rayon::prelude::*;

/// Focal lengths that are foretold, on this sensor, in millimetres.
pub const LENSES_MM: [u32; 10] = [14, 16, 18, 20, 24, 28, 35, 50, 70, 85];
/// Points of the curve from one mark to the next.
const CURVE_STEPS: usize = 10;

/// For each mark the widest lens.
pub(super) fn widest(pair: &Pair, tolerance: f64) -> Vec<WidestLens> {
    let of = |mark: &FittedMark| WidestLens {
        mark: mark.mark.clone(),
        focal_length_mm: widest_lens(pair, mark, tolerance).map(Millimetres::new),
    };
    pair.marks.par_iter().map(of).collect()
}

/// The widest lens, to a millimetre, from which on a mark's spread stays within the tolerance.
pub(super) fn widest_lens(pair: &Pair, mark: &FittedMark, tolerance: f64) -> Option<f64> {
    let good = |f: u32| pair.spread(mark, f64::from(f)) <= tolerance;
    let (mut low, mut high) = (LENSES_MM[0], LENSES_MM[LENSES_MM.len() - 1]);
    while low < high {
        let middle = low.midpoint(high);
        if good(middle) { high = middle } else { low = middle + 1 }
    }
    good(low).then(|| f64::from(low))
}

/// For each lens the last mark, from the weakest on, before one fails; spreads as [`spreads`] gives
/// them.
pub(super) fn last_marks(spreads: &[LensSpread], tolerance: f64) -> Vec<LastMark> {
    let of = |f: u32| {
        let focal_length_mm = Millimetres::new(f64::from(f));
        let here = spreads.iter().filter(|s| s.focal_length_mm == focal_length_mm);
        let within = here.take_while(|s| s.spread_stops.get() <= tolerance);
        LastMark { focal_length_mm, mark: within.last().map(|s| s.mark.clone()) }
    };
    LENSES_MM.into_iter().map(of).collect()
}

/// Foretold spread of each mark at each lens.
pub(super) fn spreads(pair: &Pair) -> Vec<LensSpread> {
    let of = |mark: &FittedMark| {
        let name = mark.mark.clone();
        LENSES_MM.map(|f| LensSpread {
            mark: name.clone(),
            focal_length_mm: Millimetres::new(f64::from(f)),
            spread_stops: Stops::new(pair.spread(mark, f64::from(f))),
        })
    };
    pair.marks.par_iter().flat_map_iter(of).collect()
}

/// Stops between the marks: the angle between the axes runs smoothly and without overshoot from
/// mark to mark (a monotone cubic, F. N. Fritsch and R. E. Carlson, SIAM J. Numer. Anal. 17 (1980)
/// 238), the stops follow from it. Pairs of position (0 at the first mark, 1 at the second, ...)
/// and stops.
pub(super) fn curve(pair: &Pair) -> Vec<[f64; 2]> {
    let angles: Vec<f64> = pair.marks.iter().map(|m| m.axes_angle).collect();
    let Some(last) = angles.len().checked_sub(1).filter(|n| *n > 0) else { return Vec::new() };
    let slopes = monotone_slopes(&angles);
    (0..=last * CURVE_STEPS)
        .map(|k| {
            let at = k as f64 / CURVE_STEPS as f64;
            let i = (at.floor() as usize).min(last - 1);
            let t = at - i as f64;
            let (t2, t3) = (t * t, t * t * t);
            let angle = (2.0 * t3 - 3.0 * t2 + 1.0) * angles[i]
                + (t3 - 2.0 * t2 + t) * slopes[i]
                + (3.0 * t2 - 2.0 * t3) * angles[i + 1]
                + (t3 - t2) * slopes[i + 1];
            [at, pair.stops_at(angle)]
        })
        .collect()
}

fn monotone_slopes(values: &[f64]) -> Vec<f64> {
    let steps: Vec<f64> = values.windows(2).map(|w| w[1] - w[0]).collect();
    let inner = |i: usize| {
        let (a, b) = (steps[i - 1], steps[i]);
        if a * b <= 0.0 { 0.0 } else { 2.0 * a * b / (a + b) }
    };
    let n = values.len();
    (0..n)
        .map(|i| match i {
            0 => steps[0],
            i if i == n - 1 => steps[n - 2],
            i => inner(i),
        })
        .collect()
}
