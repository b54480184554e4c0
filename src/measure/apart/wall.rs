//! Whether the wall looks larger through the filter, or lies elsewhere, told by its slow changes of
//! brightness: what moves, changes by its own slope (B. K. P. Horn and B. G. Schunck, Determining optical
//! flow, 1981), which no filter does.

use super::{change, files, mean_pattern};
use crate::caution::{ApartDoubt, WallLooks};
use crate::numerics::least_squares::{LinearFit, weighted};
use crate::quantity::Stops;
use crate::shoot::Judged;
use crate::shoot::look::COARSE;
use std::cmp::Ordering;
use std::f64::consts::LN_2;

/// What a filter, glass in a slant and falloff may do: all terms to the third power, even ones farther
/// on, and light that is added everywhere.
const SMOOTH: usize = 13;
/// Right, up, and growth.
const MOVES: usize = 3;
const ALL: usize = SMOOTH + MOVES;
/// Moves explain so much of what smooth terms leave (ours: a hundred patches and three terms make that by
/// chance nearly never).
const EXPLAINED: f64 = 0.5;
/// Half diagonals that a wall moves, standard deviation (ours).
const USUAL_MOVE: f64 = 0.1;
/// Half diagonals that the wall has moved at the frame's corners at least (ours).
const LEAST_MOVE: f64 = 0.01;
/// A growth of so many standard uncertainties is plain (ours).
const PLAIN: f64 = 3.0;
/// Fewer patches tell nothing.
const LEAST_PATCHES: usize = 60;

/// A part of the coarse map.
struct Patch {
    /// Half diagonals from the frame's centre.
    x: f64,
    y: f64,
    /// Slope of the bare light, stops per half diagonal.
    slope: (f64, f64),
    /// Light added everywhere changes it by so much, in shares of what it does in the middle.
    added: f64,
    /// Stops from the bare pattern to that through the filter.
    change: f64,
}

/// How a wall has moved.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Move {
    /// By which share it looks larger, where that is plain, else 0.
    growth: f64,
    /// What is in the middle now is darker than what was, stops.
    middle: f64,
}

impl Move {
    fn looks(self) -> WallLooks {
        match self.growth.total_cmp(&0.0) {
            Ordering::Greater => WallLooks::Larger,
            Ordering::Less => WallLooks::Smaller,
            Ordering::Equal => WallLooks::Elsewhere,
        }
    }
    /// By how much the filter seems stronger, stops: by what is in the middle, and by what a lens takes
    /// that was focused anew. Light on the sensor goes with the inverse square of the image's distance, and
    /// the image's size with that distance (S. F. Ray, Applied Photographic Optics, 2002, exposure factor
    /// (1 + m)^2; from memory).
    fn worth(self) -> f64 {
        self.middle + 2.0 * self.growth.ln_1p() / LN_2
    }
}

/// The frames through the filter, where the wall has moved in them against the bare ones.
#[must_use]
pub fn shifted(bare: &[&Judged], through: &[&Judged]) -> Option<ApartDoubt> {
    let area = &bare.first()?.summary.cells.area;
    let size = (area.width as f64, area.height as f64);
    let moved = how_moved(&mean_pattern(bare), &mean_pattern(through), size)??;
    let worth = Stops::new(moved.worth());
    Some(ApartDoubt::WallShifted { through: files(through), looks: moved.looks(), worth })
}

/// How the wall's moving makes one pattern of the other, stops, if it does; `None` where too little is
/// known.
fn how_moved(bare: &[f64], through: &[f64], size: (f64, f64)) -> Option<Option<Move>> {
    let patches = patches(bare, &change(bare, through), size);
    if patches.len() < LEAST_PATCHES {
        return None;
    }
    let n = patches.len();
    let left = |fit: &LinearFit| fit.residuals[..n].iter().map(|r| r * r).sum::<f64>();
    let mut values: Vec<f64> = patches.iter().map(|p| p.change).collect();
    let smooth: Vec<[f64; SMOOTH]> = patches.iter().map(Patch::smooth).collect();
    let still = left(&weighted(&smooth, &values, &vec![1.0; n])?);
    let mut all: Vec<[f64; ALL]> = patches.iter().map(Patch::all).collect();
    // A ripple tells the way across it alone: what is not told stays near nothing.
    let unmoved = (still / (n - SMOOTH) as f64).sqrt() / USUAL_MOVE;
    for term in SMOOTH..ALL {
        all.push(std::array::from_fn(|k| if k == term { unmoved } else { 0.0 }));
        values.push(0.0);
    }
    let moved = weighted(&all, &values, &vec![1.0; values.len()])?;
    let [right, up, growth] = [0, 1, 2].map(|k| -moved.coefficients[SMOOTH + k]);
    let far = right.hypot(up) + growth.abs() > LEAST_MOVE;
    let seen = far && left(&moved) < (1.0 - EXPLAINED) * still;
    let u = (moved.covariance[(ALL - 1, ALL - 1)] * left(&moved) / (n - ALL) as f64).sqrt();
    let grew = growth.abs() > LEAST_MOVE.max(PLAIN * u);
    let growth = if grew { growth } else { 0.0 };
    let slope = patches.iter().find(|p| p.x == 0.0 && p.y == 0.0).map_or((0.0, 0.0), |p| p.slope);
    Some(seen.then_some(Move { growth, middle: right * slope.0 + up * slope.1 }))
}

fn patches(pattern: &[f64], change: &[f64], (width, height): (f64, f64)) -> Vec<Patch> {
    let half = 0.5 * width.hypot(height);
    let step = (width / COARSE as f64 / half, height / COARSE as f64 / half);
    let middle = (COARSE / 2) as f64;
    let at = |row: usize, column: usize| pattern[row * COARSE + column];
    let patch = |i: usize| {
        let (row, column) = (i / COARSE, i % COARSE);
        let across = |k: usize| at(row, k);
        let down = |k: usize| at(k, column);
        Patch {
            x: (column as f64 - middle) * step.0,
            y: (middle - row as f64) * step.1,
            slope: (slope(across, column) / step.0, -slope(down, row) / step.1),
            added: (-pattern[i]).exp2(),
            change: change[i],
        }
    };
    let known = |p: &Patch| [p.slope.0, p.slope.1, p.added, p.change].iter().all(|v| v.is_finite());
    (0..COARSE * COARSE).map(patch).filter(known).collect()
}

/// Slope at one of the places in a row, to the second order at its ends too.
fn slope(value: impl Fn(usize) -> f64, at: usize) -> f64 {
    let one_sided = |a: f64, b: f64, c: f64| (4.0 * b - 3.0 * a - c) / 2.0;
    match at {
        0 => one_sided(value(0), value(1), value(2)),
        _ if at + 1 == COARSE => -one_sided(value(at), value(at - 1), value(at - 2)),
        _ => (value(at + 1) - value(at - 1)) / 2.0,
    }
}

impl Patch {
    fn smooth(&self) -> [f64; SMOOTH] {
        let &Self { x, y, added, .. } = self;
        let r2 = x * x + y * y;
        let cubic = [1.0, x, y, x * x, x * y, y * y, x * x * x, x * x * y, x * y * y, y * y * y];
        let mut terms = [0.0; SMOOTH];
        terms[..cubic.len()].copy_from_slice(&cubic);
        terms[cubic.len()..].copy_from_slice(&[r2 * r2, r2 * r2 * r2, added]);
        terms
    }
    fn all(&self) -> [f64; ALL] {
        let (right, up) = self.slope;
        let mut terms = [0.0; ALL];
        terms[..SMOOTH].copy_from_slice(&self.smooth());
        terms[SMOOTH..].copy_from_slice(&[right, up, self.x * right + self.y * up]);
        terms
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const SIZE: (f64, f64) = (3600.0, 2400.0);
    /// To the first order the slope of a wall tells a growth of a few per cent so well.
    const WITHIN: f64 = 0.01;
    /// Stops of a wall with a slope and a ripple, behind a lens that falls off, at parts of a frame in
    /// which it is larger by a share and moved to the right, half diagonals.
    fn wall(growth: f64, right: f64, filter: impl Fn(f64, f64) -> f64) -> Vec<f64> {
        let half = 0.5 * SIZE.0.hypot(SIZE.1);
        let place =
            |i: usize, size: f64| (i as f64 - (COARSE / 2) as f64) * size / COARSE as f64 / half;
        let at = |i: usize| {
            let (x, y) = (place(i % COARSE, SIZE.0), -place(i / COARSE, SIZE.1));
            let (u, v) = ((x - right) / (1.0 + growth), y / (1.0 + growth));
            let light = 1.0 + 0.1 * u + 0.05 * (TAU * (0.9 * u + 0.4 * v)).sin();
            light.log2() - 0.8 * (x * x + y * y) - filter(x, y)
        };
        (0..COARSE * COARSE).map(at).collect()
    }

    /// Planted: 3 and 4 % larger or smaller as after focusing anew, 5 % of half the diagonal to the side.
    #[test]
    fn a_wall_that_grew_or_moved_is_told() {
        let glass = |x: f64, y: f64| 0.1 * (x * x + y * y) + 0.05 * x;
        let still = wall(0.0, 0.0, |_, _| 0.0);
        for (growth, right) in [(0.04, 0.0), (-0.03, 0.0), (0.0, 0.05), (0.03, -0.05)] {
            let Some(Some(moved)) = how_moved(&still, &wall(growth, right, glass), SIZE) else {
                panic!("{growth} {right}: nothing seen");
            };
            assert!((moved.growth - growth).abs() <= WITHIN, "{growth} {right}: {moved:?}");
            // What was to the left of the middle is in it now.
            let at = |u: f64| (1.0 + 0.1 * u + 0.05 * (TAU * 0.9 * u).sin()).log2();
            let darker = at(0.0) - at(-right / (1.0 + growth));
            assert!(
                (moved.middle - darker).abs() <= WITHIN,
                "{growth} {right}: {moved:?}, {darker}"
            );
        }
    }

    /// From infinity to life size the image goes twice as far from the lens and is a quarter as bright: the
    /// two stops of every table of extension factors (common practice, no source).
    #[test]
    fn an_image_at_twice_the_distance_is_two_stops_darker() {
        assert_eq!(Move { growth: 1.0, middle: 0.0 }.worth(), 2.0);
    }

    /// What filters do of themselves: glass in a slant, two polarisers near their cross, a soft edge.
    #[test]
    fn no_filter_moves_a_wall() {
        let still = wall(0.0, 0.0, |_, _| 0.0);
        let even = |_: f64, _: f64| 0.0;
        let slanted =
            |x: f64, y: f64| 0.6 * ((x - 0.3).powi(2) + y * y) + 0.1 * (x * x + y * y).powi(2);
        let saddle = |x: f64, y: f64| 0.8 * (x * x - y * y) + 0.4 * x * y;
        let cross = |x: f64, y: f64| (x * y).powi(2) * 1.5;
        let edge = |_: f64, y: f64| 0.5 * (1.0 + (3.0 * y).tanh());
        let filters: [&dyn Fn(f64, f64) -> f64; 5] = [&even, &slanted, &saddle, &cross, &edge];
        for (k, filter) in filters.into_iter().enumerate() {
            let moved = how_moved(&still, &wall(0.0, 0.0, filter), SIZE);
            assert_eq!(moved, Some(None), "{k}");
        }
    }
}
