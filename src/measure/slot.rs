//! A soft reflection at one edge of a slot holder: light that is strongest at one side of the frame
//! and fades inwards. Over the whole frame it has a part of order 2, but unlike a pair of polarisers
//! it is one-sided, so one of the two explains a map better.

use super::least_squares::weighted;
use super::map::{GREEN, RatioMap};

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
    let r2 = x * x + y * y;
    let (c2, s2) = (x * x - y * y, 2.0 * x * y);
    let (c3, s3) = (c2 * x - s2 * y, s2 * x + c2 * y);
    let (c4, s4) = (c2 * c2 - s2 * s2, 2.0 * c2 * s2);
    let (c5, s5) = (c4 * x - s4 * y, s4 * x + c4 * y);
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
    let rows: Vec<[f64; TERMS]> = places.iter().map(|p| terms(*p)).collect();
    let flat: Vec<f64> = rows.iter().flatten().copied().collect();
    let Some(free) = weighted(TERMS, &flat, &values, &vec![1.0; values.len()]) else {
        return false;
    };
    let scale = map.noise[GREEN].max(free.rms()).max(LEAST_SCALE);
    let Some(pair) = cost(&rows, &values, scale, unseen, None) else { return false };
    [Edge::Top, Edge::Bottom, Edge::Left, Edge::Right].into_iter().any(|edge| {
        REACHES.into_iter().any(|reach| {
            let extra: Vec<f64> = places.iter().map(|p| light(map, edge, reach, *p)).collect();
            cost(&rows, &values, scale, unseen, Some(&extra)).is_some_and(|c| c < pair + WORTH)
        })
    })
}

/// Squares of what one explanation leaves over, in units of the scale, with what it asks of the
/// light: orders 3 and 5 in both, orders 2 and 4 where they are not a pair's.
fn cost(
    rows: &[[f64; TERMS]],
    values: &[f64],
    scale: f64,
    unseen: f64,
    reflection: Option<&[f64]>,
) -> Option<f64> {
    let size = TERMS + usize::from(reflection.is_some());
    let held = if reflection.is_some() { PLAIN..TERMS } else { PLAIN + PAIR..TERMS };
    let mut flat = Vec::with_capacity(size * (rows.len() + held.len()));
    for (i, row) in rows.iter().enumerate() {
        flat.extend(row);
        flat.extend(reflection.map(|r| r[i]));
    }
    let (mut values, mut weights) = (values.to_vec(), vec![1.0 / (scale * scale); values.len()]);
    for k in held {
        flat.extend((0..size).map(|i| if i == k { 1.0 } else { 0.0 }));
        values.push(0.0);
        weights.push(1.0 / (unseen * unseen));
    }
    let fit = weighted(size, &flat, &values, &weights)?;
    // a reflection makes brighter, which is fewer stops
    let darker = reflection.is_some() && fit.coefficients[TERMS] >= 0.0;
    let sum = fit.residuals.iter().zip(&weights).map(|(r, w)| r * r * w).sum();
    (!darker).then_some(sum)
}
