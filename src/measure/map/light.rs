//! Light of the frames of one state, folded to the map's cells and averaged.

use super::noise;
use rayon::prelude::*;

/// Cells across the frame in the fine map.
pub const FINE_COLUMNS: f64 = 64.0;
/// A folded cell counts as known from this covered share up.
const KNOWN_SHARE: f64 = 0.5;

/// Where the cells of a reduced frame lie, as stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CellLayout {
    /// Whole cells across.
    pub columns: usize,
    /// Whole cells down.
    pub rows: usize,
    /// Side of a cell in pixels.
    pub side_px: usize,
    /// Period of the colour pattern in pixels.
    pub period_px: usize,
    /// Width of the active area in pixels.
    pub width_px: usize,
    /// Height of the active area in pixels.
    pub height_px: usize,
    /// Exif orientation, 1 to 8.
    pub orientation: u8,
}

/// Average linear light above black per cell of one frame; NaN where unknown. The scale is free:
/// each frame is brought to its own centre.
#[derive(Clone, Debug, PartialEq)]
pub struct FrameLight {
    /// Number of the run that the frame belongs to.
    pub run: u32,
    /// Red, green, blue, each row-major over the layout's whole cells.
    pub channels: [Vec<f64>; 3],
}

/// How fine a map is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Detail {
    /// Cells of about 1/64 of the frame's width.
    Fine,
    /// The cells of the reduced frames as they are.
    Native,
}

/// Everything that a map needs of the frames of one state, bare or filtered.
#[derive(Clone, Debug)]
pub(super) struct Side {
    /// Means of the runs, in order of their number.
    pub runs: Vec<FrameLight>,
    /// Mean over the runs.
    pub mean: FrameLight,
    /// Standard uncertainty of one cell of the mean per channel, in stops; `None` without two frames
    /// of one run.
    pub scatter: [Option<f64>; 3],
}

impl Side {
    /// Folds and averages. `None` without a frame or a whole cell.
    pub fn of(layout: &CellLayout, frames: &[FrameLight], detail: Detail) -> Option<Self> {
        let side = layout.folded_side(detail);
        let columns = layout.columns_of(side);
        if columns == 0 || layout.rows_of(side) == 0 || frames.is_empty() {
            return None;
        }
        let folded: Vec<FrameLight> =
            frames.par_iter().map(|f| fold_frame(layout, f, side)).collect();
        let runs = run_means(&folded);
        let mean = mean_light(&runs);
        let scatter = std::array::from_fn(|c| noise::scatter(columns, &folded, c));
        Some(Self { runs, mean, scatter })
    }
}

impl CellLayout {
    /// Cells across at this side in pixels.
    pub(super) fn columns_of(&self, side: usize) -> usize {
        (self.columns * self.side_px).min(self.width_px) / side
    }
    /// Cells down at this side in pixels.
    pub(super) fn rows_of(&self, side: usize) -> usize {
        (self.rows * self.side_px).min(self.height_px) / side
    }
    /// Side of the map's cells: whole colour periods, at least 1/64 of the frame's width, never
    /// finer than what there is.
    pub(super) fn folded_side(&self, detail: Detail) -> usize {
        let period = self.period_px.max(1);
        let wanted = (self.width_px as f64 / FINE_COLUMNS).ceil() as usize;
        match detail {
            Detail::Native => self.side_px,
            Detail::Fine => self.side_px.max(wanted.div_ceil(period) * period),
        }
    }
}

fn fold_frame(layout: &CellLayout, frame: &FrameLight, side: usize) -> FrameLight {
    let channels = std::array::from_fn(|c| {
        let light = &frame.channels[c];
        if side == layout.side_px { light.clone() } else { fold(layout, light, side) }
    });
    FrameLight { run: frame.run, channels }
}

/// Light averaged over larger cells, each small cell by the area that it shares.
fn fold(layout: &CellLayout, light: &[f64], side: usize) -> Vec<f64> {
    let small = layout.side_px;
    let shares = |index: usize, limit: usize| -> Vec<(usize, f64)> {
        let (low, high) = (index * side, (index + 1) * side);
        let range = low / small..high.div_ceil(small).min(limit);
        range.map(|i| (i, (((i + 1) * small).min(high) - (i * small).max(low)) as f64)).collect()
    };
    let (columns, rows) = (layout.columns_of(side), layout.rows_of(side));
    let across: Vec<_> = (0..columns).map(|c| shares(c, layout.columns)).collect();
    let mut folded = Vec::with_capacity(columns * rows);
    for row in 0..rows {
        let down = shares(row, layout.rows);
        for cells in &across {
            let (mut sum, mut weight) = (0.0, 0.0);
            for &(r, v) in &down {
                for &(c, h) in cells {
                    let value = light[r * layout.columns + c];
                    if value.is_finite() {
                        sum += h * v * value;
                        weight += h * v;
                    }
                }
            }
            let known = weight >= KNOWN_SHARE * (side * side) as f64;
            folded.push(if known { sum / weight } else { f64::NAN });
        }
    }
    folded
}

/// Frames of a run averaged, each brought to its own mean first; runs in order of their number.
fn run_means(frames: &[FrameLight]) -> Vec<FrameLight> {
    let mut runs: Vec<u32> = frames.iter().map(|f| f.run).collect();
    runs.sort_unstable();
    runs.dedup();
    let members = |run| frames.iter().filter(move |f| f.run == run).cloned().collect::<Vec<_>>();
    runs.into_iter().map(|run| FrameLight { run, ..mean_light(&members(run)) }).collect()
}

fn mean_light(frames: &[FrameLight]) -> FrameLight {
    let channels = std::array::from_fn(|c| {
        let levels: Vec<f64> = frames.iter().map(|f| level(&f.channels[c])).collect();
        let cells = frames.first().map_or(0, |f| f.channels[c].len());
        let mean = |i: usize| {
            frames.iter().zip(&levels).map(|(f, l)| f.channels[c][i] / l).sum::<f64>()
                / frames.len() as f64
        };
        (0..cells).map(mean).collect()
    });
    FrameLight { run: frames.first().map_or(0, |f| f.run), channels }
}

/// Mean of the known light, the scale of a frame.
fn level(light: &[f64]) -> f64 {
    let known: Vec<f64> = light.iter().copied().filter(|v| v.is_finite()).collect();
    known.iter().sum::<f64>() / known.len() as f64
}
