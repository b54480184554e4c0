//! The polariser pair of a variable filter: one fit over all marks, and what it foretells.

mod fit;
mod fitted;
pub mod lenses;
pub mod model;
pub mod single;
mod state;

use self::state::{Place, State};
use super::map::{CENTRE_SHARE, GREEN, RatioMap};
use crate::numerics::harmonics::wrapped;
use fit::{Cell, LOCAL, Mark, Prior, SHARED, Solution, minimise, state, thinned};
pub use fit::{DARKENING, NUISANCE};
pub use fitted::{FittedMark, Pair};
pub use lenses::record;
use nalgebra::DVector;
use rayon::prelude::*;

/// Half width of the rectangle that the true focal length lies in, as a share of what Exif says:
/// lenses breathe at a near wall.
const FOCAL_SHARE: f64 = 0.05;
/// Refractive index of the sheets beforehand, mean and standard uncertainty: a rectangle from 1.48,
/// cellulose triacetate, to 1.53, stretched polyvinyl alcohol and crown glass (handbook values, from
/// memory).
const INDEX_PRIOR: (f64, f64) = (1.505, 0.0144);
/// Base loss of a pair beforehand, mean and standard uncertainty in stops: a rectangle from one,
/// which ideal sheets take, to 2.1 (variable filters begin at one to two stops: common practice, no
/// source).
const BASE_PRIOR: (f64, f64) = (1.55, 0.32);
/// Floor beforehand: stops below parallel, and standard uncertainty (common practice, no source).
const FLOOR_PRIOR: (f64, f64) = (10.5, 2.0);
/// The model itself is trusted to this many stops,
pub const MODEL_STOPS: f64 = 0.005;
/// and to this share of a map's stops (ours).
pub const MODEL_SHARE: f64 = 0.01;
/// Strengths are not taken as better known than this, in stops (ours).
const LEAST_STRENGTH_U: f64 = 0.005;
/// Maps with more columns than this are averaged two by two before the fit.
const ENOUGH_COLUMNS: usize = 40;
/// So many of the likeliest starts are followed to their end.
const STARTS: usize = 3;

/// One mark as measured.
#[derive(Clone, Debug)]
pub struct MarkMap {
    /// Label.
    pub mark: String,
    /// Strength in the centre, stops.
    pub strength: f64,
    /// Its standard uncertainty, stops.
    pub u: f64,
    /// Map without specks and shaded cells.
    pub map: RatioMap,
}

/// Sensor and lens.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct View {
    /// Focal length as Exif or the user says.
    pub focal_length_mm: f64,
    /// Sensor width and height as the picture is viewed.
    pub sensor_mm: (f64, f64),
}

/// Fits a pair. `None` with no marks, or where the fit fails.
#[must_use]
pub fn fit(marks: &[MarkMap], view: &View) -> Option<Pair> {
    let half = 0.5 * view.sensor_mm.0.hypot(view.sensor_mm.1);
    let focal_u = FOCAL_SHARE / 3.0_f64.sqrt();
    let floor = (-FLOOR_PRIOR.0 * std::f64::consts::LN_2, FLOOR_PRIOR.1 * std::f64::consts::LN_2);
    let index = (INDEX_PRIOR.0.ln(), INDEX_PRIOR.1 / INDEX_PRIOR.0);
    let share = CENTRE_SHARE / 2.0;
    let prior = Prior {
        shared: [BASE_PRIOR, floor, (view.focal_length_mm.ln(), focal_u), index],
        half_diagonal_mm: half,
        centre: (share * view.sensor_mm.0 / half, share * view.sensor_mm.1 / half),
    };
    let data: Vec<Mark> = marks.iter().map(mark).collect();
    let weakest = data.iter().map(|m| m.strength).min_by(f64::total_cmp)?;
    // Base loss and angles trade places over wide flat valleys: several starts, the best end.
    let mut starts: Vec<(DVector<f64>, f64)> = [0.0, 0.25, 0.6, 1.0, 1.5]
        .into_par_iter()
        .map(|below| start(&data, &prior, weakest - below))
        .collect();
    starts.sort_by(|a, b| a.1.total_cmp(&b.1));
    let few = thinned(&data);
    let likeliest = starts
        .into_par_iter()
        .take(STARTS)
        .filter_map(|(at, _)| minimise(&few, &prior, at))
        .min_by(|a, b| a.cost.total_cmp(&b.cost))?;
    let solution = minimise(&data, &prior, likeliest.at)?;
    Some(read(marks, &solution, view))
}

/// A mark's map as the fit takes it.
fn mark(measured: &MarkMap) -> Mark {
    let map = &measured.map;
    let step = if map.columns > ENOUGH_COLUMNS { 2 } else { 1 };
    let noise = map.noise[GREEN] / step as f64;
    let mut cells = Vec::new();
    for row in 0..map.rows / step {
        for column in 0..map.columns / step {
            let first = row * step * map.columns + column * step;
            let group: Vec<usize> =
                (0..step * step).map(|k| first + (k / step) * map.columns + k % step).collect();
            let known: Vec<f64> = group.iter().filter_map(|&i| map.green()[i]).collect();
            if known.len() < group.len() {
                continue;
            }
            let light = known.iter().map(|s| (-s).exp2()).sum::<f64>() / known.len() as f64;
            let places: Vec<(f64, f64)> = group.iter().map(|&i| map.position(i)).collect();
            let mean = |of: fn(&(f64, f64)) -> f64| {
                places.iter().map(of).sum::<f64>() / places.len() as f64
            };
            let stops = -light.log2();
            let u = noise.hypot(MODEL_STOPS).hypot(MODEL_SHARE * stops);
            cells.push(Cell { place: Place::new(mean(|p| p.0), mean(|p| p.1)), stops, u });
        }
    }
    Mark { strength: measured.strength, u: measured.u.max(LEAST_STRENGTH_U), cells }
}

/// A starting point for a base loss: angles from the strengths, bisectors by trying all.
fn start(marks: &[Mark], prior: &Prior, base: f64) -> (DVector<f64>, f64) {
    const TURNS: usize = 36;
    const EVERY: usize = 5;
    let deepest = marks.iter().map(|m| m.strength).fold(base, f64::max) - base;
    let floor = (-(deepest + 1.5).max(FLOOR_PRIOR.0)).exp2();
    let mut at = DVector::zeros(SHARED + LOCAL * marks.len());
    (at[0], at[1], at[2], at[3]) = (base, floor.ln(), prior.shared[2].0, prior.shared[3].0);
    let mut total = 0.0;
    for (k, mark) in marks.iter().enumerate() {
        let light = (((base - mark.strength).exp2() - floor) / (1.0 - floor)).clamp(0.0, 1.0);
        at[SHARED + LOCAL * k] = light.sqrt().acos().max(0.02);
        let misfit = |turn: usize| {
            let mut state: State = state(&at, k, prior.half_diagonal_mm);
            state.bisector = std::f64::consts::PI * turn as f64 / TURNS as f64;
            let ready = state.ready();
            let centre = ready.centre(prior.centre);
            let of = |c: &Cell| {
                let z = (c.stops - (ready.stops(&c.place) - centre)) / c.u.max(0.05);
                z.abs().min(10.0)
            };
            mark.cells.iter().step_by(EVERY).map(of).sum::<f64>()
        };
        let best = (0..TURNS).map(|t| (t, misfit(t))).min_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((turn, cost)) = best {
            at[SHARED + LOCAL * k + 1] = std::f64::consts::PI * turn as f64 / TURNS as f64;
            total += cost;
        }
    }
    (at, total)
}

fn read(marks: &[MarkMap], solution: &Solution, view: &View) -> Pair {
    let at = &solution.at;
    let u = |i: usize| solution.covariance[(i, i)].max(0.0).sqrt();
    let floor = at[1].exp();
    let fitted = marks.iter().enumerate().map(|(k, m)| {
        let i = SHARED + LOCAL * k;
        let cosine = at[i].cos();
        // beyond crossing, whichever way and however far the search went, the acute bisector is the
        // other one
        let quarter = if cosine < 0.0 { 90.0 } else { 0.0 };
        let excess = (m.strength - at[0]).max(0.0) + 2.0 * m.u.hypot(u(0));
        let light = ((-excess).exp2() - floor).max(0.0).sqrt();
        FittedMark {
            mark: m.mark.clone(),
            axes_angle: cosine.abs().acos().to_degrees(),
            u: u(i).to_degrees(),
            at_most: light.acos().to_degrees(),
            bisector: wrapped(at[i + 1].to_degrees() + quarter, 180.0),
            bisector_u: of_direction(u(i + 1)).to_degrees(),
        }
    });
    Pair {
        marks: fitted.collect(),
        base_stops: at[0],
        base_u: u(0),
        floor,
        // a depth in stops as the map shows it
        floor_u: (u(1) / std::f64::consts::LN_2).hypot(MODEL_SHARE * floor.log2()),
        index: at[3].exp(),
        focal_length_mm: at[2].exp(),
        focal_u: u(2) * at[2].exp(),
        sensor_mm: view.sensor_mm,
    }
}

/// Standard uncertainty of a direction, in radians, to the next order. The bisector is half the
/// phase of a saddle of known size rho, in units of its noise: the phase errs by y / (rho + x), of
/// variance (1 + 3 / rho^2) / rho^2 with rho = 1 / (2 u).
fn of_direction(u: f64) -> f64 {
    u * (1.0 + 12.0 * u * u).sqrt()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use nalgebra::DMatrix;

    /// Both sides are double precision.
    const EXACT: f64 = 1e-9;

    /// A pair that is turned on by half a turn is the same pair (the axes of sheets have no sign), so
    /// that a search which runs beyond a turn ends in the same picture.
    #[test]
    fn what_is_told_of_a_mark_shows_what_was_fitted() {
        let view = View { focal_length_mm: 16.0, sensor_mm: (36.0, 24.0) };
        let half = 0.5 * 36.0_f64.hypot(24.0);
        let map = RatioMap {
            columns: 0,
            rows: 0,
            left_px: 0.0,
            top_px: 0.0,
            side_px: 1.0,
            width_px: 36.0,
            height_px: 24.0,
            orientation: 1,
            stops: [Vec::new(), Vec::new(), Vec::new()],
            noise: [0.0; 3],
            bare_changes: Vec::new(),
            filtered_changes: Vec::new(),
            surface_moved: false,
        };
        let marks = [MarkMap { mark: "1".into(), strength: 2.0, u: 0.01, map }];
        for degrees in [19.5, 80.0, 100.0, 160.5, 199.5, 260.0, 340.5, 379.5, 520.5, -19.5, -160.5]
        {
            let mut at = DVector::zeros(SHARED + LOCAL);
            (at[0], at[1], at[2], at[3]) = (1.4, -7.0, 16_f64.ln(), 1.5_f64.ln());
            (at[SHARED], at[SHARED + 1]) = (f64::to_radians(degrees), 0.7);
            let covariance = DMatrix::identity(at.len(), at.len());
            let fitted = state(&at, 0, half).ready();
            let centre = (CENTRE_SHARE * 18.0 / half, CENTRE_SHARE * 12.0 / half);
            let pair = read(&marks, &Solution { at, cost: 0.0, covariance }, &view);
            let mark = &pair.marks[0];
            assert!((0.0..=90.0).contains(&mark.axes_angle), "{degrees}: {mark:?}");
            for (x, y) in [(0.8, 0.5), (-0.3, 0.5), (0.0, -0.55), (0.7, 0.0)] {
                let told = pair.extra_stops(mark, x, y);
                let was = fitted.stops(&Place::new(x, y)) - fitted.centre(centre);
                assert!((told - was).abs() < EXACT, "{degrees} at {x} {y}: {told} {was}");
            }
        }
    }
}
