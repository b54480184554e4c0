//! From the light of bare and filtered frames to the map, turned as the picture is viewed.

use super::light::{CellLayout, Detail, FrameLight, Side};
use super::{GREEN, RatioMap, noise, surface};

/// Light below this share of its frame's mean is taken as unknown (14 stops, more than a raw frame
/// holds).
const LEAST_LIGHT: f64 = 1.0 / 16_384.0;

/// Builds a map from frames of the bare light and frames through the filter.
///
/// Frames of a run are averaged, then the runs, so that bare runs on both sides of the filter
/// count alike. `None` without a bare and a filtered frame, or where the centre is unknown.
#[must_use]
pub fn build(
    layout: &CellLayout,
    bare: &[FrameLight],
    filtered: &[FrameLight],
    detail: Detail,
) -> Option<RatioMap> {
    let side = |frames| Side::of(layout, frames, detail);
    from_sides(layout, &side(bare)?, &side(filtered)?, detail)
}

/// The same from frames that are folded and averaged already.
pub(super) fn from_sides(
    layout: &CellLayout,
    bare: &Side,
    filtered: &Side,
    detail: Detail,
) -> Option<RatioMap> {
    let side = layout.folded_side(detail);
    let columns = layout.columns_of(side);
    let stops: [_; 3] =
        std::array::from_fn(|c| ratio(&bare.mean.channels[c], &filtered.mean.channels[c]));
    let change = |w: &[FrameLight]| ratio(&w[0].channels[GREEN], &w[1].channels[GREEN]);
    let stored = RatioMap {
        columns,
        rows: layout.rows_of(side),
        left_px: 0.0,
        top_px: 0.0,
        side_px: side as f64,
        width_px: layout.width_px as f64,
        height_px: layout.height_px as f64,
        orientation: 1,
        noise: noise::noise(columns, bare.scatter, filtered.scatter, &stops),
        stops,
        bare_changes: bare.runs.windows(2).map(change).collect(),
        surface_moved: surface::moved(columns, bare, filtered),
        filtered_changes: filtered.runs.windows(2).map(change).collect(),
    };
    viewed(stored, layout.orientation).centred()
}

/// -log2(filtered / bare), unknown where either is unknown or too dark for a camera to tell.
fn ratio(bare: &[f64], filtered: &[f64]) -> Vec<Option<f64>> {
    let known = |v: f64| v > LEAST_LIGHT;
    let stops = |(b, f): (&f64, &f64)| (known(*b) && known(*f)).then(|| -(f / b).log2());
    bare.iter().zip(filtered).map(stops).collect()
}

/// Turns a stored map as the picture is viewed (Exif orientation, CIPA DC-008, tag 0x0112).
fn viewed(stored: RatioMap, orientation: u8) -> RatioMap {
    let transposed = (5..=8).contains(&orientation);
    let from_right = matches!(orientation, 2 | 3 | 6 | 7);
    let from_below = matches!(orientation, 3 | 4 | 7 | 8);
    let turn = |a: usize, b: usize| if transposed { (b, a) } else { (a, b) };
    let (columns, rows) = turn(stored.columns, stored.rows);
    let source = |index: usize| {
        let (mut column, mut row) = (index % columns, index / columns);
        if from_right {
            column = columns - 1 - column;
        }
        if from_below {
            row = rows - 1 - row;
        }
        let (c, r) = if transposed { (row, column) } else { (column, row) };
        r * stored.columns + c
    };
    let order: Vec<usize> = (0..columns * rows).map(source).collect();
    let apply = |cells: &Vec<Option<f64>>| order.iter().map(|&i| cells[i]).collect::<Vec<_>>();
    let (width_px, height_px) = if transposed {
        (stored.height_px, stored.width_px)
    } else {
        (stored.width_px, stored.height_px)
    };
    let rest = |length: f64, cells: usize| length - cells as f64 * stored.side_px;
    RatioMap {
        columns,
        rows,
        left_px: if from_right { rest(width_px, columns) } else { 0.0 },
        top_px: if from_below { rest(height_px, rows) } else { 0.0 },
        side_px: stored.side_px,
        width_px,
        height_px,
        orientation,
        stops: std::array::from_fn(|c| apply(&stored.stops[c])),
        noise: stored.noise,
        bare_changes: stored.bare_changes.iter().map(apply).collect(),
        surface_moved: stored.surface_moved,
        filtered_changes: stored.filtered_changes.iter().map(apply).collect(),
    }
}
