//! The edge of a graduated filter as a curve of few parameters, fitted to the whole map.

use super::curve::{Bend, Curve};
use crate::numerics::marquardt::{Equations, Problem, Rule, descend};
use crate::numerics::robust::huber;
use nalgebra::{DMatrix, DVector, SMatrix, SVector};
use rayon::prelude::*;

/// Half a height, over which fading beyond the line is told.
const FADING_OVER: f64 = 0.5;
/// Places across a cell where the curve is looked at, in half cells, and their weights (Gauss and
/// Legendre's three points).
const GAUSS: [(f64, f64); 3] =
    [(-0.774_596_669_241_483, 5.0 / 18.0), (0.0, 8.0 / 18.0), (0.774_596_669_241_483, 5.0 / 18.0)];
/// Parameters: clear end, step, centre, angle, ln width, even darkening, fading.
const SIZE: usize = 7;
const HUBER_LIMIT: f64 = 3.0;
/// A residual of this many stops is still ordinary, whatever the noise (ours).
const LEAST_SCALE: f64 = 0.01;
/// Standard uncertainties beforehand of even darkening at the corners, in stops, of the logarithm of
/// the width, and of fading (ours).
const DARKENING: f64 = 0.3;
const USUAL_WIDTH: (f64, f64) = (0.2, 1.5);
const FADING: f64 = 0.5;
/// Fading by less than this share of the step, or that leaves more than this share of the cost, is
/// none (ours).
const LEAST_FADING: f64 = 0.05;
const FADING_LEAVES: f64 = 0.8;
/// A curve that leaves so many times the cost of the best is not made better than it by fading, and says
/// nothing of what another form would tell (ours).
pub(super) const HOPELESS: f64 = 10.0;

/// One cell; lengths in frame heights from the centre, y upwards.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spot {
    pub x: f64,
    pub y: f64,
    /// Extra stops relative to the frame's centre.
    pub stops: f64,
}

/// A fitted edge.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    curve: Curve,
    bend: Bend,
    /// 1 where the dark end is on the upper side of the line, -1 below.
    pub side: f64,
    pub clear: f64,
    pub step: f64,
    /// Distance of the half strength from the frame's centre, upwards across the line, in heights.
    pub centre: f64,
    /// Of the line, radians, between a quarter turn either way.
    pub angle: f64,
    /// From 10 to 90 %, in heights.
    pub width: f64,
    darkening: f64,
    /// Share of the step lost half a height beyond the line.
    fading: f64,
}

/// Step of the numeric slopes.
const STEP: f64 = 1e-5;
/// Keeps the equations solvable where a parameter has no say.
const LEAST_DIAGONAL: f64 = 1e-9;
const RULE: Rule = Rule {
    damping: 1e-3,
    least_damping: 0.0,
    easier: 0.2,
    harder: 6.0,
    trials: 100,
    failures: 8,
    settled: 1e-5,
    least_cost: 0.0,
};

type EdgeVector = SVector<f64, SIZE>;

impl Edge {
    fn vector(&self) -> EdgeVector {
        EdgeVector::from([
            self.clear,
            self.step,
            self.centre,
            self.angle,
            self.width.ln(),
            self.darkening,
            self.fading,
        ])
    }
    fn with(&self, v: &EdgeVector) -> Self {
        let width = v[4].clamp(-6.0, 2.0).exp();
        Self {
            clear: v[0],
            step: v[1],
            centre: v[2],
            angle: v[3],
            width,
            darkening: v[5],
            fading: v[6],
            bend: Bend::new(self.curve, width, v[1]),
            ..*self
        }
    }
    /// The same along another curve.
    fn along(&self, curve: Curve) -> Self {
        Self { curve, bend: Bend::new(curve, self.width, self.step), ..*self }
    }
    /// Whether it does not keep to its step beyond the line.
    pub fn fades(&self) -> bool {
        self.fading != 0.0
    }
    /// With so much more even darkening, in stops a squared height.
    pub fn darkened(&self, more: f64) -> Self {
        Self { darkening: self.darkening + more, ..*self }
    }
    /// Stops against the clear end at a distance from the half towards the dark one, in heights, before
    /// anything fades.
    pub fn rise(&self, d: f64) -> f64 {
        self.step * self.bend.share(d)
    }
    /// Stops of the edge alone there.
    pub fn across(&self, d: f64) -> f64 {
        self.rise(d) * (1.0 - self.fading * (d / FADING_OVER).clamp(0.0, 1.0))
    }
    pub fn distance(&self, spot: &Spot) -> f64 {
        let (sin, cos) = self.angle.sin_cos();
        self.side * (spot.y * cos - spot.x * sin - self.centre)
    }
    /// Light averaged over a cell of this side, in stops.
    pub fn cell_stops(&self, spot: &Spot, side: f64) -> f64 {
        let (sin, cos) = self.angle.sin_cos();
        let half = 0.5 * side * (sin.abs().max(cos.abs()));
        let d = self.distance(spot);
        let light: f64 = GAUSS.iter().map(|(p, w)| w * (-self.across(d + p * half)).exp2()).sum();
        self.clear - light.log2() + self.darkening * (spot.x * spot.x + spot.y * spot.y)
    }
    /// Even darkening at this radius in heights, in stops.
    pub fn darkening_at(&self, radius: f64) -> f64 {
        self.darkening * radius * radius
    }
}

/// So many spots tell an edge at least.
const LEAST_SPOTS: usize = 10 * SIZE;

/// The edge by the one curve that comes near all others: enough to tell whether there is one.
pub(super) fn roughly(spots: &[Spot], side: f64, noise: f64) -> Option<Edge> {
    if spots.len() < LEAST_SPOTS {
        return None;
    }
    let scale = noise.max(LEAST_SCALE);
    let plain = minimise(start(spots)?, spots, side, scale, false);
    let faded = minimise(plain.0, spots, side, scale, true);
    Some(fading_if_worth(faded, plain).0)
}

/// Fading is free where it has earned its place.
fn fading_if_worth(faded: Costed, plain: Costed) -> Costed {
    let worth = faded.0.fading > LEAST_FADING && faded.1 < FADING_LEAVES * plain.1;
    if worth { faded } else { plain }
}

/// An edge that may be, with the cost that it leaves.
pub(super) type Costed = (Edge, f64);

/// Fits the edge; cells of this side in heights, with this noise in stops. The best comes first, beside
/// all others along which the strength may grow, with fading and without.
pub(super) fn fit(spots: &[Spot], side: f64, noise: f64) -> Option<(Costed, Vec<Costed>)> {
    if spots.len() < LEAST_SPOTS {
        return None;
    }
    let scale = noise.max(LEAST_SCALE);
    let start = start(spots)?;
    let least = |of: &[Costed]| of.iter().copied().min_by(|a, b| a.1.total_cmp(&b.1));
    let plain: Vec<Costed> = Curve::ALL
        .into_par_iter()
        .map(|curve| minimise(start.along(curve), spots, side, scale, false))
        .collect();
    let best = least(&plain)?;
    let faded: Vec<Costed> = plain
        .par_iter()
        .filter(|(_, cost)| *cost <= HOPELESS * best.1)
        .map(|(edge, _)| minimise(best.0.along(edge.curve), spots, side, scale, true))
        .collect();
    let first = fading_if_worth(least(&faded)?, best);
    Some((first, plain.into_iter().chain(faded).collect()))
}

/// The best of a lattice of edges along the map's own slope.
fn start(spots: &[Spot]) -> Option<Edge> {
    let (mut sx, mut sy) = (0.0, 0.0);
    let mean = spots.iter().map(|s| s.stops).sum::<f64>() / spots.len() as f64;
    for s in spots {
        sx += (s.stops - mean) * s.x;
        sy += (s.stops - mean) * s.y;
    }
    let xx: f64 = spots.iter().map(|s| s.x * s.x).sum();
    let yy: f64 = spots.iter().map(|s| s.y * s.y).sum();
    let (gx, gy) = (sx / xx, sy / yy);
    // the normal of the line, turned upwards
    let side = if gy < 0.0 || (gy == 0.0 && gx > 0.0) { -1.0 } else { 1.0 };
    let angle = (-side * gx).atan2(side * gy);
    let mut best: Option<(f64, Edge)> = None;
    for k in -6..=6 {
        for width in [0.05, 0.15, 0.4, 0.8] {
            let edge = Edge {
                curve: Curve::Erf,
                bend: Bend::new(Curve::Erf, width, 1.0),
                side,
                clear: 0.0,
                step: 1.0,
                centre: f64::from(k) * 0.08,
                angle,
                width,
                darkening: 0.0,
                fading: 0.0,
            };
            let (cost, clear, step) = straight(&edge, spots)?;
            if best.as_ref().is_none_or(|b| cost < b.0) {
                best = Some((cost, Edge { clear, step, ..edge }));
            }
        }
    }
    best.map(|b| b.1)
}

/// Clear end and step by a straight line over the edge's share.
fn straight(edge: &Edge, spots: &[Spot]) -> Option<(f64, f64, f64)> {
    const EVERY: usize = 3;
    let points: Vec<(f64, f64)> =
        spots.iter().step_by(EVERY).map(|s| (edge.across(edge.distance(s)), s.stops)).collect();
    let n = points.len() as f64;
    let mx = points.iter().map(|p| p.0).sum::<f64>() / n;
    let my = points.iter().map(|p| p.1).sum::<f64>() / n;
    let xx: f64 = points.iter().map(|p| (p.0 - mx).powi(2)).sum();
    let xy: f64 = points.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum();
    let step = if xx > 1e-12 { xy / xx } else { 0.0 };
    let clear = my - step * mx;
    let cost: f64 = points.iter().map(|p| (p.1 - clear - step * p.0).powi(2)).sum();
    cost.is_finite().then_some((cost, clear, step))
}

/// A map as an edge of one curve, on one side of its line.
struct EdgeProblem<'a> {
    form: Edge,
    spots: &'a [Spot],
    /// Side of a cell in heights.
    side: f64,
    /// Scale of the residuals in stops.
    scale: f64,
    /// Parameters that are free: the last one is fading.
    free: usize,
}

impl EdgeProblem<'_> {
    fn edge(&self, at: &DVector<f64>) -> Edge {
        self.form.with(&EdgeVector::from_column_slice(at.as_slice()))
    }
}

impl Problem for EdgeProblem<'_> {
    fn cost(&self, at: &DVector<f64>) -> f64 {
        let edge = self.edge(at);
        let misfit = |s: &Spot| {
            let z = ((s.stops - edge.cell_stops(s, self.side)) / self.scale).abs();
            if z <= HUBER_LIMIT { z * z } else { HUBER_LIMIT * (2.0 * z - HUBER_LIMIT) }
        };
        self.spots.iter().map(misfit).sum::<f64>()
            + prior(&edge).iter().map(|p| p.0 * p.0).sum::<f64>()
    }
    fn equations(&self, at: &DVector<f64>) -> Equations {
        let edge = self.edge(at);
        let v = edge.vector();
        let (mut normal, mut right) = (SMatrix::<f64, SIZE, SIZE>::zeros(), EdgeVector::zeros());
        let moved: Vec<Edge> = (0..self.free)
            .map(|k| {
                let mut w = v;
                w[k] += STEP;
                edge.with(&w)
            })
            .collect();
        for spot in self.spots {
            let here = edge.cell_stops(spot, self.side);
            let misfit = spot.stops - here;
            let weight = huber(misfit / self.scale, HUBER_LIMIT) / (self.scale * self.scale);
            let slope = EdgeVector::from_fn(|k, _| {
                moved.get(k).map_or(0.0, |e| (e.cell_stops(spot, self.side) - here) / STEP)
            });
            normal += slope * slope.transpose() * weight;
            right += slope * (misfit * weight);
        }
        for (k, (z, u)) in prior(&edge).into_iter().enumerate() {
            if u.is_finite() {
                normal[(k, k)] += 1.0 / (u * u);
                right[k] -= z / u;
            }
        }
        Equations {
            matrix: DMatrix::from_column_slice(SIZE, SIZE, normal.as_slice()),
            right: DVector::from_column_slice(right.as_slice()),
        }
    }
    fn damp(&self, matrix: &mut DMatrix<f64>, damping: f64) {
        for k in 0..SIZE {
            matrix[(k, k)] += damping * matrix[(k, k)] + LEAST_DIAGONAL;
        }
    }
}

/// Every so manieth spot leads near the best edge, from where all spots need few steps.
const FIRST_EVERY: usize = 11;

/// The best edge of this form with the cost that it leaves.
fn minimise(from: Edge, spots: &[Spot], side: f64, scale: f64, fades: bool) -> (Edge, f64) {
    let free = if fades { SIZE } else { SIZE - 1 };
    let near = |form: Edge, spots: &[Spot]| {
        let problem = EdgeProblem { form, spots, side, scale, free };
        let end = descend(&problem, DVector::from_column_slice(form.vector().as_slice()), &RULE);
        (problem.edge(&end.at), end.cost)
    };
    let few: Vec<Spot> = spots.iter().copied().step_by(FIRST_EVERY).collect();
    let first = if few.len() < LEAST_SPOTS { from } else { near(from, &few).0 };
    near(first, spots)
}

/// Deviation from what is known beforehand, in units of its uncertainty, and that uncertainty.
fn prior(edge: &Edge) -> [(f64, f64); SIZE] {
    let (width, spread) = USUAL_WIDTH;
    let none = (0.0, f64::INFINITY);
    [
        none,
        none,
        none,
        none,
        ((edge.width / width).ln() / spread, spread),
        (edge.darkening / DARKENING, DARKENING),
        (edge.fading / FADING, FADING),
    ]
}
