//! A round edge in front of the lens: the shade beyond a circle, soft by the size of the pupil.

use super::penumbra::{self, RimCell};
use crate::measure::map::{GREEN, RatioMap};
use crate::numerics::marquardt::{Equations, Problem, Rule, descend};
use nalgebra::{DMatrix, DVector, SMatrix, SVector};

/// Cells inside this share of the fitted inside tell nothing of a ring.
const OUTER_SHARE: f64 = 0.75;
/// Widest penumbra (0 to 100 %) that is called hard, in half diagonals (ours).
const WIDEST: f64 = 0.6;
/// A ring's centre lies this near to the frame's (ours).
const OFF_CENTRE: f64 = 0.3;
/// A ring explains this share of what is beyond the smooth part, at least (ours).
const EXPLAINED: f64 = 0.7;
/// And this many times the noise.
const SIGNIFICANT: f64 = 60.0;
/// And darkens some cell by this much, in stops (ours).
const DARKEST: f64 = 0.12;
/// No cell is taken as better known than this, in stops (ours).
const LEAST_NOISE: f64 = 0.005;
/// Cells count for or against a ring from this shade on, in stops,
const WORTH_STOPS: f64 = 0.02;
/// or from this excess in stops, with so many times the noise of a cell (ours).
const WORTH_EXCESS: f64 = 0.05;
const WORTH_NOISES: f64 = 3.0;

/// Parameters: centre (x, y) and middle of the penumbra in half diagonals, ln of its width.
const SIZE: usize = 4;
/// Where descents start, in half diagonals: rings are seen from three quarters of the way to the
/// corner on, hard or soft (ours).
const START_MIDDLES: [f64; 3] = [0.75, 0.85, 0.93];
const START_WIDTHS: [f64; 2] = [0.08, 0.25];
/// How far off the centre a second look begins, in half diagonals (ours).
const START_OFF: f64 = 0.15;
/// Usual width in half diagonals, and how much the squares of a factor e of width and of a half
/// diagonal off the centre weigh, in stops squared: little beside a cell of shade (ours).
const USUAL_WIDTH: f64 = 0.15;
const WIDTH_PULL: f64 = 0.001;
const CENTRE_PULL: f64 = 0.01;
/// Step of the numeric slopes.
const STEP: f64 = 1e-4;
/// The sum of squared slopes counts as this at least, so that damping holds where no cell is shaded.
const LEAST_TRACE: f64 = 1e-3;
const RULE: Rule = Rule {
    damping: 1e-2,
    least_damping: 0.0,
    easier: 0.2,
    harder: 5.0,
    trials: 60,
    failures: 20,
    settled: 1e-7,
    least_cost: 0.0,
};

type Vector = SVector<f64, SIZE>;

/// A circle beyond which light is cut off, in half diagonals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Ring {
    x: f64,
    y: f64,
    middle: f64,
    width: f64,
}

impl Ring {
    fn from_vector(v: &DVector<f64>) -> Self {
        Self { x: v[0], y: v[1], middle: v[2], width: v[3].exp() }
    }
    /// Distance from the ring's centre, in half diagonals.
    pub fn distance(&self, x: f64, y: f64) -> f64 {
        (x - self.x).hypot(y - self.y)
    }
    /// Where the penumbra begins, in half diagonals.
    pub fn begin(&self) -> f64 {
        self.middle - self.width / 2.0
    }
    /// The shade at a point, in stops.
    pub fn stops(&self, x: f64, y: f64) -> f64 {
        penumbra::stops(self.middle - self.distance(x, y), self.width)
    }
    /// The shade of a cell, light averaged over it.
    pub fn cell_stops(&self, x: f64, y: f64, side: f64) -> f64 {
        let ahead = |x: f64, y: f64| self.middle - self.distance(x, y);
        penumbra::cell_stops(ahead, self.width, (x, y), side)
    }
}

/// Fits a ring to what the outer cells have beyond the smooth part; `None` where no ring explains
/// it.
pub(super) fn fit(map: &RatioMap, excess: &[Option<f64>], inside: f64) -> Option<Ring> {
    let cells = penumbra::cells(map, excess, OUTER_SHARE * inside);
    if !cells.iter().any(|c| c.excess > DARKEST) {
        return None;
    }
    let noise = map.noise[GREEN].max(LEAST_NOISE);
    let side = map.cell();
    let problem = RingProblem { cells: &cells, side };
    let fitted = |(x, y): (f64, f64)| {
        let start = |middle: f64, width: f64| DVector::from(vec![x, y, middle, width.ln()]);
        let best = START_MIDDLES
            .into_iter()
            .flat_map(|middle| START_WIDTHS.map(|width| start(middle, width)))
            .map(|start| descend(&problem, start, &RULE))
            .min_by(|a, b| a.cost.total_cmp(&b.cost))?;
        let ring = Ring::from_vector(&best.at);
        believable(&cells, side, noise, &ring).then_some(ring)
    };
    // the shade of a ring off the centre lies to one side of the frame
    fitted((0.0, 0.0)).or_else(|| fitted(away_from_shade(&cells)))
}

/// Where a ring off the centre is looked for: away from the weight of the shade.
fn away_from_shade(cells: &[RimCell]) -> (f64, f64) {
    let shaded = cells.iter().filter(|c| c.excess > DARKEST);
    let (x, y) = shaded.fold((0.0, 0.0), |(x, y), c| (x + c.excess * c.x, y + c.excess * c.y));
    let far = x.hypot(y).max(f64::MIN_POSITIVE);
    (-START_OFF * x / far, -START_OFF * y / far)
}

fn believable(cells: &[RimCell], side: f64, noise: f64, ring: &Ring) -> bool {
    let (mut before, mut after, mut darkest) = (0.0, 0.0, 0.0_f64);
    for cell in cells {
        let shade = ring.cell_stops(cell.x, cell.y, side);
        // light corners count against a ring as dark ones count for it
        if shade > WORTH_STOPS || cell.excess.abs() > WORTH_EXCESS.hypot(WORTH_NOISES * noise) {
            before += cell.excess * cell.excess;
            after += (cell.excess - shade).powi(2);
            darkest = darkest.max(shade);
        }
    }
    ring.width < WIDEST
        && ring.x.hypot(ring.y) < OFF_CENTRE
        && darkest > DARKEST
        && after < (1.0 - EXPLAINED) * before
        && (before - after) > SIGNIFICANT * noise * noise
}

/// Excess of the outer cells as the shade of a ring: centre, middle and ln of the width.
struct RingProblem<'a> {
    cells: &'a [RimCell],
    side: f64,
}

impl Problem for RingProblem<'_> {
    fn cost(&self, at: &DVector<f64>) -> f64 {
        let ring = Ring::from_vector(at);
        let misfit = |c: &RimCell| (c.excess - ring.cell_stops(c.x, c.y, self.side)).powi(2);
        self.cells.iter().map(misfit).sum::<f64>() + prior(at)
    }
    fn equations(&self, at: &DVector<f64>) -> Equations {
        let ring = Ring::from_vector(at);
        let moved: [Ring; SIZE] = std::array::from_fn(|k| {
            let mut v = at.clone();
            v[k] += STEP;
            Ring::from_vector(&v)
        });
        let (mut normal, mut right) = (SMatrix::<f64, SIZE, SIZE>::zeros(), Vector::zeros());
        for c in self.cells {
            let shade = ring.cell_stops(c.x, c.y, self.side);
            let slope =
                Vector::from_fn(|k, _| (moved[k].cell_stops(c.x, c.y, self.side) - shade) / STEP);
            normal += slope * slope.transpose();
            right += slope * (c.excess - shade);
        }
        Equations {
            matrix: DMatrix::from_column_slice(SIZE, SIZE, normal.as_slice()),
            right: DVector::from_column_slice(right.as_slice()),
        }
    }
    fn damp(&self, matrix: &mut DMatrix<f64>, damping: f64) {
        let added = damping * (LEAST_TRACE + matrix.trace());
        for k in 0..SIZE {
            matrix[(k, k)] += added;
        }
    }
}

/// Keeps the width and the centre in the range of real rings.
fn prior(v: &DVector<f64>) -> f64 {
    let width = v[3] - USUAL_WIDTH.ln();
    WIDTH_PULL * width * width + CENTRE_PULL * (v[0] * v[0] + v[1] * v[1])
}
