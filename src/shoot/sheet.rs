//! A frame as a sheet of blocks, one cell high and a few wide: what damage in a file shows on. Files
//! hold pixels row by row, so that what is damaged begins and ends along a row.

use crate::levels::{LevelFrame, clipped_cells, from_14_bit};
use crate::numerics::robust::median;
use crate::reduce::grid::{FrameSummary, PlaneCells};

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
                .filter(|(p, _)| crate::levels::channel_of(p.plane) == channel)
                .map(|(_, plane)| plane)
                .collect();
            let size = Size { stride: cells.columns, rows, wide, columns };
            size.channel(&cell_levels, &planes, &clipped_cells(cells, channel), floor)
        });
        let black = median(crate::levels::own_black(summary).values.iter().copied());
        let white = f64::from(summary.levels.white) - black.unwrap_or(0.0);
        Self { columns, rows, channels, floor, white }
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
        let variance = |i: usize| {
            let of = planes.iter().map(|p| p.variance(i).unwrap_or(0.0));
            of.fold(f64::INFINITY, f64::min)
        };
        // Each is asked for twice, and takes two divisions a plane.
        let variances: Vec<f64> = (0..self.rows * self.stride).map(variance).collect();
        // Light's noise grows with the light; a median tells it wherever most of the frame is well.
        let per_count = median(self.of_cells(|i| variances[i] / lit[i])).unwrap_or(0.0);
        for row in 0..self.rows {
            for column in 0..self.columns {
                let first = row * self.stride + column * self.wide;
                let block = first..first + self.wide;
                let level = block.clone().map(|i| levels[i]).sum::<f64>() / self.wide as f64;
                let uneven = block.clone().map(|i| {
                    let usual = USUAL_TIMES * per_count * lit[i];
                    let step = self.slope(levels, row, i - row * self.stride);
                    let more = variances[i] - usual - SLOPE * step * step;
                    more / lit[i].powi(2)
                });
                // The least along the block: a speck or a fly is in one cell only.
                found.uneven.push(uneven.fold(f64::INFINITY, f64::min) as f32);
                found.level.push(level as f32);
                found.clipped.push(block.clone().any(|i| clipped[i] > CLIPPED));
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
    /// Step to the vertical neighbour that is nearer in level, and to the horizontal one.
    fn slope(&self, levels: &[f64], row: usize, column: usize) -> f64 {
        let i = row * self.stride + column;
        let nearer = |before: Option<usize>, after: Option<usize>| {
            let step =
                |to: Option<usize>| to.map_or(f64::INFINITY, |to| (levels[i] - levels[to]).abs());
            let least = step(before).min(step(after));
            if least.is_finite() { least } else { 0.0 }
        };
        let vertical = nearer(
            (row > 0).then(|| i - self.stride),
            (row + 1 < self.rows).then(|| i + self.stride),
        );
        let horizontal = nearer(
            (column > 0).then(|| i - 1),
            (column + 1 < self.columns * self.wide).then(|| i + 1),
        );
        // Both are moderate; the library's own hypot minds extremes and takes ten times as long.
        (vertical * vertical + horizontal * horizontal).sqrt()
    }
}
