//! Levels above black: from sums of counts to mean light per cell, in counts; where a frame's centre
//! is, what is black, what is clipped.

use crate::frame::BlackPattern;
use crate::frame::cfa::{Cfa, Plane};
use crate::numerics::robust::median;
use crate::reduce::grid::{CellGrid, FrameSummary, PlaneCells};

/// Share of clipped pixels from which a cell, a block or a frame's centre is not used (ours).
pub const CLIPPED_SHARE: f64 = 0.001;
/// Standard uncertainty of the black level in counts at 14 bit, by where it comes from (ours).
pub const DOUBT_DARK: f64 = 0.1;
const DOUBT_MASKED: f64 = 0.1;
const DOUBT_TAG: f64 = 0.5;
/// Full scale to which those refer.
pub const FULL_SCALE_14_BIT: f64 = 16_383.0;

/// Counts at 14 bit as counts of a frame of another full scale.
#[must_use]
pub fn from_14_bit(counts: f64, summary: &FrameSummary) -> f64 {
    counts * f64::from(summary.levels.white) / FULL_SCALE_14_BIT
}

/// Where the black level of a frame comes from, best first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum BlackSource {
    /// Frames with the lens capped, same time and ISO.
    DarkFrames,
    /// The frame's own masked border.
    MaskedPixels,
    /// The file's tag or the camera table.
    Tag,
}

/// Mean light above black per cell of one plane.
#[derive(Clone, Debug, PartialEq)]
pub struct PlaneLevels {
    /// Which plane.
    pub plane: Plane,
    /// Mean counts above black per cell, row-major; negative values stay, NaN where no pixel is.
    pub level: Vec<f64>,
    /// Pixels that made each mean.
    pub pixels: Vec<f64>,
}

/// A frame as mean light above black.
#[derive(Clone, Debug, PartialEq)]
pub struct LevelFrame {
    /// Cells across.
    pub columns: usize,
    /// Cells down.
    pub rows: usize,
    /// Side of a cell in pixels.
    pub side: usize,
    /// Active width and height in pixels.
    pub size: (usize, usize),
    /// Per plane.
    pub planes: Vec<PlaneLevels>,
    /// Cells of the centre, each with the share of it that lies inside.
    pub centre_cells: Vec<(usize, f64)>,
    /// Where black came from.
    pub black: BlackSource,
    /// Standard uncertainty of the black level, counts.
    pub black_doubt: f64,
}

/// Mean of one plane over the frame's centre.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CentreMean {
    /// Counts above black.
    pub level: f64,
    /// Pixels that made it.
    pub pixels: f64,
}

/// Share of clipped pixels in the centre per plane, 0 to 1, in the order of the grid's planes.
#[must_use]
pub fn clipped_shares(cells: &CellGrid) -> Vec<(Plane, f64)> {
    let centre = cells.centre_cells();
    cells
        .planes
        .iter()
        .map(|p| {
            let (mut clipped, mut all) = (0.0, 0.0);
            for &(i, share) in &centre {
                clipped += share * f64::from(p.clipped[i]);
                all += share * f64::from(p.count[i]);
            }
            (p.plane, if all > 0.0 { clipped / all } else { 0.0 })
        })
        .collect()
}

/// Share of clipped pixels of one cell of a plane, 0 to 1.
#[must_use]
pub fn clipped_share(plane: &PlaneCells, cell: usize) -> f64 {
    match plane.clipped[cell] {
        // Nearly all cells: no division.
        0 => 0.0,
        clipped => f64::from(clipped) / f64::from(plane.count[cell]).max(1.0),
    }
}

/// Share of clipped pixels per cell of red (0), green (1) or blue (2), 0 to 1; of two greens the worse.
#[must_use]
pub fn clipped_cells(cells: &CellGrid, channel: usize) -> Vec<f64> {
    let mut worst = vec![0.0_f64; cells.columns * cells.rows];
    for plane in cells.planes.iter().filter(|p| p.plane.channel() == channel) {
        for (i, worst) in worst.iter_mut().enumerate() {
            *worst = worst.max(clipped_share(plane, i));
        }
    }
    worst
}

/// Counts above black at which a frame's pixels clip.
#[must_use]
pub fn full_scale(summary: &FrameSummary) -> f64 {
    let black = median(own_black(summary).values.iter().copied()).unwrap_or(0.0);
    f64::from(summary.levels.white) - black
}

/// The black level of a frame without dark frames: its masked border comes before the file's tag.
#[must_use]
pub fn own_black(summary: &FrameSummary) -> &BlackPattern {
    summary.masked.as_ref().unwrap_or(&summary.levels.black)
}

/// Black level of one plane in counts: the mean of the pattern over that plane's positions.
#[must_use]
pub fn plane_black(pattern: &BlackPattern, cfa: Option<&Cfa>, plane: Plane) -> f64 {
    let side = cfa.map_or(1, Cfa::side);
    let (rows, columns) = (lcm(side, pattern.rows), lcm(side, pattern.columns));
    let (mut sum, mut count) = (0.0, 0.0);
    for row in 0..rows {
        for column in 0..columns {
            if cfa.is_none_or(|c| c.plane(row, column) == plane) {
                sum += pattern.at(row, column);
                count += 1.0;
            }
        }
    }
    if count > 0.0 { sum / count } else { 0.0 }
}

fn lcm(a: usize, b: usize) -> usize {
    let gcd = |mut x: usize, mut y: usize| {
        while y != 0 {
            (x, y) = (y, x % y);
        }
        x
    };
    a / gcd(a, b).max(1) * b
}

/// Levels of a frame; `darks` are capped frames of the same time and ISO on the same grid,
/// subtracted cell by cell, possibly none.
#[must_use]
pub fn levels(summary: &FrameSummary, darks: &[&FrameSummary]) -> LevelFrame {
    let cells = &summary.cells;
    let (black, doubt) = if !darks.is_empty() {
        (BlackSource::DarkFrames, DOUBT_DARK)
    } else if summary.masked.is_some() {
        (BlackSource::MaskedPixels, DOUBT_MASKED)
    } else {
        (BlackSource::Tag, DOUBT_TAG)
    };
    let pattern = own_black(summary);
    let planes = cells
        .planes
        .iter()
        .enumerate()
        .map(|(p, plane)| {
            let flat = plane_black(pattern, cells.cfa.as_ref(), plane.plane);
            let (mut level, pixels) = plane.means();
            if darks.is_empty() {
                level.iter_mut().for_each(|mean| *mean -= flat);
            } else {
                let darks: Vec<Vec<f64>> =
                    darks.iter().map(|dark| dark.cells.planes[p].means().0).collect();
                for (i, mean) in level.iter_mut().enumerate() {
                    *mean -= darks.iter().map(|dark| dark[i]).sum::<f64>() / darks.len() as f64;
                }
            }
            PlaneLevels { plane: plane.plane, level, pixels }
        })
        .collect();
    LevelFrame {
        columns: cells.columns,
        rows: cells.rows,
        side: cells.side,
        size: (cells.area.width, cells.area.height),
        planes,
        centre_cells: cells.centre_cells(),
        black,
        black_doubt: from_14_bit(doubt, summary),
    }
}

impl LevelFrame {
    /// Takes so many counts off, which black had risen by when the frame was made.
    pub fn lower(&mut self, counts: f64) {
        let cells = self.planes.iter_mut().flat_map(|plane| &mut plane.level);
        cells.for_each(|level| *level -= counts);
    }

    /// Mean over the centre of one plane; `None` where the frame has no such plane.
    #[must_use]
    pub fn centre(&self, plane: Plane) -> Option<CentreMean> {
        let cells = self.planes.iter().find(|p| p.plane == plane)?;
        let (mut sum, mut pixels) = (0.0, 0.0);
        for &(i, share) in &self.centre_cells {
            let weight = share * cells.pixels[i];
            if weight > 0.0 {
                sum += weight * cells.level[i];
                pixels += weight;
            }
        }
        (pixels > 0.0).then(|| CentreMean { level: sum / pixels, pixels })
    }

    /// Centre means of red, green and blue; the greens of a Bayer mosaic averaged.
    #[must_use]
    pub fn centre_channels(&self) -> Option<[CentreMean; 3]> {
        let green = self.centre(Plane::Green1)?;
        let green = match self.centre(Plane::Green2) {
            Some(other) => CentreMean {
                level: (green.level + other.level) / 2.0,
                pixels: green.pixels + other.pixels,
            },
            None => green,
        };
        Some([self.centre(Plane::Red)?, green, self.centre(Plane::Blue)?])
    }

    /// Level per cell of red (0), green (1) or blue (2); the greens averaged.
    #[must_use]
    pub fn channel_cells(&self, channel: usize) -> Vec<f64> {
        let of = |plane| self.planes.iter().find(|p| p.plane == plane).map(|p| &p.level);
        let single = |plane| of(plane).cloned().unwrap_or_default();
        match channel {
            0 => single(Plane::Red),
            2 => single(Plane::Blue),
            _ => match (of(Plane::Green1), of(Plane::Green2)) {
                (Some(a), Some(b)) => a.iter().zip(b).map(|(x, y)| (x + y) / 2.0).collect(),
                _ => single(Plane::Green1),
            },
        }
    }

    /// Mean light of one channel over `across` x `down` equal blocks of the frame, row-major,
    /// cells counted where their middle lies.
    #[must_use]
    pub fn blocks(&self, channel: usize, across: usize, down: usize) -> Vec<f64> {
        self.means_of_blocks(&self.channel_cells(channel), across, down)
    }

    /// Means over blocks of one value per cell, weighted by pixels; NaN where nothing is known.
    #[must_use]
    pub fn means_of_blocks(&self, values: &[f64], across: usize, down: usize) -> Vec<f64> {
        let mut sums = vec![(0.0, 0.0); across * down];
        let block_of = |index: usize, length: usize, blocks: usize| {
            let start = index * self.side;
            let middle = (start + (start + self.side).min(length)) as f64 / 2.0 / length as f64;
            ((middle * blocks as f64) as usize).min(blocks - 1)
        };
        let block_across: Vec<usize> =
            (0..self.columns).map(|column| block_of(column, self.size.0, across)).collect();
        let pixels = &self.planes[0].pixels;
        // A frame may have no cells at all.
        let columns = self.columns.max(1);
        let rows = values.chunks(columns).zip(pixels.chunks(columns));
        for (row, (values, pixels)) in rows.enumerate() {
            let of_row = &mut sums[block_of(row, self.size.1, down) * across..][..across];
            for ((value, pixels), &x) in values.iter().zip(pixels).zip(&block_across) {
                if value.is_finite() && *pixels > 0.0 {
                    of_row[x].0 += value * pixels;
                    of_row[x].1 += pixels;
                }
            }
        }
        sums.into_iter().map(|(s, n)| if n > 0.0 { s / n } else { f64::NAN }).collect()
    }
}
