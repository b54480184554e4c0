//! Straight edges of a slot holder: shade along a whole side of the frame.

use crate::measure::map::{GREEN, RatioMap};
use crate::numerics::robust;

/// Darkening beyond the smooth part that counts as shading, in stops (ours).
pub const ONSET_STOPS: f64 = 0.1;
/// A side counts as shaded when this share of its cells is (ours).
const ALONG: f64 = 0.8;
/// The shade falls to a third within this many cells inwards of its onset, or it is not hard (ours).
const HARD_CELLS: usize = 3;

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

fn shaded_side(map: &RatioMap, excess: &[Option<f64>], side: usize) -> Option<SideShade> {
    let deep = if side.is_multiple_of(2) { map.columns } else { map.rows } / 4;
    let profile: Vec<(f64, f64)> = (0..deep)
        .filter_map(|depth| {
            let values: Vec<f64> =
                line(map, side, depth).into_iter().filter_map(|i| excess[i]).collect();
            let limit = 0.5 * ONSET_STOPS.hypot(2.0 * map.noise[GREEN]);
            let dark = values.iter().filter(|v| **v > limit).count() as f64 / values.len() as f64;
            Some((robust::median(values)?, dark))
        })
        .collect();
    let shaded = profile.iter().take_while(|(s, _)| *s > ONSET_STOPS).count();
    if shaded == 0 || shaded == profile.len() || profile[0].1 < ALONG {
        return None;
    }
    let beyond = profile.get(shaded - 1 + HARD_CELLS)?.0;
    (beyond < ONSET_STOPS / 3.0)
        .then(|| profile.iter().take(shaded + HARD_CELLS).map(|(s, _)| s.max(0.0)).collect())
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
