//! Levenberg and Marquardt's method for the polariser pair: a few parameters shared by all marks,
//! a few per mark, analytic slopes.

use super::pair_state::{Place, Ready, State, Stops};
use super::robust::huber;
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

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
/// A round has settled when the cost falls by no more than this share.
const SETTLED: f64 = 1e-4;
/// Every so many cells are enough to follow a start.
const THINNED: usize = 5;
/// Residuals beyond this many standard uncertainties lose weight.
const HUBER_LIMIT: f64 = 3.0;

/// One cell of a mark's map.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cell {
    /// Where it lies.
    pub place: Place,
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

/// One mark's model for one vector of parameters.
struct Model {
    ready: Ready,
    centre: Stops,
    local: [f64; LOCAL],
    even: f64,
}

impl Model {
    fn of(at: &DVector<f64>, k: usize, prior: &Prior) -> Self {
        let ready = state(at, k, prior.half_diagonal_mm).ready();
        Self {
            ready,
            centre: ready.full_centre(prior.centre),
            local: std::array::from_fn(|i| at[SHARED + LOCAL * k + i]),
            even: at[3],
        }
    }
    fn nuisance(place: &Place) -> [f64; LOCAL - 2] {
        let (x, y) = (place.x, place.y);
        [1.0, x, y, place.r2, x * x - y * y, 2.0 * x * y]
    }
    /// What light and wall add to the pair.
    fn added(&self, place: &Place) -> f64 {
        let terms = Self::nuisance(place);
        terms.iter().zip(&self.local[2..]).map(|(t, c)| t * c).sum::<f64>() + self.even * place.r2
    }
    fn misfit(&self, cell: &Cell) -> f64 {
        let stops = self.ready.stops(&cell.place) - self.centre.value;
        cell.stops - (stops + self.added(&cell.place))
    }
    fn row(&self, cell: &Cell) -> Row {
        let s = self.ready.full(&cell.place);
        let mut row = [0.0; SHARED + LOCAL];
        row[1] = s.floor - self.centre.floor;
        row[2] = s.focal - self.centre.focal;
        row[3] = cell.place.r2;
        row[4] = s.delta - self.centre.delta;
        row[5] = s.bisector - self.centre.bisector;
        row[6..].copy_from_slice(&Self::nuisance(&cell.place));
        (row, cell.stops - (s.value - self.centre.value + self.added(&cell.place)))
    }
    fn centre_row(&self, strength: f64) -> Row {
        let mut row = [0.0; SHARED + LOCAL];
        (row[0], row[1], row[2]) = (self.centre.base, self.centre.floor, self.centre.focal);
        (row[4], row[5]) = (self.centre.delta, self.centre.bisector);
        (row, strength - self.centre.value)
    }
}

/// Weight of every cell of every mark for residuals at these parameters.
fn weights(marks: &[Mark], prior: &Prior, at: &DVector<f64>) -> Vec<Vec<f64>> {
    let of = |(k, mark): (usize, &Mark)| {
        let model = Model::of(at, k, prior);
        let weight =
            |cell: &Cell| huber(model.misfit(cell) / cell.u, HUBER_LIMIT) / (cell.u * cell.u);
        mark.cells.iter().map(weight).collect()
    };
    marks.par_iter().enumerate().map(of).collect()
}

/// Normal equations and the cost.
struct Normal {
    matrix: DMatrix<f64>,
    right: DVector<f64>,
    cost: f64,
}

/// One mark's share of the normal equations.
#[derive(Default)]
struct Block {
    matrix: [[f64; SHARED + LOCAL]; SHARED + LOCAL],
    right: [f64; SHARED + LOCAL],
    cost: f64,
}

impl Block {
    fn of(mark: &Mark, model: &Model, weights: &[f64]) -> Self {
        let mut block = Self::default();
        for (cell, weight) in mark.cells.iter().zip(weights) {
            block.add(&model.row(cell), *weight);
        }
        block.add(&model.centre_row(mark.strength), 1.0 / (mark.u * mark.u));
        block
    }
    fn add(&mut self, (row, misfit): &Row, weight: f64) {
        for i in 0..SHARED + LOCAL {
            let w = weight * row[i];
            self.right[i] += w * misfit;
            for (sum, slope) in self.matrix[i].iter_mut().zip(row).take(i + 1) {
                *sum += w * slope;
            }
        }
        self.cost += weight * misfit * misfit;
    }
}

fn normal(marks: &[Mark], prior: &Prior, at: &DVector<f64>, weights: &[Vec<f64>]) -> Normal {
    let n = at.len();
    let mut sum = Normal { matrix: DMatrix::zeros(n, n), right: DVector::zeros(n), cost: 0.0 };
    let block = |k: usize| Block::of(&marks[k], &Model::of(at, k, prior), &weights[k]);
    let blocks: Vec<Block> = (0..marks.len()).into_par_iter().map(block).collect();
    for (k, block) in blocks.iter().enumerate() {
        sum.cost += block.cost;
        scatter(&mut sum, block, k);
    }
    add_priors(&mut sum, prior, at, marks.len());
    sum
}

fn scatter(sum: &mut Normal, block: &Block, k: usize) {
    let place = |i: usize| if i < SHARED { i } else { i + LOCAL * k };
    for i in 0..SHARED + LOCAL {
        sum.right[place(i)] += block.right[i];
        for (j, value) in block.matrix[i].iter().enumerate().take(i + 1) {
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

/// A few of the cells, which count for those left out, so that what is known beforehand weighs as
/// much as before.
pub(super) fn thinned(marks: &[Mark]) -> Vec<Mark> {
    let thin = |mark: &Mark| {
        let few = mark.cells.iter().step_by(THINNED);
        let more = |c: &Cell| Cell { u: c.u / (THINNED as f64).sqrt(), ..*c };
        Mark { cells: few.map(more).collect(), ..*mark }
    };
    marks.iter().map(thin).collect()
}

/// Minimises from a starting point. `None` where the equations cannot be solved.
pub(super) fn minimise(marks: &[Mark], prior: &Prior, start: DVector<f64>) -> Option<Solution> {
    let mut at = start;
    let mut reached = None;
    for _ in 0..ROUNDS {
        let weights = weights(marks, prior, &at);
        let (here, taken) = descend(marks, prior, &mut at, &weights)?;
        reached = Some(here);
        // the new weights changed nothing any more
        if taken <= 1 {
            break;
        }
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

/// Steps downhill with fixed weights; the equations where it ends, and how many steps it took.
fn descend(
    marks: &[Mark],
    prior: &Prior,
    at: &mut DVector<f64>,
    weights: &[Vec<f64>],
) -> Option<(Normal, usize)> {
    let mut here = normal(marks, prior, at, weights);
    let (mut damping, mut taken) = (1e-3, 0);
    for _ in 0..STEPS {
        let mut damped = here.matrix.clone();
        for i in 0..at.len() {
            damped[(i, i)] += damping * (damped[(i, i)] + 1e-6);
        }
        let next = &*at + damped.cholesky()?.solve(&here.right);
        let there = normal(marks, prior, &next, weights);
        if there.cost < here.cost {
            let settled = here.cost - there.cost < SETTLED * here.cost.max(1.0);
            (*at, here, damping) = (next, there, (damping * 0.1).max(1e-9));
            taken += 1;
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
    Some((here, taken))
}
