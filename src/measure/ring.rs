//! A round edge in front of the lens: the shade beyond a circle, soft by the size of the pupil.

use super::map::{GREEN, RatioMap};
use nalgebra::{Matrix4, Vector4};

/// Cells inside this share of the fitted inside tell nothing of a ring.
const OUTER_SHARE: f64 = 0.75;
/// Shade is followed down to this transmittance.
const LEAST_LIGHT: f64 = 1.0 / 256.0;
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
/// Samples across a cell, each way.
const SAMPLES: usize = 3;

/// A circle beyond which light is cut off, in half diagonals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Ring {
    x: f64,
    y: f64,
    middle: f64,
    width: f64,
}

impl Ring {
    fn from_vector(v: &Vector4<f64>) -> Self {
        Self { x: v[0], y: v[1], middle: v[2], width: v[3].exp() }
    }
    /// Distance from the ring's centre.
    pub fn distance(&self, x: f64, y: f64) -> f64 {
        (x - self.x).hypot(y - self.y)
    }
    /// Where the penumbra begins.
    pub fn begin(&self) -> f64 {
        self.middle - self.width / 2.0
    }
    /// Share of the light that passes: a disc-shaped pupil cut by a straight edge,
    /// 1/2 + (x sqrt(1 - x^2) + asin x) / pi.
    fn light(&self, x: f64, y: f64) -> f64 {
        let u = (2.0 * (self.middle - self.distance(x, y)) / self.width).clamp(-1.0, 1.0);
        0.5 + (u * (1.0 - u * u).sqrt() + u.asin()) / std::f64::consts::PI
    }
    /// The shade at a point, in stops.
    pub fn stops(&self, x: f64, y: f64) -> f64 {
        -self.light(x, y).max(LEAST_LIGHT).log2()
    }
    /// The shade of a cell, light averaged over it.
    pub fn cell_stops(&self, x: f64, y: f64, side: f64) -> f64 {
        let reach = 0.75 * side;
        if self.distance(x, y) < self.begin() - reach {
            return 0.0;
        }
        let step = side / SAMPLES as f64;
        let offset = |k: usize| (k as f64 - (SAMPLES as f64 - 1.0) / 2.0) * step;
        let mut light = 0.0;
        for i in 0..SAMPLES {
            for j in 0..SAMPLES {
                light += self.light(x + offset(i), y + offset(j));
            }
        }
        -(light / (SAMPLES * SAMPLES) as f64).max(LEAST_LIGHT).log2()
    }
}

struct Cell {
    x: f64,
    y: f64,
    excess: f64,
}

/// Fits a ring to what the outer cells have beyond the smooth part; `None` where no ring explains
/// it.
pub(super) fn fit(map: &RatioMap, excess: &[Option<f64>], inside: f64) -> Option<Ring> {
    let cells: Vec<Cell> = excess
        .iter()
        .enumerate()
        .filter_map(|(i, e)| {
            let (x, y) = map.position(i);
            let excess = (*e)?.min(-LEAST_LIGHT.log2());
            (x.hypot(y) > OUTER_SHARE * inside).then_some(Cell { x, y, excess })
        })
        .collect();
    if !cells.iter().any(|c| c.excess > DARKEST) {
        return None;
    }
    let noise = map.noise[GREEN].max(0.005);
    let side = map.cell();
    let starts = [0.75, 0.85, 0.93].into_iter().flat_map(|m| [(m, 0.08), (m, 0.25)]);
    let best = starts
        .map(|(middle, width): (f64, f64)| {
            descend(&cells, side, Vector4::new(0.0, 0.0, middle, width.ln()))
        })
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let ring = Ring::from_vector(&best.0);
    believable(&cells, side, noise, &ring).then_some(ring)
}

fn believable(cells: &[Cell], side: f64, noise: f64, ring: &Ring) -> bool {
    let (mut before, mut after, mut darkest) = (0.0, 0.0, 0.0_f64);
    for cell in cells {
        let shade = ring.cell_stops(cell.x, cell.y, side);
        // light corners count against a ring as dark ones count for it
        if shade > 0.02 || cell.excess.abs() > 0.05_f64.hypot(3.0 * noise) {
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

/// Least squares by Levenberg and Marquardt's method with a numeric Jacobian.
fn descend(cells: &[Cell], side: f64, start: Vector4<f64>) -> (Vector4<f64>, f64) {
    const ROUNDS: usize = 25;
    const STEP: f64 = 1e-4;
    let cost = |v: &Vector4<f64>| {
        let ring = Ring::from_vector(v);
        let misfit = |c: &Cell| (c.excess - ring.cell_stops(c.x, c.y, side)).powi(2);
        cells.iter().map(misfit).sum::<f64>() + prior(v)
    };
    let (mut at, mut value, mut damping) = (start, cost(&start), 1e-2);
    for _ in 0..ROUNDS {
        let ring = Ring::from_vector(&at);
        let moved: [Ring; 4] = std::array::from_fn(|k| {
            let mut v = at;
            v[k] += STEP;
            Ring::from_vector(&v)
        });
        let (mut normal, mut right) = (Matrix4::zeros(), Vector4::zeros());
        for c in cells {
            let shade = ring.cell_stops(c.x, c.y, side);
            let slope =
                Vector4::from_fn(|k, _| (moved[k].cell_stops(c.x, c.y, side) - shade) / STEP);
            normal += slope * slope.transpose();
            right += slope * (c.excess - shade);
        }
        for _ in 0..6 {
            let damped = normal + Matrix4::from_diagonal_element(damping * (1e-3 + normal.trace()));
            let Some(solver) = damped.cholesky() else { break };
            let next = at + solver.solve(&right);
            let reached = cost(&next);
            if reached < value {
                let gain = value - reached;
                (at, value, damping) = (next, reached, damping * 0.2);
                if gain < 1e-7 * value {
                    return (at, value);
                }
                break;
            }
            damping *= 5.0;
        }
    }
    (at, value)
}

/// Keeps the width and the centre in the range of real rings.
fn prior(v: &Vector4<f64>) -> f64 {
    let width = v[3] - 0.15_f64.ln();
    0.001 * width * width + 0.01 * (v[0] * v[0] + v[1] * v[1])
}
