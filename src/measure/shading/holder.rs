//! Straight edges of a slot holder: shade along a whole side of the frame.

use crate::measure::map::{GREEN, RatioMap};
use crate::numerics::robust;

/// Darkening beyond the smooth part that counts as shading, in stops (ours).
pub const ONSET_STOPS: f64 = 0.1;
/// A side counts as shaded when this share of its cells is (ours).
const ALONG: f64 = 0.8;
/// The shade falls to a third within this many cells inwards of its onset, or it is not hard (ours).
const HARD_CELLS: usize = 3;

/// A side darkens hard within so many cells,
const WITHIN: usize = 2;
/// but for this share of its cells (ours).
const ALL_BUT: f64 = 0.25;

/// Steps towards a steep side are this long, half diagonals, and so many beside it are spared with it
/// (ours).
const STRIDE: f64 = 0.026;
const MARGIN: usize = 3;
/// Steps over which the smooth part inwards of a side is followed.
const INNER: usize = 3;
/// A steep step is so many times what is usual there, and so many stops, with so much of the noise of a
/// cell beside them, which a line has less of (ours).
const STEEPER: f64 = 5.0;
const LEAST_STEP: f64 = 0.012;
const MOST_NOISES: f64 = 0.5;
/// A steep side takes so many stops at the frame's edge (ours).
const DEEP: f64 = 0.12;

/// One shaded side: mean shade of each line of cells from the frame's edge inwards, in stops.
pub(super) type SideShade = Vec<f64>;

/// Right, top, left, bottom.
pub(super) fn sides(map: &RatioMap, excess: &[Option<f64>]) -> [Option<SideShade>; 4] {
    std::array::from_fn(|side| shaded_side(map, excess, side))
}

/// Cells of the line number `depth` from a side.
fn line(map: &RatioMap, side: usize, depth: usize) -> Vec<usize> {
    let (columns, rows) = (map.columns, map.rows);
    match side {
        0 => (0..rows).map(|r| r * columns + columns - 1 - depth).collect(),
        1 => (0..columns).map(|c| depth * columns + c).collect(),
        2 => (0..rows).map(|r| r * columns + depth).collect(),
        _ => (0..columns).map(|c| (rows - 1 - depth) * columns + c).collect(),
    }
}

/// Median of the known cells of each line from a side inwards, with the share of them that is dark; `None`
/// where no line farther out is known either. The opening's own holder reaches no farther than a third of
/// the frame (ours).
fn profile(map: &RatioMap, cells: &[Option<f64>], side: usize) -> Vec<Option<(f64, f64)>> {
    let deep = if side.is_multiple_of(2) { map.columns } else { map.rows } / 3;
    let limit = 0.5 * ONSET_STOPS.hypot(2.0 * map.noise[GREEN]);
    let of = |depth: usize| {
        let known = line(map, side, depth).into_iter().filter_map(|i| cells[i]);
        let values: Vec<f64> = known.collect();
        let dark = values.iter().filter(|v| **v > limit).count() as f64 / values.len() as f64;
        Some((robust::median(values)?, dark))
    };
    let mut lines: Vec<Option<(f64, f64)>> = (0..deep).map(of).collect();
    lines.truncate(lines.iter().rposition(Option::is_some).map_or(0, |last| last + 1));
    let first = lines.iter().position(Option::is_some).unwrap_or(0);
    // An unknown line between known ones tells as little as is told by the next one farther in.
    for depth in (first..lines.len()).rev() {
        lines[depth] = lines[depth].or_else(|| lines[depth + 1]);
    }
    lines
}

fn shaded_side(map: &RatioMap, excess: &[Option<f64>], side: usize) -> Option<SideShade> {
    let profile = profile(map, excess, side);
    // Lines at the frame's edge in which no light is left are as dark as the first that shows some.
    let first = profile.iter().flatten().next()?;
    let stops = || profile.iter().map(|line| line.unwrap_or(*first).0);
    let shaded = stops().take_while(|s| *s > ONSET_STOPS).count();
    if shaded == 0 || shaded == profile.len() || first.1 < ALONG {
        return None;
    }
    let beyond = stops().nth(shaded - 1 + HARD_CELLS)?;
    (beyond < ONSET_STOPS / 3.0)
        .then(|| stops().take(shaded + HARD_CELLS).map(|s| s.max(0.0)).collect())
}

/// Cells of whole sides that a holder may shade: lines that are darker towards the frame's edge by steep
/// steps, all along, where the lines inwards of them are smooth.
pub(super) fn steep_sides(map: &RatioMap) -> Vec<usize> {
    let cells = |side: usize| (0..steep_lines(map, side)).flat_map(move |d| line(map, side, d));
    (0..4).flat_map(cells).collect()
}

/// How many lines of a side those are.
fn steep_lines(map: &RatioMap, side: usize) -> usize {
    let profile = profile(map, map.green(), side);
    let stride = ((STRIDE / map.cell()).round() as usize).max(1);
    let at = |d: usize| profile[d].map_or(f64::INFINITY, |line| line.0);
    let stops: Vec<f64> = (0..profile.len()).step_by(stride).map(at).collect();
    let Some(inner) = stops.len().checked_sub(1 + INNER) else { return 0 };
    let usual = (stops[inner] - stops[inner + INNER]).abs() / INNER as f64;
    if !usual.is_finite() {
        return 0;
    }
    let least = (STEEPER * usual).max(LEAST_STEP.hypot(MOST_NOISES * map.noise[GREEN]));
    let Some(onset) = (0..inner).rev().find(|&d| stops[d] - stops[d + 1] > least) else {
        return 0;
    };
    let rise = |d: usize| stops[d] - stops[onset + 1];
    let darker = (0..onset).all(|d| rise(d) >= rise(d + 1) - least || rise(d) > DEEP);
    if !darker || rise(0) < DEEP { 0 } else { (onset + 1 + MARGIN) * stride }
}

/// By how many stops more the lines along a side darken within a few cells than within the next few, all
/// along the side: a pair of polarisers darkens each place of a side by another law.
pub(super) fn hardest_side(map: &RatioMap) -> f64 {
    let cells = map.green();
    let of = |side: usize| {
        let all = if side.is_multiple_of(2) { map.columns } else { map.rows };
        let deep = (all / 3).min(all.saturating_sub(2 * WITHIN));
        let lines: Vec<Vec<usize>> =
            (0..(deep + 2 * WITHIN).min(all)).map(|depth| line(map, side, depth)).collect();
        let at = |depth: usize| {
            let [outer, middle, inner] = [0, 1, 2].map(|k| &lines[depth + k * WITHIN]);
            let harder = |k: usize| {
                let (outer, middle, inner) =
                    (cells[outer[k]]?, cells[middle[k]]?, cells[inner[k]]?);
                let darker = outer - middle;
                Some(darker.min(darker - (middle - inner)))
            };
            let known: Vec<f64> = (0..outer.len()).filter_map(harder).collect();
            if 2 * known.len() < outer.len() { None } else { robust::quantile(known, ALL_BUT) }
        };
        (0..deep).filter_map(at).fold(0.0, f64::max)
    };
    (0..4).map(of).fold(0.0, f64::max)
}

/// The shade of the holder's sides at a point, in stops: the profile interpolated between lines.
pub(super) fn shade(sides: &[Option<SideShade>; 4], map: &RatioMap, x: f64, y: f64) -> f64 {
    let half = map.half_diagonal_px();
    let left = (x * half + map.width_px / 2.0 - map.left_px) / map.side_px;
    let top = (map.height_px / 2.0 - y * half - map.top_px) / map.side_px;
    let depths = [map.columns as f64 - left, top, left, map.rows as f64 - top];
    let of = |(side, depth): (&Option<SideShade>, f64)| {
        let profile = side.as_ref()?;
        let place = (depth - 0.5).max(0.0);
        let (low, share) = (place.floor() as usize, place.fract());
        let value = |k: usize| profile.get(k).copied().unwrap_or(0.0);
        Some(value(low) * (1.0 - share) + value(low + 1) * share)
    };
    sides.iter().zip(depths).filter_map(of).fold(0.0, f64::max)
}
