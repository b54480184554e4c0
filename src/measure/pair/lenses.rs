//! What a fitted pair foretells, as the profile keeps it: other lenses, and positions between the
//! marks.

use super::fitted::{FittedMark, Pair};
use crate::numerics::monotone::Monotone;
use crate::profile::{LastMark, LensSpread, PairMark, PolariserPair, WidestLens};
use crate::quantity::{Degrees, Millimetres, Stops};
use rayon::prelude::*;

/// Focal lengths that are foretold, on this sensor, in millimetres.
pub const LENSES_MM: [u32; 10] = [14, 16, 18, 20, 24, 28, 35, 50, 70, 85];
/// Points of the curve from one mark to the next.
const CURVE_STEPS: usize = 10;

/// Below this angle between the axes a mark is "near parallel", in degrees.
pub const NEAR_PARALLEL: f64 = 15.0;
/// Two standard uncertainties cover 95 %.
const COVERAGE: f64 = 1.96;

/// As it stands in the profile, for spreads up to a tolerance in stops.
#[must_use]
pub fn record(pair: &Pair, tolerance: f64) -> PolariserPair {
    let marks = pair.marks.iter().map(|m| {
        let near = m.axes_angle < NEAR_PARALLEL;
        PairMark {
            mark: m.mark.clone(),
            state: if near { "near parallel" } else { "measured" }.to_owned(),
            axes_angle: Some(Degrees::new(if near { m.at_most } else { m.axes_angle })),
            u95: (!near).then(|| Degrees::new(COVERAGE * m.u)),
            bisector_angle: (!near).then(|| Degrees::new(m.bisector)),
            bisector_u95: (!near).then(|| Degrees::new(COVERAGE * m.bisector_u)),
        }
    });
    let lens_spreads = spreads(pair);
    PolariserPair {
        focal_length_mm: Some(Millimetres::new(pair.focal_length_mm)),
        floor_stops: Some(Stops::new(-pair.floor.log2())),
        floor_u95: Some(Stops::new(COVERAGE * pair.floor_u)),
        base_stops: Some(Stops::new(pair.base_stops)),
        base_u95: Some(Stops::new(COVERAGE * pair.base_u)),
        marks: marks.collect(),
        widest_lens_mm: widest(pair, tolerance),
        last_mark: last_marks(&lens_spreads, tolerance),
        curve: curve(pair),
        lens_spreads,
    }
}

/// For each mark the widest lens.
fn widest(pair: &Pair, tolerance: f64) -> Vec<WidestLens> {
    let of = |mark: &FittedMark| WidestLens {
        mark: mark.mark.clone(),
        focal_length_mm: widest_lens(pair, mark, tolerance).map(Millimetres::new),
    };
    pair.marks.par_iter().map(of).collect()
}

/// The widest lens, to a millimetre, from which on a mark's spread stays within the tolerance.
#[must_use]
pub fn widest_lens(pair: &Pair, mark: &FittedMark, tolerance: f64) -> Option<f64> {
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
fn last_marks(spreads: &[LensSpread], tolerance: f64) -> Vec<LastMark> {
    let of = |f: u32| {
        let focal_length_mm = Millimetres::new(f64::from(f));
        let here = spreads.iter().filter(|s| s.focal_length_mm == focal_length_mm);
        let within = here.take_while(|s| s.spread_stops.get() <= tolerance);
        LastMark { focal_length_mm, mark: within.last().map(|s| s.mark.clone()) }
    };
    LENSES_MM.into_iter().map(of).collect()
}

/// Foretold spread of each mark at each lens.
fn spreads(pair: &Pair) -> Vec<LensSpread> {
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
/// mark to mark, the stops follow from it. Pairs of position (0 at the first mark, 1 at the second, ...)
/// and stops.
fn curve(pair: &Pair) -> Vec<[f64; 2]> {
    let places = (0..pair.marks.len()).map(|k| k as f64);
    let angles = pair.marks.iter().map(|m| m.axes_angle);
    let Some(angle) = Monotone::through(places.zip(angles).collect()) else { return Vec::new() };
    let last = pair.marks.len() - 1;
    let places = (0..=last * CURVE_STEPS).map(|k| k as f64 / CURVE_STEPS as f64);
    places.map(|at| [at, pair.stops_at(angle.at(at))]).collect()
}
