//! One map as the pattern of a pair of polarisers, whatever the lens: Yeh's closed form with free axes,
//! floor and focal length, beside a tilt and a falloff of the light.

use super::state::{Place, Ready, State};
use crate::numerics::least_squares::NormalSums;
use crate::numerics::marquardt::{Equations, Problem, Rule, descend};
use crate::numerics::robust;
use nalgebra::{DMatrix, DVector};

/// Parameters: tilt to the right and upwards and falloff in stops at the corner radius, then base loss
/// in stops, ln of floor and of focal length over half diagonal, angle between axes and bisector in radians.
const SIZE: usize = 8;
/// Refractive index of the sheets; the focal length makes up for another.
const INDEX: f64 = 1.5;
/// What is usual of each, and by how much it varies (ours); the base loss and the angles are free.
const USUAL: [(f64, f64); SIZE] = [
    (0.0, 0.2),
    (0.0, 0.2),
    (0.0, 0.3),
    (0.0, f64::INFINITY),
    (-6.9, 1.5),
    (0.5, 0.7),
    (0.0, f64::INFINITY),
    (0.0, f64::INFINITY),
];
/// Weight of that, in squared stops: little beside a hundred cells (ours).
const PULL: f64 = 1e-3;
/// Starts: angles between the axes in degrees, bisectors per half turn, ln of focal lengths.
const ANGLES: [f64; 5] = [40.0, 60.0, 73.0, 82.0, 90.0];
const BISECTORS: usize = 12;
const FOCALS: [f64; 3] = [0.2, 0.7, 1.2];
/// So many starts are followed, found on so many cells.
const FOLLOWED: usize = 3;
const START_CELLS: usize = 200;
/// The largest misfits are left out of the spread: specks (ours).
const KEPT: f64 = 0.98;
const RULE: Rule = Rule {
    damping: 1e-3,
    least_damping: 1e-9,
    easier: 0.2,
    harder: 6.0,
    trials: 40,
    failures: 8,
    settled: 1e-5,
    least_cost: 0.0,
};

/// The pattern of a pair that was fitted to one map.
#[derive(Clone, Debug)]
pub struct Single {
    at: DVector<f64>,
    ready: Ready,
    /// Spread of the misfits without the largest, in stops.
    pub misfit: f64,
}

impl Single {
    /// Stops at a place in half diagonals, on the map's scale.
    #[must_use]
    pub fn stops(&self, x: f64, y: f64) -> f64 {
        let place = Place::new(x, y);
        beside(&self.at, &place) + self.ready.stops(&place)
    }
}

fn ready(at: &DVector<f64>) -> Ready {
    let state = State {
        base: at[3],
        floor: at[4].clamp(-14.0, -2.0).exp(),
        focal: at[5].clamp(-1.0, 3.0).exp(),
        index: INDEX,
        delta: at[6],
        bisector: at[7],
    };
    state.ready()
}

fn beside(at: &DVector<f64>, place: &Place) -> f64 {
    at[0] * place.x + at[1] * place.y + at[2] * place.r2
}

/// Fits cells, given as their place in half diagonals and their stops. `None` where they are too few.
#[must_use]
pub fn fit(cells: &[(f64, f64, f64)]) -> Option<Single> {
    if cells.len() < 8 * SIZE {
        return None;
    }
    let cells: Vec<(Place, f64)> =
        cells.iter().map(|&(x, y, stops)| (Place::new(x, y), stops)).collect();
    let problem = Cells(&cells);
    let best = starts(&cells)
        .into_iter()
        .map(|start| descend(&problem, start, &RULE))
        .min_by(|a, b| a.cost.total_cmp(&b.cost))?;
    let ready = ready(&best.at);
    let misfit = |(place, stops): &(Place, f64)| {
        (stops - beside(&best.at, place) - ready.stops(place)).powi(2)
    };
    let squares: Vec<f64> = cells.iter().map(misfit).collect();
    let most = robust::quantile(squares.iter().copied(), KEPT)?;
    let kept: Vec<f64> = squares.into_iter().filter(|s| *s <= most).collect();
    let misfit = (kept.iter().sum::<f64>() / kept.len() as f64).sqrt();
    Some(Single { at: best.at, ready, misfit })
}

/// The best of many patterns on some of the cells, base, tilt and falloff fitted to each.
fn starts(cells: &[(Place, f64)]) -> Vec<DVector<f64>> {
    let some: Vec<&(Place, f64)> = cells.iter().step_by(1 + cells.len() / START_CELLS).collect();
    let tried = ANGLES.into_iter().flat_map(|angle| {
        (0..BISECTORS).flat_map(move |k| FOCALS.map(move |focal| (angle, k, focal)))
    });
    let fitted = |(angle, k, focal): (f64, usize, f64)| {
        let bisector = std::f64::consts::PI * k as f64 / BISECTORS as f64;
        let (floor, delta) = (USUAL[4].0, angle.to_radians());
        let start = DVector::from_row_slice(&[0.0, 0.0, 0.0, 0.0, floor, focal, delta, bisector]);
        let pair = ready(&start);
        let row = |p: &Place| [p.x, p.y, p.r2, 1.0];
        let mut sums = NormalSums::<4>::default();
        some.iter().for_each(|(p, stops)| sums.add(row(p), stops - pair.stops(p), 1.0));
        let linear = sums.solved()?;
        let mut start = start;
        (0..4).for_each(|i| start[i] = linear[i]);
        let cost = |(p, stops): &&(Place, f64)| {
            (stops - pair.stops(p) - beside(&start, p) - linear[3]).powi(2)
        };
        Some((some.iter().map(cost).sum::<f64>() + prior(&start), start))
    };
    let mut all: Vec<(f64, DVector<f64>)> = tried.filter_map(fitted).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all.into_iter().take(FOLLOWED).map(|(_, start)| start).collect()
}

fn prior(at: &DVector<f64>) -> f64 {
    let off = |(value, (usual, by)): (&f64, (f64, f64))| ((value - usual) / by).powi(2);
    PULL * at.iter().zip(USUAL).map(off).sum::<f64>()
}

struct Cells<'a>(&'a [(Place, f64)]);

impl Problem for Cells<'_> {
    fn cost(&self, at: &DVector<f64>) -> f64 {
        let ready = ready(at);
        let misfit = |(place, stops): &(Place, f64)| {
            (stops - beside(at, place) - ready.stops(place)).powi(2)
        };
        self.0.iter().map(misfit).sum::<f64>() + prior(at)
    }
    fn equations(&self, at: &DVector<f64>) -> Equations {
        let ready = ready(at);
        let (mut matrix, mut right) = ([[0.0; SIZE]; SIZE], [0.0; SIZE]);
        for (place, stops) in self.0 {
            let s = ready.full(place);
            let misfit = stops - beside(at, place) - s.value;
            let slopes =
                [place.x, place.y, place.r2, s.base, s.floor, s.focal, s.delta, s.bisector];
            for (i, slope) in slopes.into_iter().enumerate() {
                right[i] += slope * misfit;
                (0..=i).for_each(|k| matrix[i][k] += slope * slopes[k]);
            }
        }
        for (i, (usual, by)) in USUAL.into_iter().enumerate() {
            matrix[i][i] += PULL / (by * by);
            right[i] += if by.is_finite() { PULL * (usual - at[i]) / (by * by) } else { 0.0 };
        }
        let both = |i: usize, k: usize| matrix[i.max(k)][i.min(k)];
        Equations {
            matrix: DMatrix::from_fn(SIZE, SIZE, both),
            right: DVector::from_row_slice(&right),
        }
    }
    fn damp(&self, matrix: &mut DMatrix<f64>, damping: f64) {
        // even sheets leave the angles without any slope
        for k in 0..SIZE {
            matrix[(k, k)] += damping * (matrix[(k, k)] + PULL);
        }
    }
}
