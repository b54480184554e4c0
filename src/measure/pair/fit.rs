//! Levenberg and Marquardt's method for the polariser pair: a few parameters shared by all marks,
//! a few per mark, analytic slopes.

use super::state::{Place, Ready, State, Stops};
use crate::numerics::harmonics::Harmonics;
use crate::numerics::marquardt::{End, Equations, Problem, Rule, descend};
use crate::numerics::robust::huber;
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

/// Shared: base loss in stops, ln of the floor, ln of the focal length, ln of the refractive index,
/// common even darkening.
pub(super) const SHARED: usize = 5;
const EVEN: usize = 4;
/// Per mark: Delta, bisector (radians), then nuisance: zero, tilt x and y, r^2, saddle cos and sin.
pub(super) const LOCAL: usize = 8;
/// Standard uncertainties that the nuisance terms are given, in stops at the corner (ours): what
/// light and wall change between runs.
pub const NUISANCE: [f64; 6] = [0.02, 0.05, 0.05, 0.03, 0.004, 0.004];
/// Common even darkening in stops at the corner, standard uncertainty (ours).
pub const DARKENING: f64 = 0.1;
/// Rounds of reweighting.
const ROUNDS: usize = 4;
/// A round has settled when the cost, in squared standard uncertainties, falls by a ten-thousandth.
const RULE: Rule = Rule {
    damping: 1e-3,
    least_damping: 1e-9,
    easier: 0.1,
    harder: 10.0,
    trials: 12,
    failures: 12,
    settled: 1e-4,
    least_cost: 1.0,
};
/// The diagonal counts as this at least when it is damped.
const LEAST_DIAGONAL: f64 = 1e-6;
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
    /// Mean and standard uncertainty of base, ln floor, ln focal length (mm) and ln index.
    pub shared: [(f64, f64); EVEN],
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
        index: at[3].exp(),
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
            even: at[EVEN],
        }
    }
    fn nuisance(place: &Place) -> [f64; LOCAL - 2] {
        let Harmonics { r2, first: [x, y], second: [c2, s2], .. } = Harmonics::at(place.x, place.y);
        [1.0, x, y, r2, c2, s2]
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
        row[3] = s.index - self.centre.index;
        row[EVEN] = cell.place.r2;
        row[SHARED] = s.delta - self.centre.delta;
        row[SHARED + 1] = s.bisector - self.centre.bisector;
        row[SHARED + 2..].copy_from_slice(&Self::nuisance(&cell.place));
        (row, cell.stops - (s.value - self.centre.value + self.added(&cell.place)))
    }
    fn centre_row(&self, strength: f64) -> Row {
        let mut row = [0.0; SHARED + LOCAL];
        (row[0], row[1], row[2]) = (self.centre.base, self.centre.floor, self.centre.focal);
        row[3] = self.centre.index;
        (row[SHARED], row[SHARED + 1]) = (self.centre.delta, self.centre.bisector);
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

/// Marks whose cells keep their weights.
struct PairProblem<'a> {
    marks: &'a [Mark],
    prior: &'a Prior,
    weights: &'a [Vec<f64>],
}

impl Problem for PairProblem<'_> {
    fn cost(&self, at: &DVector<f64>) -> f64 {
        let of = |k: usize| {
            let (mark, model) = (&self.marks[k], Model::of(at, k, self.prior));
            let cells = mark.cells.iter().zip(&self.weights[k]);
            let cells = cells.map(|(cell, weight)| {
                let misfit = model.misfit(cell);
                weight * misfit * misfit
            });
            let (_, misfit) = model.centre_row(mark.strength);
            let centre = 1.0 / (mark.u * mark.u) * misfit * misfit;
            cells.chain([centre]).fold(0.0, |sum, part| sum + part)
        };
        let marks: Vec<f64> = (0..self.marks.len()).into_par_iter().map(of).collect();
        let prior = believed(self.prior, self.marks.len());
        let asked = prior.map(|(i, mean, u)| ((mean - at[i]) / u).powi(2));
        marks.into_iter().chain(asked).fold(0.0, |sum, part| sum + part)
    }
    fn equations(&self, at: &DVector<f64>) -> Equations {
        normal(self.marks, self.prior, at, self.weights)
    }
    fn damp(&self, matrix: &mut DMatrix<f64>, damping: f64) {
        for k in 0..matrix.nrows() {
            matrix[(k, k)] += damping * (matrix[(k, k)] + LEAST_DIAGONAL);
        }
    }
}

/// One mark's share of the normal equations.
#[derive(Default)]
struct Block {
    matrix: [[f64; SHARED + LOCAL]; SHARED + LOCAL],
    right: [f64; SHARED + LOCAL],
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
    }
}

fn normal(marks: &[Mark], prior: &Prior, at: &DVector<f64>, weights: &[Vec<f64>]) -> Equations {
    let n = at.len();
    let mut sum = Equations { matrix: DMatrix::zeros(n, n), right: DVector::zeros(n) };
    let block = |k: usize| Block::of(&marks[k], &Model::of(at, k, prior), &weights[k]);
    let blocks: Vec<Block> = (0..marks.len()).into_par_iter().map(block).collect();
    for (k, block) in blocks.iter().enumerate() {
        scatter(&mut sum, block, k);
    }
    for (i, mean, u) in believed(prior, marks.len()) {
        sum.matrix[(i, i)] += 1.0 / (u * u);
        sum.right[i] += (mean - at[i]) / (u * u);
    }
    sum
}

fn scatter(sum: &mut Equations, block: &Block, k: usize) {
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

/// Parameters of which something is known beforehand: place, mean and standard uncertainty.
fn believed(prior: &Prior, marks: usize) -> impl Iterator<Item = (usize, f64, f64)> {
    let shared = prior.shared.into_iter().chain([(0.0, DARKENING)]).enumerate();
    let own = |k: usize| {
        let first = SHARED + LOCAL * k + 2;
        NUISANCE.into_iter().enumerate().map(move |(i, u)| (first + i, 0.0, u))
    };
    shared.map(|(i, (mean, u))| (i, mean, u)).chain((0..marks).flat_map(own))
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
    let mut end = End { at: start, cost: f64::INFINITY, steps: 0 };
    let mut weights = Vec::new();
    for _ in 0..ROUNDS {
        weights = self::weights(marks, prior, &end.at);
        end = descend(&PairProblem { marks, prior, weights: &weights }, end.at, &RULE);
        // the new weights changed nothing any more
        if end.steps <= 1 {
            break;
        }
    }
    let End { at, cost, .. } = end;
    if !cost.is_finite() {
        return None;
    }
    let matrix = normal(marks, prior, &at, &weights).matrix;
    let data: usize = marks.iter().map(|m| m.cells.len() + 1).sum();
    let dof = data.saturating_sub(2 * marks.len() + SHARED).max(1) as f64;
    let mut solid = matrix;
    for i in 0..at.len() {
        solid[(i, i)] += 1e-9 * solid[(i, i)] + 1e-9;
    }
    let covariance = solid.cholesky()?.inverse() * (cost / dof).max(1.0);
    Some(Solution { at, cost, covariance })
}
