//! Levenberg and Marquardt's method for the polariser pair: a few parameters shared by all marks,
//! a few per mark, analytic slopes.

use super::pair_model::{INDEX, relative};
use super::robust::huber;
use nalgebra::{DMatrix, DVector};
use std::f64::consts::LN_2;

/// Shared: base loss in stops, ln of the floor, ln of the focal length, common even darkening.
pub(super) const SHARED: usize = 4;
/// Per mark: Delta, bisector (radians), then nuisance: zero, tilt x and y, r^2, saddle cos and sin.
pub(super) const LOCAL: usize = 8;
/// Standard uncertainties that the nuisance terms are given, in stops at the corner (ours): what
/// light and wall change between runs.
pub const NUISANCE: [f64; 6] = [0.02, 0.05, 0.05, 0.03, 0.006, 0.006];
/// Common even darkening in stops at the corner, standard uncertainty (ours).
pub const DARKENING: f64 = 0.1;
/// Rounds of reweighting, and steps in each.
const ROUNDS: usize = 4;
const STEPS: usize = 12;
/// Residuals beyond this many standard uncertainties lose weight.
const HUBER_LIMIT: f64 = 3.0;
/// The centre box is averaged over this many points each way.
const CENTRE_POINTS: usize = 5;

/// One cell of a mark's map.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cell {
    /// Place in half diagonals.
    pub x: f64,
    /// Place in half diagonals, upwards.
    pub y: f64,
    /// Extra stops relative to the centre.
    pub stops: f64,
    /// Standard uncertainty.
    pub u: f64,
}

/// One mark.
#[derive(Clone, Debug)]
pub(super) struct Mark {
    /// Strength in the centre, stops.
    pub strength: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// The map.
    pub cells: Vec<Cell>,
}

/// What is known beforehand.
#[derive(Clone, Copy, Debug)]
pub(super) struct Prior {
    /// Mean and standard uncertainty of base, ln floor and ln focal length (mm).
    pub shared: [(f64, f64); 3],
    /// Half diagonal of the sensor in millimetres.
    pub half_diagonal_mm: f64,
    /// Half width and height of the centre in half diagonals.
    pub centre: (f64, f64),
}

/// A solution.
#[derive(Clone, Debug)]
pub(super) struct Solution {
    /// Shared parameters, then those of each mark.
    pub at: DVector<f64>,
    /// Weighted sum of squares, priors included.
    pub cost: f64,
    /// Covariance, scaled by the misfit.
    pub covariance: DMatrix<f64>,
}

/// Stops at one place with slopes by the four shared parameters (without the darkening's own) and
/// by Delta and bisector.
#[derive(Clone, Copy, Debug, Default)]
struct Stops {
    value: f64,
    base: f64,
    floor: f64,
    focal: f64,
    delta: f64,
    bisector: f64,
}

/// The parameters that one mark's stops depend on.
#[derive(Clone, Copy, Debug)]
pub(super) struct State {
    /// Base loss in stops.
    pub base: f64,
    /// Floor relative to the parallel setting.
    pub floor: f64,
    /// Focal length over half diagonal.
    pub focal: f64,
    /// Angle between the axes, radians.
    pub delta: f64,
    /// Bisector, radians.
    pub bisector: f64,
}

impl State {
    /// Stops at a place given in half diagonals.
    pub fn stops(&self, x: f64, y: f64) -> f64 {
        self.full(x, y).value
    }

    fn full(&self, x: f64, y: f64) -> Stops {
        let r2 = x * x + y * y;
        let f2 = self.focal * self.focal;
        let q = r2 / (INDEX * INDEX * (r2 + f2));
        let (sin, cos) = (2.0 * self.bisector).sin_cos();
        let (c2, s2) = if r2 > 0.0 { ((x * x - y * y) / r2, 2.0 * x * y / r2) } else { (1.0, 0.0) };
        let (p, turned) = (c2 * cos + s2 * sin, s2 * cos - c2 * sin);
        let rel = relative(self.delta.cos(), p, q);
        let light = self.floor + (1.0 - self.floor) * rel.value;
        let factor = -(1.0 - self.floor) / (LN_2 * light);
        Stops {
            value: self.base - light.log2(),
            base: 1.0,
            // by ln floor
            floor: -self.floor * (1.0 - rel.value) / (LN_2 * light),
            // by ln focal: dq / dln f = -2 q f^2 / (r^2 + f^2)
            focal: factor * rel.by_s_squared * -2.0 * q * f2 / (r2 + f2),
            delta: factor * rel.by_cos_delta * -self.delta.sin(),
            // d cos(2 (phi - b)) / db = 2 sin(2 (phi - b))
            bisector: factor * rel.by_cos_two_phi * 2.0 * turned,
        }
    }

    /// Light averaged over the centre, in stops.
    pub fn centre(&self, half: (f64, f64)) -> f64 {
        self.full_centre(half).value
    }

    fn full_centre(&self, half: (f64, f64)) -> Stops {
        let place = |k: usize| (2 * k + 1) as f64 / CENTRE_POINTS as f64 - 1.0;
        let mut sum = Stops::default();
        let mut light = 0.0;
        for i in 0..CENTRE_POINTS * CENTRE_POINTS {
            let s = self.full(half.0 * place(i % CENTRE_POINTS), half.1 * place(i / CENTRE_POINTS));
            let l = (-s.value).exp2();
            light += l;
            sum.floor += l * s.floor;
            sum.focal += l * s.focal;
            sum.delta += l * s.delta;
            sum.bisector += l * s.bisector;
        }
        Stops {
            value: -(light / (CENTRE_POINTS * CENTRE_POINTS) as f64).log2(),
            base: 1.0,
            floor: sum.floor / light,
            focal: sum.focal / light,
            delta: sum.delta / light,
            bisector: sum.bisector / light,
        }
    }
}

/// The state of mark `k` in a vector of parameters.
pub(super) fn state(at: &DVector<f64>, k: usize, half_diagonal_mm: f64) -> State {
    State {
        base: at[0],
        floor: at[1].exp().min(0.5),
        focal: at[2].exp() / half_diagonal_mm,
        delta: at[SHARED + LOCAL * k],
        bisector: at[SHARED + LOCAL * k + 1],
    }
}

/// Row of slopes of one datum by the shared and the mark's own parameters, and its misfit.
type Row = ([f64; SHARED + LOCAL], f64);

fn map_row(state: &State, centre: &Stops, cell: &Cell, local: &[f64], even: f64) -> Row {
    let s = state.full(cell.x, cell.y);
    let (x, y) = (cell.x, cell.y);
    let r2 = x * x + y * y;
    let nuisance = [1.0, x, y, r2, x * x - y * y, 2.0 * x * y];
    let added: f64 = nuisance.iter().zip(&local[2..]).map(|(t, c)| t * c).sum();
    let mut row = [0.0; SHARED + LOCAL];
    row[1] = s.floor - centre.floor;
    row[2] = s.focal - centre.focal;
    row[3] = r2;
    row[4] = s.delta - centre.delta;
    row[5] = s.bisector - centre.bisector;
    row[6..].copy_from_slice(&nuisance);
    (row, cell.stops - (s.value - centre.value + added + even * r2))
}

/// Normal equations with weights from `weights_at`, and the cost.
struct Normal {
    matrix: DMatrix<f64>,
    right: DVector<f64>,
    cost: f64,
}

fn normal(marks: &[Mark], prior: &Prior, at: &DVector<f64>, weights_at: &DVector<f64>) -> Normal {
    let n = at.len();
    let mut sum = Normal { matrix: DMatrix::zeros(n, n), right: DVector::zeros(n), cost: 0.0 };
    for (k, mark) in marks.iter().enumerate() {
        let (now, then) =
            (state(at, k, prior.half_diagonal_mm), state(weights_at, k, prior.half_diagonal_mm));
        let own = |v: &DVector<f64>| -> Vec<f64> {
            v.rows(SHARED + LOCAL * k, LOCAL).iter().copied().collect()
        };
        let (local, old_local) = (own(at), own(weights_at));
        let (centre, old_centre) = (now.full_centre(prior.centre), then.full_centre(prior.centre));
        let mut block = [[0.0; SHARED + LOCAL]; SHARED + LOCAL];
        let mut right = [0.0; SHARED + LOCAL];
        let mut add = |row: &[f64; SHARED + LOCAL], misfit: f64, weight: f64| {
            for i in 0..SHARED + LOCAL {
                let w = weight * row[i];
                right[i] += w * misfit;
                for j in 0..=i {
                    block[i][j] += w * row[j];
                }
            }
            sum.cost += weight * misfit * misfit;
        };
        for cell in &mark.cells {
            let (row, misfit) = map_row(&now, &centre, cell, &local, at[3]);
            let old = map_row(&then, &old_centre, cell, &old_local, weights_at[3]).1;
            add(&row, misfit, huber(old / cell.u, HUBER_LIMIT) / (cell.u * cell.u));
        }
        let mut row = [0.0; SHARED + LOCAL];
        (row[0], row[1], row[2]) = (centre.base, centre.floor, centre.focal);
        (row[4], row[5]) = (centre.delta, centre.bisector);
        add(&row, mark.strength - centre.value, 1.0 / (mark.u * mark.u));
        scatter(&mut sum, &block, &right, k);
    }
    add_priors(&mut sum, prior, at, marks.len());
    sum
}

fn scatter(
    sum: &mut Normal,
    block: &[[f64; SHARED + LOCAL]; SHARED + LOCAL],
    right: &[f64; SHARED + LOCAL],
    k: usize,
) {
    let place = |i: usize| if i < SHARED { i } else { i + LOCAL * k };
    for i in 0..SHARED + LOCAL {
        sum.right[place(i)] += right[i];
        for (j, value) in block[i].iter().enumerate().take(i + 1) {
            sum.matrix[(place(i), place(j))] += value;
            if i != j {
                sum.matrix[(place(j), place(i))] += value;
            }
        }
    }
}

fn add_priors(sum: &mut Normal, prior: &Prior, at: &DVector<f64>, marks: usize) {
    let mut add = |i: usize, mean: f64, u: f64| {
        sum.matrix[(i, i)] += 1.0 / (u * u);
        sum.right[i] += (mean - at[i]) / (u * u);
        sum.cost += ((mean - at[i]) / u).powi(2);
    };
    for (i, (mean, u)) in prior.shared.into_iter().enumerate() {
        add(i, mean, u);
    }
    add(3, 0.0, DARKENING);
    for k in 0..marks {
        for (i, u) in NUISANCE.into_iter().enumerate() {
            add(SHARED + LOCAL * k + 2 + i, 0.0, u);
        }
    }
}

/// Minimises from a starting point. `None` where the equations cannot be solved.
pub(super) fn minimise(marks: &[Mark], prior: &Prior, start: DVector<f64>) -> Option<Solution> {
    let mut at = start;
    let mut reached = None;
    for _ in 0..ROUNDS {
        let weights_at = at.clone();
        let mut here = normal(marks, prior, &at, &weights_at);
        let mut damping = 1e-3;
        for _ in 0..STEPS {
            let mut damped = here.matrix.clone();
            for i in 0..at.len() {
                damped[(i, i)] += damping * (damped[(i, i)] + 1e-6);
            }
            let step = damped.cholesky()?.solve(&here.right);
            let next = &at + &step;
            let there = normal(marks, prior, &next, &weights_at);
            if there.cost < here.cost {
                let settled = here.cost - there.cost < 1e-4 * here.cost.max(1.0);
                (at, here, damping) = (next, there, (damping * 0.1).max(1e-9));
                if settled {
                    break;
                }
            } else {
                damping *= 10.0;
                if damping > 1e8 {
                    break;
                }
            }
        }
        reached = Some(here);
    }
    let here = reached?;
    let data: usize = marks.iter().map(|m| m.cells.len() + 1).sum();
    let dof = data.saturating_sub(2 * marks.len() + SHARED).max(1) as f64;
    let mut solid = here.matrix.clone();
    for i in 0..at.len() {
        solid[(i, i)] += 1e-9 * solid[(i, i)] + 1e-9;
    }
    let covariance = solid.cholesky()?.inverse() * (here.cost / dof).max(1.0);
    Some(Solution { at, cost: here.cost, covariance })
}
