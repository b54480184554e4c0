//! Levels above black: from sums of counts to mean light per cell, in counts.

use crate::frame::BlackPattern;
use crate::frame::cfa::{Cfa, Plane};
use crate::reduce::grid::{CellGrid, FrameSummary, PlaneCells};

/// Standard uncertainty of the black level in counts at 14 bit, by where it comes from (ours).
const DOUBT_DARK: f64 = 0.1;
const DOUBT_MASKED: f64 = 0.1;
const DOUBT_TAG: f64 = 0.5;
/// Full scale to which those refer.
const FULL_SCALE_14_BIT: f64 = 16_383.0;

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

/// Cells that lie in the centre, the middle 20 % of the width by 20 % of the height of the active
/// area, with the share of each that does, above 0 to 1; row-major.
#[must_use]
pub fn centre_cells(
    columns: usize,
    rows: usize,
    side: usize,
    size: (usize, usize),
) -> Vec<(usize, f64)> {
    let overlap = |index: usize, length: usize| {
        let (low, high) = (0.4 * length as f64, 0.6 * length as f64);
        let start = (index * side) as f64;
        let end = ((index + 1) * side).min(length) as f64;
        ((end.min(high) - start.max(low)).max(0.0)) / (end - start).max(1.0)
    };
    let within = |count: usize, length: usize| -> Vec<(usize, f64)> {
        (0..count).map(|i| (i, overlap(i, length))).filter(|(_, share)| *share > 0.0).collect()
    };
    let (across, down) = (within(columns, size.0), within(rows, size.1));
    let cell = |&(row, down): &(usize, f64), &(column, across): &(usize, f64)| {
        (row * columns + column, across * down)
    };
    down.iter().flat_map(|row| across.iter().map(move |column| cell(row, column))).collect()
}

/// Share of clipped pixels in the centre per plane, 0 to 1, in the order of the grid's planes.
#[must_use]
pub fn clipped_shares(cells: &CellGrid) -> Vec<(Plane, f64)> {
    let area = cells.area;
    let centre = centre_cells(cells.columns, cells.rows, cells.side, (area.width, area.height));
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

/// Black level of one plane: the mean of the pattern over that plane's positions.
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

/// Mean counts of the kept pixels of one cell, black still in.
fn mean_counts(cells: &PlaneCells, index: usize) -> (f64, f64) {
    let kept = f64::from(cells.count[index]) - f64::from(cells.rejected[index]);
    if kept > 0.0 { (f64::from(cells.sum[index]) / kept, kept) } else { (f64::NAN, 0.0) }
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
    let pattern = summary.masked.as_ref().unwrap_or(&summary.levels.black);
    let planes = cells
        .planes
        .iter()
        .enumerate()
        .map(|(p, plane)| {
            let flat = plane_black(pattern, cells.cfa.as_ref(), plane.plane);
            let (level, pixels) = (0..plane.sum.len())
                .map(|i| {
                    let (mean, kept) = mean_counts(plane, i);
                    let black = if darks.is_empty() { flat } else { dark_cell(darks, p, i) };
                    (mean - black, kept)
                })
                .unzip();
            PlaneLevels { plane: plane.plane, level, pixels }
        })
        .collect();
    LevelFrame {
        columns: cells.columns,
        rows: cells.rows,
        side: cells.side,
        size: (cells.area.width, cells.area.height),
        planes,
        black,
        black_doubt: doubt * f64::from(summary.levels.white) / FULL_SCALE_14_BIT,
    }
}

fn dark_cell(darks: &[&FrameSummary], plane: usize, index: usize) -> f64 {
    let means = darks.iter().map(|d| mean_counts(&d.cells.planes[plane], index).0);
    means.sum::<f64>() / darks.len() as f64
}

impl LevelFrame {
    /// Cells of the centre with their shares; see [`centre_cells`].
    #[must_use]
    pub fn centre_cells(&self) -> Vec<(usize, f64)> {
        centre_cells(self.columns, self.rows, self.side, self.size)
    }

    /// Mean over the centre of one plane; `None` where the frame has no such plane.
    #[must_use]
    pub fn centre(&self, plane: Plane) -> Option<CentreMean> {
        let cells = self.planes.iter().find(|p| p.plane == plane)?;
        let (mut sum, mut pixels) = (0.0, 0.0);
        for (i, share) in self.centre_cells() {
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
        let cells = self.channel_cells(channel);
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
        let rows = cells.chunks(columns).zip(pixels.chunks(columns));
        for (row, (levels, pixels)) in rows.enumerate() {
            let of_row = &mut sums[block_of(row, self.size.1, down) * across..][..across];
            for ((level, pixels), &x) in levels.iter().zip(pixels).zip(&block_across) {
                if level.is_finite() && *pixels > 0.0 {
                    of_row[x].0 += level * pixels;
                    of_row[x].1 += pixels;
                }
            }
        }
        sums.into_iter().map(|(s, n)| if n > 0.0 { s / n } else { f64::NAN }).collect()
    }
}
