//! What is no pair of polarisers, but has a part of order 2 or 4 over the frame all the same.
//!
//! A soft reflection at one edge of a slot holder: light that is strongest at one side of the frame
//! and fades inwards. Over the whole frame it has a part of order 2, but unlike a pair of polarisers
//! it is one-sided, so one of the two explains a map better.
//!
//! Strong absorbing glass that is tilted in its holder: the path through it grows with the angle to
//! its own normal (D0 (1 / sqrt(1 - sin^2 / n^2) - 1), Snell's law), and the tilt puts the middle of
//! that off the frame's.

use crate::measure::map::{GREEN, RatioMap};
use crate::numerics::harmonics::Harmonics;
use crate::numerics::least_squares::{normal, projected, residuals};
use nalgebra::{DMatrix, DVector};
use std::ops::Range;

/// Refractive index of the glass.
const INDEX: f64 = 1.5;
/// Tilts that are tried in degrees, in so many directions, behind lenses of these focal lengths over
/// the frame's half diagonal: 14 to 50 mm on 36 x 24 mm (ours). A holder tilts a filter by no more.
const TILTS: [f64; 4] = [1.5, 3.0, 4.5, 6.0];
const DIRECTIONS: usize = 24;
const LENSES: [f64; 6] = [0.65, 0.8, 0.95, 1.2, 1.6, 2.3];
/// What glass takes beyond what its even darkening tells, in stops of the darkening (ours): the
/// light may change by this much.
const SPARE: f64 = 0.1;
/// Reach of the light into the frame, one sigma, in parts of the side (ours).
const REACHES: [f64; 9] = [0.06, 0.08, 0.11, 0.14, 0.18, 0.23, 0.29, 0.36, 0.45];
/// The models are trusted to this many stops (ours).
const LEAST_SCALE: f64 = 0.003;
/// A pair has eight terms more that are free of what a light may change; by so much must it explain
/// the map better (chi-square of 8 degrees of freedom at 0.0005, from tables).
const WORTH: f64 = 27.87;
/// Terms that both explanations have free: 1; x, y and r^2 times them; r^2 to r^8.
const PLAIN: usize = 9;
/// Terms of a pair: orders 2 and 4 with the powers of r that oblique rays give them.
const PAIR: usize = 8;
/// Orders 3 and 5.
const ODD: usize = 4;
const TERMS: usize = PLAIN + PAIR + ODD;

#[derive(Clone, Copy, Debug, PartialEq)]
enum HolderSide {
    Top,
    Bottom,
    Left,
    Right,
}

/// Light of a reflection at an edge, 1 at the edge itself.
fn light(map: &RatioMap, edge: HolderSide, reach: f64, (x, y): (f64, f64)) -> f64 {
    let (half_width, half_height) = map.half_sides();
    let (u, v) = (0.5 + 0.5 * x / half_width, 0.5 + 0.5 * y / half_height);
    let inwards = match edge {
        HolderSide::Top => 1.0 - v,
        HolderSide::Bottom => v,
        HolderSide::Left => u,
        HolderSide::Right => 1.0 - u,
    };
    (-0.5 * (inwards / reach).powi(2)).exp()
}

fn terms((x, y): (f64, f64)) -> [f64; TERMS] {
    let Harmonics {
        r2, second: [c2, s2], third: [c3, s3], fourth: [c4, s4], fifth: [c5, s5], ..
    } = Harmonics::at(x, y);
    let (r4, r6) = (r2 * r2, r2 * r2 * r2);
    let (cr2, sr2) = (c2 * r2, s2 * r2);
    let plain = [1.0, x, y, x * r2, y * r2, r2, r4, r6, r6 * r2];
    let pair = [c2, s2, cr2, sr2, cr2 * r2, sr2 * r2, c4, s4];
    let odd = [c3, s3, c5, s5];
    std::array::from_fn(|i| match i {
        i if i < PLAIN => plain[i],
        i if i < PLAIN + PAIR => pair[i - PLAIN],
        i => odd[i - PLAIN - PAIR],
    })
}

/// Path through glass whose normal is tilted, in thicknesses, at a place in half diagonals behind a
/// lens of this focal length in half diagonals.
fn path((x, y): (f64, f64), focal: f64, tilt: f64, direction: f64) -> f64 {
    let (sin, cos) = tilt.sin_cos();
    let along = x * direction.cos() + y * direction.sin();
    let cosine = (along * sin + focal * cos) / (x * x + y * y + focal * focal).sqrt();
    1.0 / (1.0 - (1.0 - cosine * cosine) / (INDEX * INDEX)).sqrt()
}

/// Whether glass that is tilted explains the map about as well as a pair of polarisers does, with no
/// more glass than the even darkening from centre to corner (stops) allows. What a light's pattern
/// may change between runs (`unseen`, stops) is allowed for in either.
pub(super) fn is_tilted_glass(map: &RatioMap, skip: &[bool], unseen: f64, falloff: f64) -> bool {
    let (places, values) = known_cells(map, skip);
    let Some(known) = Known::of(&places, &values, map.noise[GREEN], unseen) else { return false };
    let Some(pair) = known.as_pair() else { return false };
    LENSES.into_iter().any(|focal| {
        let corner = path((1.0, 0.0), focal, 0.0, 0.0) - 1.0;
        let most = (falloff + SPARE) / corner;
        let turned = |k: usize| std::f64::consts::TAU * k as f64 / DIRECTIONS as f64;
        let tried = TILTS.into_iter().flat_map(|t| (0..DIRECTIONS).map(move |k| (t, turned(k))));
        most > 0.0
            && tried.into_iter().any(|(tilt, direction)| {
                let tilt = tilt.to_radians();
                let longer =
                    |p: &(f64, f64)| path(*p, focal, tilt, direction) - path(*p, focal, 0.0, 0.0);
                let extra: Vec<f64> = places.iter().map(longer).collect();
                known.as_extra(&extra, 0.0..most).is_some_and(|c| c < pair + WORTH)
            })
    })
}

fn known_cells(map: &RatioMap, skip: &[bool]) -> (Vec<(f64, f64)>, Vec<f64>) {
    let known = |(i, s): (usize, &Option<f64>)| Some((map.position(i), (*s).filter(|_| !skip[i])?));
    map.green().iter().enumerate().filter_map(known).unzip()
}

/// Whether a reflection at one edge explains the map about as well as a pair of polarisers does. What a
/// light's pattern may change between runs (`unseen`, stops) is allowed for in either.
pub(super) fn is_reflection(map: &RatioMap, skip: &[bool], unseen: f64) -> bool {
    let (places, values) = known_cells(map, skip);
    let Some(known) = Known::of(&places, &values, map.noise[GREEN], unseen) else { return false };
    let Some(pair) = known.as_pair() else { return false };
    [HolderSide::Top, HolderSide::Bottom, HolderSide::Left, HolderSide::Right].into_iter().any(
        |edge| {
            REACHES.into_iter().any(|reach| {
                let extra: Vec<f64> = places.iter().map(|p| light(map, edge, reach, *p)).collect();
                // a reflection makes brighter, which is fewer stops
                known.as_extra(&extra, f64::NEG_INFINITY..0.0).is_some_and(|c| c < pair + WORTH)
            })
        },
    )
}

/// Sums over the cells that every explanation shares.
struct Known<'a> {
    rows: Vec<[f64; TERMS]>,
    values: &'a [f64],
    normal: DMatrix<f64>,
    right: DVector<f64>,
    scale: f64,
    unseen: f64,
}

impl<'a> Known<'a> {
    fn of(places: &[(f64, f64)], values: &'a [f64], noise: f64, unseen: f64) -> Option<Self> {
        let rows: Vec<[f64; TERMS]> = places.iter().map(|p| terms(*p)).collect();
        let normal = normal(&rows, None);
        let right = projected(&rows, values.iter().copied());
        let free = normal.clone().cholesky()?.solve(&right);
        let left = residuals(&rows, values, free.as_slice());
        let rms = (squares(&left) / left.len() as f64).sqrt();
        let scale = noise.max(rms).max(LEAST_SCALE);
        Some(Self { rows, values, normal, right, scale, unseen })
    }

    /// Squares of what a pair leaves over, in units of the scale, with what it asks of the light in
    /// orders 3 and 5.
    fn as_pair(&self) -> Option<f64> {
        let held = PLAIN + PAIR..TERMS;
        let solution = self.held(&held).cholesky()?.solve(&self.right);
        Some(self.cost(&residuals(&self.rows, self.values, solution.as_slice()), &solution, held))
    }

    /// The same for something of this shape, where orders 2 and 4 are not a pair's either. `None`
    /// where there would have to be more or less of it than this, in stops.
    fn as_extra(&self, light: &[f64], amount: Range<f64>) -> Option<f64> {
        let held = PLAIN..TERMS;
        let mut normal = self.held(&held).resize(TERMS + 1, TERMS + 1, 0.0);
        let mut right = self.right.clone().resize_vertically(TERMS + 1, 0.0);
        let beside = projected(&self.rows, light.iter().copied());
        for (k, sum) in beside.iter().enumerate() {
            (normal[(TERMS, k)], normal[(k, TERMS)]) = (*sum, *sum);
        }
        normal[(TERMS, TERMS)] = squares(light);
        right[TERMS] = light.iter().zip(self.values).map(|(l, v)| l * v).sum();
        let solution = normal.cholesky()?.solve(&right);
        if !amount.contains(&solution[TERMS]) {
            return None;
        }
        let dark: Vec<f64> =
            self.values.iter().zip(light).map(|(v, l)| v - solution[TERMS] * l).collect();
        Some(self.cost(&residuals(&self.rows, &dark, solution.as_slice()), &solution, held))
    }

    /// Normal equations in which the held terms are as small as a light may make them.
    fn held(&self, held: &Range<usize>) -> DMatrix<f64> {
        let mut normal = self.normal.clone();
        for k in held.clone() {
            normal[(k, k)] += (self.scale / self.unseen).powi(2);
        }
        normal
    }

    fn cost(&self, left: &[f64], solution: &DVector<f64>, held: Range<usize>) -> f64 {
        let asked: f64 = held.map(|k| (solution[k] / self.unseen).powi(2)).sum();
        squares(left) / (self.scale * self.scale) + asked
    }
}

fn squares(values: &[f64]) -> f64 {
    values.iter().map(|v| v * v).sum()
}
