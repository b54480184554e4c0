//! The edge spread function: samples at any distance from the edge, fitted by a cubic spline with
//! knots a quarter of a pixel apart.
//!
//! A fit instead of means in bins: at some slopes a mosaic brings only a few distances again and
//! again, or some of them thrice as often as others; means of bins then stand off the bins' middles,
//! and straight pieces follow the commoner samples.

use super::line::Line;
use super::samples::{Greens, Sample};

/// Distance of the knots in pixels: four a pixel (ISO 12233, from memory).
pub const KNOT_PX: f64 = 0.25;
/// Weight of the pull towards a parabola, in samples, which bridges gaps; of the usual 15 samples a
/// knot it moves a modulation at 0.4 cycles per pixel by a thousandth (ours).
const BEND: f64 = 0.3;
/// Third differences, which are 0 on a parabola.
const DIFFERENCE: [f64; BAND + 1] = [-1.0, 3.0, -3.0, 1.0];
/// Diagonals beside the middle one: a sample touches four coefficients.
const BAND: usize = 3;
/// Least weight of the samples near a knot.
const LEAST_WEIGHT: f64 = 0.5;
/// The edge is cut into so many pieces; what they agree on is not noise.
pub const BLOCKS: usize = 16;

/// Weights of the four coefficients around a place between two knots (uniform cubic B-spline).
fn weights(share: f64) -> [f64; BAND + 1] {
    let (u, v) = (share, 1.0 - share);
    let inner = |x: f64| 2.0 / 3.0 - x * x + x * x * x / 2.0;
    [v * v * v / 6.0, inner(u), inner(v), u * u * u / 6.0]
}

/// Sums of the least-squares fit. Row i of the matrix holds the entries (i, i), (i, i - 1), ...
#[derive(Clone, Debug, PartialEq)]
struct Sums {
    rows: Vec<[f64; BAND + 1]>,
    right: Vec<f64>,
}

impl Sums {
    fn empty(coefficients: usize) -> Self {
        Self { rows: vec![[0.0; BAND + 1]; coefficients], right: vec![0.0; coefficients] }
    }

    /// Adds `count` samples at one place, whose lights sum to `light`.
    fn add(&mut self, at: f64, count: f64, light: f64) {
        // Places are not negative.
        let first = at as usize;
        let weights = weights(at - first as f64);
        let Some(rows) = self.rows[first..].first_chunk_mut::<{ BAND + 1 }>() else { return };
        // Loops of fixed lengths become straight code.
        for i in 0..=BAND {
            for back in 0..BAND + 1 {
                if back <= i {
                    rows[i][back] += count * weights[i] * weights[i - back];
                }
            }
        }
        if let Some(right) = self.right[first..].first_chunk_mut::<{ BAND + 1 }>() {
            right.iter_mut().zip(weights).for_each(|(sum, weight)| *sum += weight * light);
        }
    }

    /// These and others together, with a sign.
    fn with(mut self, other: &Self, sign: f64) -> Self {
        for (mine, theirs) in self.rows.iter_mut().zip(&other.rows) {
            mine.iter_mut().zip(theirs).for_each(|(m, t)| *m += sign * t);
        }
        self.right.iter_mut().zip(&other.right).for_each(|(m, t)| *m += sign * t);
        self
    }

    /// The coefficients; `None` where samples of less weight than `least` stand near one of them.
    fn solved(self, least: f64) -> Option<Vec<f64>> {
        let n = self.rows.len();
        let near = |k: usize| -> f64 {
            self.rows[k.saturating_sub(2)..(k + 3).min(n)].iter().map(|row| row[0]).sum()
        };
        if n <= BAND || (0..n).any(|k| near(k) < least) {
            return None;
        }
        let mut rows = self.rows;
        for first in 0..n - BAND {
            for (i, a) in DIFFERENCE.iter().enumerate() {
                for (j, b) in DIFFERENCE[..=i].iter().enumerate() {
                    rows[first + i][i - j] += BEND * a * b;
                }
            }
        }
        solve(&mut rows, self.right)
    }
}

/// Solves a symmetric system of a few diagonals by Cholesky's method; `None` where it has no one
/// solution.
fn solve(rows: &mut [[f64; BAND + 1]], mut values: Vec<f64>) -> Option<Vec<f64>> {
    let n = rows.len();
    for i in 0..n {
        for back in (0..=BAND.min(i)).rev() {
            let j = i - back;
            let shared = (back + 1..=BAND.min(i)).map(|b| rows[i][b] * rows[j][b - back]);
            let left = rows[i][back] - shared.sum::<f64>();
            rows[i][back] = if back == 0 { left.sqrt() } else { left / rows[j][0] };
        }
        let before = (1..=BAND.min(i)).map(|b| rows[i][b] * values[i - b]).sum::<f64>();
        values[i] = (values[i] - before) / rows[i][0];
    }
    for i in (0..n).rev() {
        let after = (1..=BAND.min(n - 1 - i)).map(|b| rows[i + b][b] * values[i + b]).sum::<f64>();
        values[i] = (values[i] - after) / rows[i][0];
    }
    values.iter().all(|v| v.is_finite()).then_some(values)
}

/// Light over the distance from the edge, a spline with knots from `-reach` to `reach`.
#[derive(Clone, Debug, PartialEq)]
pub struct Spread {
    /// Distance of the outermost knots in pixels.
    pub reach: f64,
    /// One more than knots on either side.
    coefficients: Vec<f64>,
}

impl Spread {
    /// How many knots.
    #[must_use]
    pub fn knots(&self) -> usize {
        self.coefficients.len() - 2
    }
    /// Distance of a knot from the edge in pixels.
    #[must_use]
    pub fn distance(&self, knot: usize) -> f64 {
        knot as f64 * KNOT_PX - self.reach
    }
    /// Counts at a distance.
    #[must_use]
    pub fn at(&self, distance: f64) -> f64 {
        let last = (self.knots() - 1) as f64;
        let at = ((distance + self.reach) / KNOT_PX).clamp(0.0, last);
        let first = (at as usize).min(self.knots() - 2);
        let weights = weights(at - first as f64);
        weights.iter().zip(&self.coefficients[first..]).map(|(w, c)| w * c).sum()
    }
    /// Counts at a knot.
    #[must_use]
    pub fn light(&self, knot: usize) -> f64 {
        self.at(self.distance(knot))
    }
    /// The line spread function as a quadratic spline: coefficients in counts, halfway between the
    /// knots and as many on either side of the edge.
    #[must_use]
    pub fn slopes(&self) -> Vec<f64> {
        self.coefficients.windows(2).map(|pair| pair[1] - pair[0]).collect()
    }
    /// Counts by distance in steps of so many pixels, from `-reach` on.
    #[must_use]
    pub fn finely(&self) -> (f64, Vec<f64>) {
        let step = KNOT_PX / FINE;
        let count = ((self.knots() - 1) as f64 * FINE) as usize;
        (step, (0..count).map(|i| self.at((i as f64 + 0.5) * step - self.reach)).collect())
    }
    /// Distance at which a share of the step from `levels.0` to `levels.1` is reached first, seen
    /// from the outermost knot.
    #[must_use]
    pub fn reaches(&self, share: f64, levels: (f64, f64)) -> Option<f64> {
        let wanted = levels.0 + share * (levels.1 - levels.0);
        let rising = levels.1 > levels.0;
        let beyond = |v: f64| if rising { v >= wanted } else { v <= wanted };
        let next = (1..self.knots()).find(|&k| beyond(self.light(k)))?;
        let (a, b) = (self.light(next - 1), self.light(next));
        let part = if (b - a).abs() > 0.0 { ((wanted - a) / (b - a)).clamp(0.0, 1.0) } else { 1.0 };
        Some(self.distance(next - 1) + part * KNOT_PX)
    }
}

/// Distances are rounded to so many parts of a knot's distance where only the line and the levels are
/// sought: a sixteenth of a pixel takes a thousandth from a modulation at 0.4 cycles per pixel.
const FINE: f64 = 4.0;

/// The function of the whole edge from samples at these distances from it, in pixels.
#[must_use]
pub fn quickly(samples: &[Sample], distances: &[f64], reach: f64) -> Option<Spread> {
    binned(samples, distances, reach, LEAST_WEIGHT)
}

/// The same from few samples, which leave gaps that are bridged.
#[must_use]
pub fn roughly(samples: &[Sample], distances: &[f64], reach: f64) -> Option<Spread> {
    binned(samples, distances, reach, 0.0)
}

fn binned(samples: &[Sample], distances: &[f64], reach: f64, least: f64) -> Option<Spread> {
    let reach = (reach / KNOT_PX).floor() * KNOT_PX;
    let knots = (2.0 * reach / KNOT_PX).round() as usize + 1;
    let mut bins = vec![(0.0, 0.0); ((knots - 1) as f64 * FINE) as usize];
    for (sample, distance) in samples.iter().zip(distances) {
        let at = (distance + reach) / KNOT_PX * FINE;
        if at >= 0.0
            && let Some(bin) = bins.get_mut(at as usize)
        {
            *bin = (bin.0 + 1.0, bin.1 + sample.light);
        }
    }
    let mut sums = Sums::empty(knots + 2);
    for (i, (count, light)) in bins.iter().enumerate().filter(|(_, bin)| bin.0 > 0.0) {
        sums.add((i as f64 + 0.5) / FINE, *count, *light);
    }
    Some(Spread { reach, coefficients: sums.solved(least)? })
}

/// Sums of the whole edge and of each piece of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Pieces {
    reach: f64,
    whole: Sums,
    blocks: Vec<Sums>,
}

/// A sample by its distance from the edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placed {
    /// Pixels; a millionth of one does not matter.
    distance: f32,
    /// Counts above black.
    light: f32,
    /// Which piece of the edge it lies beside.
    block: u32,
}

/// The samples up to a distance from a line, in pixels, piece by piece along it.
#[must_use]
pub fn placed(greens: &Greens, line: &Line, reach: f64) -> Vec<Placed> {
    let blocks = BLOCKS as f64 / (2.0 * greens.half_along);
    let block = |s: &Sample| {
        let part = (s.along + greens.half_along) * blocks;
        (part.max(0.0) as u32).min(BLOCKS as u32 - 1)
    };
    let all = greens.samples.iter().zip(line.distances(greens));
    let near = all.filter(|(_, distance)| distance.abs() <= reach);
    near.map(|(s, distance)| Placed {
        distance: distance as f32,
        light: s.light as f32,
        block: block(s),
    })
    .collect()
}

/// Adds up samples up to a distance, in pixels.
#[must_use]
pub fn pieces(samples: &[Placed], reach: f64) -> Pieces {
    let reach = (reach / KNOT_PX).floor() * KNOT_PX;
    let knots = (2.0 * reach / KNOT_PX).round() as usize + 1;
    let mut blocks = vec![Sums::empty(knots + 2); BLOCKS];
    let last = (knots - 1) as f64;
    for sample in samples {
        let at = (f64::from(sample.distance) + reach) / KNOT_PX;
        if (0.0..last).contains(&at) {
            blocks[sample.block as usize].add(at, 1.0, f64::from(sample.light));
        }
    }
    let whole = blocks.iter().fold(Sums::empty(knots + 2), |sum, block| sum.with(block, 1.0));
    Pieces { reach, whole, blocks }
}

impl Pieces {
    /// The function of the whole edge.
    #[must_use]
    pub fn spread(&self) -> Option<Spread> {
        Some(Spread { reach: self.reach, coefficients: self.whole.clone().solved(LEAST_WEIGHT)? })
    }
    /// The function without one of the pieces.
    #[must_use]
    pub fn without(&self, block: usize) -> Option<Spread> {
        let left = self.whole.clone().with(&self.blocks[block], -1.0);
        Some(Spread { reach: self.reach, coefficients: left.solved(LEAST_WEIGHT)? })
    }
}
