//! Straight edges at any angle: the corner of a turned holder, or one that sits off the centre.

use super::penumbra::{self, RimCell};
use crate::measure::map::{GREEN, RatioMap};
use crate::numerics::marquardt::{Equations, Problem, Rule, descend};
use nalgebra::{DMatrix, DVector, SMatrix, SVector};

/// Directions in which an edge is looked for.
const DIRECTIONS: usize = 16;
/// At most so many edges: a holder has four.
const MOST: usize = 4;
/// Darkest cell and widest penumbra of what is called an edge, in stops and half diagonals (ours).
const DARKEST: f64 = 0.12;
const WIDEST: f64 = 0.45;
/// An edge explains this share of what lies behind it, at least (ours).
const EXPLAINED: f64 = 0.8;
/// Cells behind an edge shade by this much, in stops; so many make an edge (ours).
const BEHIND: f64 = 0.02;
const LEAST_CELLS: usize = 4;
/// Polarisers and lenses darken opposite places alike, and smoothly: the place opposite an edge has less
/// than this share of its shade, or the edge is steeper than they are, half diagonals (ours).
const OPPOSITE: f64 = 0.5;
const STEEP: f64 = 0.2;
/// Parameters: direction (radians), distance from the centre and ln of the width, in half
/// diagonals.
const SIZE: usize = 3;
/// Step of the numeric slopes.
const STEP: f64 = 1e-4;
/// Where a descent starts: penumbra in half diagonals, and the edge's place as a share of the
/// frame's reach in its direction.
const START_WIDTH: f64 = 0.08;
const START_REACH: f64 = 0.88;
/// The sum of squared slopes counts as this at least.
const LEAST_DIAGONAL: f64 = 1e-3;
const RULE: Rule = Rule {
    damping: 1e-2,
    least_damping: 0.0,
    easier: 0.2,
    harder: 5.0,
    trials: 60,
    failures: 12,
    settled: 1e-6,
    least_cost: 0.0,
};

/// A line beyond which light is cut off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct StraightEdge {
    angle: f64,
    distance: f64,
    width: f64,
}

impl StraightEdge {
    fn from_vector(v: &DVector<f64>) -> Self {
        Self { angle: v[0], distance: v[1], width: v[2].clamp(-6.0, 0.0).exp() }
    }
    fn ahead(&self, x: f64, y: f64) -> f64 {
        let (sin, cos) = self.angle.sin_cos();
        self.distance - (x * cos + y * sin)
    }
    /// The shade at a point, in stops.
    pub fn stops(&self, x: f64, y: f64) -> f64 {
        penumbra::stops(self.ahead(x, y), self.width)
    }
    /// The shade of a cell, light averaged over it.
    pub fn cell_stops(&self, x: f64, y: f64, side: f64) -> f64 {
        penumbra::cell_stops(|x, y| self.ahead(x, y), self.width, (x, y), side)
    }
    /// Whether a place comes within a cell's width of the shade.
    pub fn is_near(&self, x: f64, y: f64, side: f64) -> bool {
        self.ahead(x, y) < self.width / 2.0 + penumbra::CELL_REACH * side
    }
}

/// Edges in what the cells have beyond the smooth part, deepest first.
pub(super) fn find(map: &RatioMap, excess: &[Option<f64>]) -> Vec<StraightEdge> {
    let mut left = excess.to_vec();
    let mut found = Vec::new();
    while found.len() < MOST
        && let Some(edge) = deepest(map, &left)
    {
        for (i, excess) in left.iter_mut().enumerate() {
            let (x, y) = map.position(i);
            *excess = excess.map(|e| e - edge.cell_stops(x, y, map.cell()));
        }
        found.push(edge);
    }
    found
}

fn deepest(map: &RatioMap, excess: &[Option<f64>]) -> Option<StraightEdge> {
    let cells = penumbra::cells(map, excess, 0.0);
    let (half_width, half_height) = map.half_sides();
    let edges = (0..DIRECTIONS).filter_map(|k| {
        let angle = std::f64::consts::TAU * k as f64 / DIRECTIONS as f64;
        let (sin, cos) = angle.sin_cos();
        let reach = START_REACH * (half_width * cos.abs() + half_height * sin.abs());
        let behind = |c: &&RimCell| c.x * cos + c.y * sin > reach;
        let dark = cells.iter().filter(behind).filter(|c| c.excess > DARKEST).count();
        if dark < LEAST_CELLS {
            return None;
        }
        let start = DVector::from(vec![angle, reach, START_WIDTH.ln()]);
        let problem = StraightProblem { cells: &cells, side: map.cell() };
        let end = descend(&problem, start, &RULE);
        let edge = StraightEdge::from_vector(&end.at);
        is_one(&cells, map, &edge).then_some((edge, end.cost))
    });
    edges.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(edge, _)| edge)
}

fn is_one(cells: &[RimCell], map: &RatioMap, edge: &StraightEdge) -> bool {
    let (mut before, mut after, mut darkest, mut count) = (0.0, 0.0, 0.0_f64, 0);
    let (mut here, mut opposite) = (0.0, 0.0);
    for cell in cells {
        let shade = edge.cell_stops(cell.x, cell.y, map.cell());
        if shade > BEHIND {
            before += cell.excess * cell.excess;
            after += (cell.excess - shade).powi(2);
            darkest = darkest.max(shade);
            here += cell.excess;
            count += 1;
        }
        if edge.cell_stops(-cell.x, -cell.y, map.cell()) > BEHIND {
            opposite += cell.excess.max(0.0);
        }
    }
    count >= LEAST_CELLS
        && edge.width < WIDEST
        && edge.distance > 0.0
        && darkest > DARKEST.hypot(3.0 * map.noise[GREEN])
        && after < (1.0 - EXPLAINED) * before
        && (opposite < OPPOSITE * here || edge.width < STEEP)
}

struct StraightProblem<'a> {
    cells: &'a [RimCell],
    side: f64,
}

impl StraightProblem<'_> {
    /// Cells that come near the shade: the others say nothing of where it is.
    fn misfits(&self, edge: StraightEdge) -> impl Iterator<Item = (&RimCell, f64)> {
        self.cells.iter().map(move |c| (c, c.excess - edge.cell_stops(c.x, c.y, self.side)))
    }
}

impl Problem for StraightProblem<'_> {
    fn cost(&self, at: &DVector<f64>) -> f64 {
        self.misfits(StraightEdge::from_vector(at)).map(|(_, misfit)| misfit * misfit).sum()
    }
    fn equations(&self, at: &DVector<f64>) -> Equations {
        let edge = StraightEdge::from_vector(at);
        let moved: [StraightEdge; SIZE] = std::array::from_fn(|k| {
            let mut v = at.clone();
            v[k] += STEP;
            StraightEdge::from_vector(&v)
        });
        let mut normal = SMatrix::<f64, SIZE, SIZE>::identity() * LEAST_DIAGONAL;
        let mut right = SVector::<f64, SIZE>::zeros();
        for (c, misfit) in self.misfits(edge) {
            if !edge.is_near(c.x, c.y, 2.0 * self.side) {
                continue;
            }
            let shade = c.excess - misfit;
            let slope = SVector::<f64, SIZE>::from_fn(|k, _| {
                (moved[k].cell_stops(c.x, c.y, self.side) - shade) / STEP
            });
            normal += slope * slope.transpose();
            right += slope * misfit;
        }
        Equations {
            matrix: DMatrix::from_column_slice(SIZE, SIZE, normal.as_slice()),
            right: DVector::from_column_slice(right.as_slice()),
        }
    }
}
