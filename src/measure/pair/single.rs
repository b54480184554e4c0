//! One map as the pattern of a pair of polarisers, whatever the lens: Yeh's closed form with free axes,
//! floor and focal length, beside a tilt and a falloff of the light.

use super::state::{Place, Ready, State};
use crate::measure::map::{GREEN, RatioMap};
use crate::numerics::marquardt::{Equations, Problem, Rule, descend};
use crate::numerics::robust;
use nalgebra::{DMatrix, DVector, SMatrix, SVector};

/// Parameters: tilt to the right and upwards and falloff in stops at the corner radius, then base loss
/// in stops, ln of floor and of focal length over half diagonal, angle between axes and bisector in radians.
const SIZE: usize = 8;
/// So many of them are linear.
const LINEAR: usize = 4;
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
/// So many starts are followed, found on so many cells; the best is followed on more of them.
const FOLLOWED: usize = 3;
const START_CELLS: usize = 120;
const CELLS: usize = 500;
/// A start that misses its cells by so many times what is asked for will not do (ours).
const HOPELESS: f64 = 2.0;
/// A pair explains cells that it misses by no more stops than this,
const EXPLAINED: f64 = 0.02;
/// beside so many times their noise (ours).
const MOST_NOISES: f64 = 1.3;
/// The largest misfits are left out of the spread: specks (ours).
const KEPT: f64 = 0.98;
/// Circles around the middle: how many, and places on each.
const RADII: usize = 48;
const TURNS: usize = 72;
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

/// A cell of a map: its place, and its stops.
type KnownCell = (Place, f64);

/// The pattern of a pair that was fitted to one map.
#[derive(Clone, Debug, PartialEq)]
pub struct Single {
    at: DVector<f64>,
    ready: Ready,
}

impl Single {
    fn of(at: DVector<f64>) -> Self {
        let ready = ready(&at);
        Self { at, ready }
    }

    /// Stops at a place in half diagonals, on the map's scale.
    #[must_use]
    pub fn stops(&self, x: f64, y: f64) -> f64 {
        self.stops_at(&Place::new(x, y))
    }

    /// What this pattern has that is the same all around the frame's middle, and its tilt, in stops: a function
    /// of the place in half diagonals.
    pub fn even_and_tilt(&self) -> impl Fn(f64, f64) -> f64 {
        let around = |k: usize| {
            let radius = k as f64 / RADII as f64;
            let stops = |turn: usize| {
                let (sin, cos) = (std::f64::consts::TAU * turn as f64 / TURNS as f64).sin_cos();
                self.ready.stops(&Place::new(radius * cos, radius * sin))
            };
            (0..TURNS).map(stops).sum::<f64>() / TURNS as f64
        };
        let even: Vec<f64> = (0..=RADII + 1).map(around).collect();
        move |x, y| {
            let place = Place::new(x, y);
            let at = (place.r2.sqrt() * RADII as f64).min(RADII as f64);
            let (low, share) = (at as usize, at.fract());
            beside(&self.at, &place) + even[low] * (1.0 - share) + even[low + 1] * share
        }
    }

    fn stops_at(&self, place: &Place) -> f64 {
        beside(&self.at, place) + self.ready.stops(place)
    }

    /// Spread of the misfits without the largest, in stops.
    fn misfit(&self, cells: &[KnownCell]) -> Option<f64> {
        let squares = cells.iter().map(|(place, stops)| (stops - self.stops_at(place)).powi(2));
        let squares: Vec<f64> = squares.collect();
        let most = robust::quantile(squares.iter().copied(), KEPT)?;
        let kept: Vec<f64> = squares.into_iter().filter(|s| *s <= most).collect();
        Some((kept.iter().sum::<f64>() / kept.len() as f64).sqrt())
    }

    fn explains(self, cells: &[KnownCell], most: f64) -> Option<Self> {
        (self.misfit(cells)? < most).then_some(self)
    }

    /// The same pair fitted to other cells of its map, as [`fit`] takes them.
    #[must_use]
    pub fn again(&self, map: &RatioMap, keep: impl Fn(usize, (f64, f64)) -> bool) -> Option<Self> {
        let cells = cells(map, keep, CELLS);
        let end = descend(&Cells(&cells), self.at.clone(), &RULE);
        Self::of(end.at).explains(&cells, most(map))
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

/// About so many of the known cells that are kept; `keep` judges by number and place.
fn cells(map: &RatioMap, keep: impl Fn(usize, (f64, f64)) -> bool, count: usize) -> Vec<KnownCell> {
    let (places, stops) = map.rows(map.green(), keep, |x, y| [x, y]);
    let step = 1 + places.len() / count;
    let some = places.into_iter().zip(stops).step_by(step);
    some.map(|([x, y], stops)| (Place::new(x, y), stops)).collect()
}

/// By no more stops than this does a pair miss what it explains.
fn most(map: &RatioMap) -> f64 {
    EXPLAINED.hypot(MOST_NOISES * map.noise[GREEN])
}

/// Fits the known cells that are kept; `keep` judges by number and place. `None` where they are too few, or
/// where no pair explains them.
#[must_use]
pub fn fit(map: &RatioMap, keep: impl Fn(usize, (f64, f64)) -> bool) -> Option<Single> {
    let few = cells(map, &keep, START_CELLS);
    if few.len() < 4 * SIZE {
        return None;
    }
    let best = starts(&few)
        .into_iter()
        .map(|start| descend(&Cells(&few), start, &RULE))
        .min_by(|a, b| a.cost.total_cmp(&b.cost))?;
    Single::of(best.at).explains(&few, HOPELESS * most(map))?.again(map, keep)
}

/// The best of many patterns, base, tilt and falloff fitted to each.
fn starts(cells: &[KnownCell]) -> Vec<DVector<f64>> {
    let rows: Vec<SVector<f64, LINEAR>> =
        cells.iter().map(|(p, _)| SVector::from([p.x, p.y, p.r2, 1.0])).collect();
    let normal: SMatrix<f64, LINEAR, LINEAR> = rows.iter().map(|row| row * row.transpose()).sum();
    let Some(solver) = normal.cholesky() else { return Vec::new() };
    let tried = ANGLES.into_iter().flat_map(|angle| {
        (0..BISECTORS).flat_map(move |k| FOCALS.map(move |focal| (angle, k, focal)))
    });
    let fitted = |(angle, k, focal): (f64, usize, f64)| {
        let bisector = std::f64::consts::PI * k as f64 / BISECTORS as f64;
        let (floor, delta) = (USUAL[4].0, f64::to_radians(angle));
        let mut start =
            DVector::from_row_slice(&[0.0, 0.0, 0.0, 0.0, floor, focal, delta, bisector]);
        let pair = ready(&start);
        let (mut right, mut squares) = (SVector::<f64, LINEAR>::zeros(), 0.0);
        for (row, (place, stops)) in rows.iter().zip(cells) {
            let left = stops - pair.stops(place);
            right += row * left;
            squares += left * left;
        }
        let linear = solver.solve(&right);
        (0..LINEAR).for_each(|i| start[i] = linear[i]);
        (squares - linear.dot(&right) + prior(&start), start)
    };
    let mut all: Vec<(f64, DVector<f64>)> = tried.map(fitted).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all.into_iter().take(FOLLOWED).map(|(_, start)| start).collect()
}

fn prior(at: &DVector<f64>) -> f64 {
    let off = |(value, (usual, by)): (&f64, (f64, f64))| ((value - usual) / by).powi(2);
    PULL * at.iter().zip(USUAL).map(off).sum::<f64>()
}

struct Cells<'a>(&'a [KnownCell]);

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
