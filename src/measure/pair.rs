//! The polariser pair of a variable filter: one fit over all marks, and what it foretells.

use super::map::{CENTRE_SHARE, GREEN, RatioMap};
use super::pair_fit::{Cell, LOCAL, Mark, Prior, SHARED, Solution, minimise, state, thinned};
pub use super::pair_fit::{DARKENING, NUISANCE};
use super::pair_state::{Place, State};
use super::pattern::wrap;
use super::robust;
use crate::profile::{PairMark, PolariserPair};
use crate::quantity::{Degrees, Millimetres, Stops};
use nalgebra::DVector;
use rayon::prelude::*;

/// Below this angle between the axes a mark is "near parallel", in degrees.
pub const NEAR_PARALLEL: f64 = 15.0;
/// Half width of the rectangle that the true focal length lies in, as a share of what Exif says:
/// lenses breathe at a near wall.
const FOCAL_SHARE: f64 = 0.05;
/// Base loss of a pair beforehand, mean and standard uncertainty in stops (common practice, no
/// source).
const BASE_PRIOR: (f64, f64) = (1.5, 1.0);
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
/// Two standard uncertainties cover 95 %.
const COVERAGE: f64 = 1.96;

/// One mark as measured.
#[derive(Clone, Debug)]
pub struct MarkMap {
    /// Label.
    pub mark: String,
    /// Strength in the centre, stops.
    pub strength: f64,
    /// Its standard uncertainty.
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

/// A fitted pair.
#[derive(Clone, Debug)]
pub struct Pair {
    /// Marks in the order given.
    pub marks: Vec<FittedMark>,
    /// Loss of the parallel pair, stops.
    pub base_stops: f64,
    /// Light that crossed polarisers pass, relative to parallel ones.
    pub floor: f64,
    /// Focal length that describes the maps.
    pub focal_length_mm: f64,
    /// Its standard uncertainty.
    pub focal_u: f64,
    pub(super) sensor_mm: (f64, f64),
}

/// One mark of a fitted pair.
#[derive(Clone, Debug, PartialEq)]
pub struct FittedMark {
    /// Label.
    pub mark: String,
    /// Acute angle between the absorption axes, degrees.
    pub axes_angle: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// Largest angle that agrees with the data, degrees.
    pub at_most: f64,
    /// Acute bisector of the absorption axes, the dark direction, degrees.
    pub bisector: f64,
    /// Its standard uncertainty.
    pub bisector_u: f64,
}

/// Fits a pair. `None` with no marks, or where the fit fails.
#[must_use]
pub fn fit(marks: &[MarkMap], view: &View) -> Option<Pair> {
    let half = 0.5 * view.sensor_mm.0.hypot(view.sensor_mm.1);
    let focal_u = FOCAL_SHARE / 3.0_f64.sqrt();
    let floor = (-FLOOR_PRIOR.0 * std::f64::consts::LN_2, FLOOR_PRIOR.1 * std::f64::consts::LN_2);
    let share = CENTRE_SHARE / 2.0;
    let prior = Prior {
        shared: [BASE_PRIOR, floor, (view.focal_length_mm.ln(), focal_u)],
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
    (at[0], at[1], at[2]) = (base, floor.ln(), prior.shared[2].0);
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
        let turned = wrap(at[i].to_degrees(), 180.0);
        // beyond crossing the acute bisector is the other one
        let (axes_angle, quarter) =
            if turned > 90.0 { (180.0 - turned, 90.0) } else { (turned, 0.0) };
        let folded = if at[i] < 0.0 && turned > 90.0 { 0.0 } else { quarter };
        let excess = (m.strength - at[0]).max(0.0) + 2.0 * m.u.hypot(u(0));
        let light = ((-excess).exp2() - floor).max(0.0).sqrt();
        FittedMark {
            mark: m.mark.clone(),
            axes_angle,
            u: u(i).to_degrees(),
            at_most: light.acos().to_degrees(),
            bisector: wrap(at[i + 1].to_degrees() + folded, 180.0),
            bisector_u: of_direction(u(i + 1)).to_degrees(),
        }
    });
    Pair {
        marks: fitted.collect(),
        base_stops: at[0],
        floor,
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

impl Pair {
    fn state(&self, mark: &FittedMark, focal_mm: f64) -> State {
        let half = 0.5 * self.sensor_mm.0.hypot(self.sensor_mm.1);
        State {
            base: self.base_stops,
            floor: self.floor,
            focal: focal_mm / half,
            delta: mark.axes_angle.to_radians(),
            bisector: mark.bisector.to_radians(),
        }
    }
    /// Stops in the centre for an angle between the axes in degrees.
    #[must_use]
    pub fn stops_at(&self, axes_angle: f64) -> f64 {
        let c = axes_angle.to_radians().cos();
        self.base_stops - (self.floor + (1.0 - self.floor) * c * c).log2()
    }
    /// Extra stops of a mark relative to the centre at a place in half diagonals, behind the lens
    /// that describes the maps.
    #[must_use]
    pub fn extra_stops(&self, mark: &FittedMark, x: f64, y: f64) -> f64 {
        let ready = self.state(mark, self.focal_length_mm).ready();
        let (width, height) = self.sensor_mm;
        let share = CENTRE_SHARE / width.hypot(height);
        ready.stops(&Place::new(x, y)) - ready.centre((share * width, share * height))
    }
    /// Foretold p95 - p5 of the fine map at a focal length on this sensor.
    #[must_use]
    pub fn spread(&self, mark: &FittedMark, focal_mm: f64) -> f64 {
        const COLUMNS: usize = 48;
        let ready = self.state(mark, focal_mm).ready();
        let (width, height) = self.sensor_mm;
        let rows = ((COLUMNS as f64 * height / width).round() as usize).max(2);
        let half = 0.5 * width.hypot(height);
        let at = |k: usize, n: usize, side: f64| ((k as f64 + 0.5) / n as f64 - 0.5) * side / half;
        let mut stops = Vec::with_capacity(COLUMNS * rows);
        for cell in 0..COLUMNS * rows / 2 {
            let (x, y) = (at(cell % COLUMNS, COLUMNS, width), at(cell / COLUMNS, rows, height));
            // the opposite cell has as many
            stops.extend([ready.stops(&Place::new(x, y)); 2]);
        }
        let low = robust::quantile(&mut stops, 0.05).unwrap_or(0.0);
        robust::quantile(&mut stops, 0.95).unwrap_or(0.0) - low
    }
    /// The widest lens at which a mark's spread stays within a tolerance, in millimetres.
    #[must_use]
    pub fn widest(&self, mark: &str, tolerance: f64) -> Option<f64> {
        let mark = self.marks.iter().find(|m| m.mark == mark)?;
        super::pair_lenses::widest_lens(self, mark, tolerance)
    }
    /// As it stands in the profile.
    #[must_use]
    pub fn record(&self, tolerance: f64) -> PolariserPair {
        let marks = self.marks.iter().map(|m| {
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
        let lens_spreads = super::pair_lenses::spreads(self);
        PolariserPair {
            focal_length_mm: Some(Millimetres::new(self.focal_length_mm)),
            floor_stops: Some(Stops::new(-self.floor.log2())),
            base_stops: Some(Stops::new(self.base_stops)),
            marks: marks.collect(),
            widest_lens_mm: super::pair_lenses::widest(self, tolerance),
            last_mark: super::pair_lenses::last_marks(&lens_spreads, tolerance),
            curve: super::pair_lenses::curve(self),
            lens_spreads,
        }
    }
}
