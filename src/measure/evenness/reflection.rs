//! A soft reflection at one edge of a slot holder: light that is strongest at one side of the frame
//! and fades inwards. Over the whole frame it has a part of order 2, but unlike a pair of polarisers
//! it is one-sided, so one of the two explains a map better.

use crate::measure::map::{GREEN, RatioMap};
use crate::numerics::harmonics::Harmonics;
use crate::numerics::least_squares::{normal, projected, residuals};
use nalgebra::{DMatrix, DVector};
use std::ops::Range;

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
enum Edge {
    Top,
    Bottom,
    Left,
    Right,
}

/// Light of a reflection at an edge, 1 at the edge itself.
fn light(map: &RatioMap, edge: Edge, reach: f64, (x, y): (f64, f64)) -> f64 {
    let (half_width, half_height) = map.half_sides();
    let (u, v) = (0.5 + 0.5 * x / half_width, 0.5 + 0.5 * y / half_height);
    let inwards = match edge {
        Edge::Top => 1.0 - v,
        Edge::Bottom => v,
        Edge::Left => u,
        Edge::Right => 1.0 - u,
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

/// Whether a reflection at one edge explains the map about as well as a pair of polarisers does. What a
/// light's pattern may change between runs (`unseen`, stops) is allowed for in either.
pub(super) fn explains_it(map: &RatioMap, skip: &[bool], unseen: f64) -> bool {
    let mut places = Vec::new();
    let mut values = Vec::new();
    for (i, s) in map.green().iter().enumerate() {
        if let (Some(s), false) = (s, skip[i]) {
            places.push(map.position(i));
            values.push(*s);
        }
    }
    let Some(known) = Known::of(&places, &values, map.noise[GREEN], unseen) else { return false };
    let Some(pair) = known.as_pair() else { return false };
    [Edge::Top, Edge::Bottom, Edge::Left, Edge::Right].into_iter().any(|edge| {
        REACHES.into_iter().any(|reach| {
            let extra: Vec<f64> = places.iter().map(|p| light(map, edge, reach, *p)).collect();
            known.as_reflection(&extra).is_some_and(|c| c < pair + WORTH)
        })
    })
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

    /// The same for a reflection of this light, where orders 2 and 4 are not a pair's either.
    /// `None` where it would have to make darker.
    fn as_reflection(&self, light: &[f64]) -> Option<f64> {
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
        // a reflection makes brighter, which is fewer stops
        if solution[TERMS] >= 0.0 {
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
