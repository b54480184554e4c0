//! A frame as a sheet of blocks, one cell high and a few wide: what damage in a file shows on. Files
//! hold pixels row by row, so that what is damaged begins and ends along a row.

use crate::levels::{LevelFrame, clipped_cells, from_14_bit, full_scale};
use crate::numerics::robust::median;
use crate::reduce::grid::{FrameSummary, PlaneCells};
use std::ops::Range;

/// Blocks across, at most: fine enough for a tile of 256 pixels, coarse enough to cost nothing.
const MOST_ACROSS: usize = 48;
/// A level is compared as it stands below so many counts at 14 bit, and in parts of itself above
/// (ours).
const FLOOR_COUNTS: f64 = 12.0;
/// Variances within cells are let pass up to so many times the frame's own law (ours).
const USUAL_TIMES: f64 = 8.0;
/// What the slope of the light within a cell adds to its variance, in squares of the step to the
/// nearer neighbour: a twelfth of a straight slope's step, and as much again for its bend.
const SLOPE: f64 = 1.0 / 6.0;
/// Share of clipped pixels from which a cell tells no level.
const CLIPPED: f64 = 0.02;

/// One channel of a frame, block by block.
#[derive(Clone, Debug, PartialEq)]
pub struct Channel {
    /// Mean counts above black, row-major; NaN where there are no whole cells.
    pub level: Vec<f32>,
    /// Variance within the cells beyond what noise and slope explain, in parts of the squared level.
    pub uneven: Vec<f32>,
    /// Whether pixels of the block are clipped.
    pub clipped: Vec<bool>,
    /// Standard deviation of a block's level, counts.
    pub noise: f64,
}

/// Red, green and blue of a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// Blocks across.
    pub columns: usize,
    /// Blocks down, a cell each.
    pub rows: usize,
    /// Red, green, blue.
    pub channels: [Channel; 3],
    /// Level below which differences are taken in counts.
    pub floor: f64,
    /// Counts above black at which pixels clip.
    pub white: f64,
}

impl Sheet {
    /// The sheet of a frame.
    #[must_use]
    pub fn of(summary: &FrameSummary, levels: &LevelFrame) -> Self {
        let cells = &summary.cells;
        // Partial cells at the edges hold fewer pixels than their neighbours.
        let (across, rows) = (cells.area.width / cells.side, cells.area.height / cells.side);
        let wide = across.div_ceil(MOST_ACROSS).max(1);
        let columns = across / wide;
        let floor = from_14_bit(FLOOR_COUNTS, summary);
        let channels = std::array::from_fn(|channel| {
            let cell_levels = levels.channel_cells(channel);
            let planes: Vec<&PlaneCells> = levels
                .planes
                .iter()
                .zip(&cells.planes)
                .filter(|(p, _)| p.plane.channel() == channel)
                .map(|(_, plane)| plane)
                .collect();
            let size = Size { stride: cells.columns, rows, wide, columns };
            size.channel(&cell_levels, &planes, &clipped_cells(cells, channel), floor)
        });
        Self { columns, rows, channels, floor, white: full_scale(summary) }
    }
}

struct Size {
    /// Cells across the frame.
    stride: usize,
    rows: usize,
    /// Cells of a block.
    wide: usize,
    columns: usize,
}

impl Size {
    fn channel(
        &self,
        levels: &[f64],
        planes: &[&PlaneCells],
        clipped: &[f64],
        floor: f64,
    ) -> Channel {
        let blocks = self.columns * self.rows;
        let mut found = Channel {
            level: Vec::with_capacity(blocks),
            uneven: Vec::with_capacity(blocks),
            clipped: Vec::with_capacity(blocks),
            noise: f64::NAN,
        };
        // Each is asked for several times.
        let lit: Vec<f64> = levels.iter().map(|level| level.max(floor)).collect();
        // The least of the planes: an edge along a row is in all of them.
        let mut variances = vec![f64::INFINITY; levels.len()];
        for plane in planes {
            for (least, variance) in variances.iter_mut().zip(plane.variances()) {
                *least = least.min(if variance.is_nan() { 0.0 } else { variance });
            }
        }
        // Light's noise grows with the light; a median tells it wherever most of the frame is well.
        let per_count = median(self.of_cells(|i| variances[i] / lit[i])).unwrap_or(0.0);
        let mut steps = Steps::across(self.columns * self.wide);
        for row in 0..self.rows {
            let cells = self.cells_of(row);
            let (levels_of_row, clipped) = (&levels[cells.clone()], &clipped[cells.clone()]);
            let slopes = steps.slopes(self, levels, row);
            let of_cells = slopes.iter_mut().zip(&variances[cells.clone()]).zip(&lit[cells]);
            for ((step, variance), lit) in of_cells {
                let usual = USUAL_TIMES * per_count * lit;
                let more = variance - usual - SLOPE * *step * *step;
                *step = more / lit.powi(2);
            }
            let of_blocks = levels_of_row.chunks_exact(self.wide).zip(clipped.chunks(self.wide));
            for ((levels, clipped), uneven) in of_blocks.zip(slopes.chunks(self.wide)) {
                let level = levels.iter().sum::<f64>() / self.wide as f64;
                // The least along the block: a speck or a fly is in one cell only.
                found.uneven.push(uneven.iter().copied().fold(f64::INFINITY, f64::min) as f32);
                found.level.push(level as f32);
                found.clipped.push(clipped.iter().any(|clipped| *clipped > CLIPPED));
            }
        }
        let pixels: f64 =
            planes.iter().map(|p| f64::from(p.count.first().copied().unwrap_or(1))).sum();
        let typical = median(self.of_cells(|i| lit[i])).unwrap_or(floor);
        found.noise = (per_count * typical / (pixels * self.wide as f64).max(1.0)).sqrt();
        found
    }
    /// A value of every cell of the blocks.
    fn of_cells(&self, value: impl Fn(usize) -> f64) -> Vec<f64> {
        let across = self.columns * self.wide;
        let mut values = Vec::with_capacity(self.rows * across);
        for row in 0..self.rows {
            let first = row * self.stride;
            values.extend((first..first + across).map(&value));
        }
        values
    }
    /// The cells of a row of blocks.
    fn cells_of(&self, row: usize) -> Range<usize> {
        row * self.stride..row * self.stride + self.columns * self.wide
    }
}

/// Steps from the cells of a row to their neighbours.
struct Steps {
    /// No neighbour.
    none: Vec<f64>,
    /// The row between two that are none.
    padded: Vec<f64>,
    slopes: Vec<f64>,
}

impl Steps {
    fn across(cells: usize) -> Self {
        let none = vec![f64::INFINITY; cells];
        Self { padded: vec![f64::INFINITY; cells + 2], slopes: none.clone(), none }
    }
    /// Step to the vertical neighbour that is nearer in level, and to the horizontal one, of every cell
    /// of a row.
    fn slopes(&mut self, size: &Size, levels: &[f64], row: usize) -> &mut [f64] {
        let cells = self.none.len();
        let of = |row: usize| &levels[size.cells_of(row)];
        let above = row.checked_sub(1).map_or(&self.none[..], of);
        let below = if row + 1 < size.rows { of(row + 1) } else { &self.none };
        let here = of(row);
        self.padded[1..=cells].copy_from_slice(here);
        let nearer = |here: f64, before: f64, after: f64| {
            let least = (here - before).abs().min((here - after).abs());
            if least.is_finite() { least } else { 0.0 }
        };
        let (left, right) = (&self.padded[..cells], &self.padded[2..]);
        let vertical = here.iter().zip(above).zip(below);
        let horizontal = left.iter().zip(right);
        for (slope, (((here, above), below), (left, right))) in
            self.slopes.iter_mut().zip(vertical.zip(horizontal))
        {
            let vertical = nearer(*here, *above, *below);
            let horizontal = nearer(*here, *left, *right);
            // Both are moderate; the library's own hypot minds extremes and takes ten times as long.
            *slope = (vertical * vertical + horizontal * horizontal).sqrt();
        }
        &mut self.slopes
    }
}
