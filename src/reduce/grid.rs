//! The grid of cells that a frame is reduced to, and block means over it.

use crate::frame::cfa::{Cfa, Plane};
use crate::frame::{Area, BlackPattern, FrameInfo, Levels};
use fearless_simd::{Level, dispatch};
use serde::{Deserialize, Serialize};

/// Sums of one colour plane over all cells, row-major.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlaneCells {
    /// Which plane.
    pub plane: Plane,
    /// Pixels of this plane in each cell, rejected ones included.
    pub count: Vec<u32>,
    /// Sum of counts of the pixels that were kept, black not subtracted.
    pub sum: Vec<u32>,
    /// Sum of their squares.
    pub squares: Vec<u64>,
    /// Kept pixels at or above the white level (one left out in the second look counts there); all of
    /// a cell where the sensor saturates below it.
    pub clipped: Vec<u16>,
    /// Pixels left out of `sum` and `squares` in the second look.
    pub rejected: Vec<u16>,
}

impl PlaneCells {
    /// Pixels behind `sum` and `squares` of a cell.
    #[must_use]
    pub fn kept(&self, cell: usize) -> u32 {
        self.count[cell] - u32::from(self.rejected[cell])
    }
    /// Mean count of a cell, black not subtracted; `None` where no pixel was kept.
    #[must_use]
    pub fn mean(&self, cell: usize) -> Option<f64> {
        let kept = self.kept(cell);
        (kept > 0).then(|| f64::from(self.sum[cell]) / f64::from(kept))
    }
    /// Sample variance of a cell in counts squared (noise, non-uniformity and shading together);
    /// `None` below two pixels.
    #[must_use]
    pub fn variance(&self, cell: usize) -> Option<f64> {
        variance(self.kept(cell), self.sum[cell], self.squares[cell])
    }
    /// The same of every cell; NaN below two pixels.
    #[must_use]
    pub fn variances(&self) -> Vec<f64> {
        let kept = self.count.iter().zip(&self.rejected);
        let cells = kept.zip(&self.sum).zip(&self.squares);
        let mut variances = vec![0.0; self.count.len()];
        // Compiled for each kind of vectors: it is asked of every cell of every frame.
        dispatch!(Level::new(), _simd => {
            for (found, (((&count, &rejected), &sum), &squares)) in variances.iter_mut().zip(cells) {
                let kept = count - u32::from(rejected);
                let here = scatter(kept, sum, squares) / pairs(kept);
                *found = if kept < 2 { f64::NAN } else { here };
            }
        });
        variances
    }
    /// Mean counts of every cell, black not subtracted, and the kept pixels behind each; NaN where there
    /// are none.
    #[must_use]
    pub fn means(&self) -> (Vec<f64>, Vec<f64>) {
        let cells = self.count.iter().zip(&self.rejected).zip(&self.sum);
        let (mut means, mut pixels) = (vec![0.0; self.count.len()], vec![0.0; self.count.len()]);
        dispatch!(Level::new(), _simd => {
            for ((mean, pixels), ((&count, &rejected), &sum)) in
                means.iter_mut().zip(&mut pixels).zip(cells)
            {
                *pixels = f64::from(count.saturating_sub(u32::from(rejected)));
                // Nothing over nothing is NaN.
                *mean = f64::from(sum) / *pixels;
            }
        });
        (means, pixels)
    }
    /// Kept, summed and clipped pixels over some cells, each with a share of it that counts:
    /// (mean count, clipped share of the kept pixels). `None` where no pixel was kept.
    #[must_use]
    pub fn over(&self, cells: &[(usize, f64)]) -> Option<(f64, f64)> {
        let total = |of: &dyn Fn(usize) -> f64| -> f64 {
            cells.iter().map(|&(cell, share)| share * of(cell)).sum()
        };
        let kept = total(&|c| f64::from(self.kept(c)));
        let mean = total(&|c| f64::from(self.sum[c])) / kept;
        let clipped = total(&|c| f64::from(self.clipped[c])) / kept;
        (kept > 0.0).then_some((mean, clipped))
    }
}

#[inline]
fn variance(kept: u32, sum: u32, squares: u64) -> Option<f64> {
    (kept >= 2).then(|| scatter(kept, sum, squares) / pairs(kept))
}

/// n times the sum of squared deviations. In integers, since the two terms nearly cancel; at most
/// 144 x 144 pixels of 16 bits keep both below 2^61, which a signed number holds and vectors take.
#[inline(always)]
fn scatter(kept: u32, sum: u32, squares: u64) -> f64 {
    let (n, sum) = (u64::from(kept), u64::from(sum));
    n.wrapping_mul(squares).wrapping_sub(sum * sum).cast_signed() as f64
}

/// n (n - 1).
#[inline(always)]
fn pairs(kept: u32) -> f64 {
    let n = f64::from(kept);
    n * (n - 1.0)
}

/// Square cells over the active area; the last column and row may be narrower (partial cells).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CellGrid {
    /// Cells across, partial ones included.
    pub columns: usize,
    /// Cells down, partial ones included.
    pub rows: usize,
    /// Side in pixels, a whole number of CFA periods.
    pub side: usize,
    /// The active area in pixels (the grid starts at its origin).
    pub area: Area,
    /// The colour pattern from the area's origin; `None` for three-channel pictures.
    pub cfa: Option<Cfa>,
    /// One entry per plane that occurs, in the order red, green 1, green 2, blue.
    pub planes: Vec<PlaneCells>,
}

/// Side of a cell in pixels, and of one of a 6 x 6 pattern.
const SIDE: usize = 32;
const SIDE_OF_SIX: usize = 36;
/// Sides double until there are at most this many cells: 24 megapixels keep 32 x 32, a hundred
/// take 64 x 64.
const MOST_CELLS: usize = 25_600;
/// Sides double at most so often: the sum of 144 x 144 counts of 16 bits still fits 32 bits, and
/// their number 16.
const MOST_DOUBLINGS: u32 = 2;
const LARGEST: u32 = 144;
const _: () = assert!(SIDE_OF_SIX << MOST_DOUBLINGS == LARGEST as usize);
const _: () = assert!(LARGEST * LARGEST <= u32::MAX / u16::MAX as u32);
const _: () = assert!(LARGEST * LARGEST <= u16::MAX as u32);
/// The centre is this part of the width by this part of the height.
const CENTRE: f64 = 0.2;

impl CellGrid {
    /// Side in pixels, columns and rows of the cells over an area.
    #[must_use]
    pub fn geometry(area: Area, cfa: Option<&Cfa>) -> (usize, usize, usize) {
        let first = if cfa.is_some_and(|c| c.side() == 6) { SIDE_OF_SIX } else { SIDE };
        let at = |side: usize| (side, area.width.div_ceil(side), area.height.div_ceil(side));
        (0..MOST_DOUBLINGS)
            .map(|doublings| at(first << doublings))
            .find(|(_, columns, rows)| columns * rows <= MOST_CELLS)
            .unwrap_or_else(|| at(first << MOST_DOUBLINGS))
    }
    /// The sums of a plane, where it occurs.
    #[must_use]
    pub fn plane(&self, plane: Plane) -> Option<&PlaneCells> {
        self.planes.iter().find(|p| p.plane == plane)
    }
    /// The pixels of a cell, counted from the active area's origin.
    #[must_use]
    pub fn cell_area(&self, cell: usize) -> Area {
        let (left, top) = ((cell % self.columns) * self.side, (cell / self.columns) * self.side);
        let width = self.side.min(self.area.width - left);
        let height = self.side.min(self.area.height - top);
        Area { left, top, width, height }
    }
    /// The middle 20 % of the width by 20 % of the height: its cells, each with the share of its
    /// area that lies inside (a cell cut by the border counts in part, as if its light were even).
    #[must_use]
    pub fn centre_cells(&self) -> Vec<(usize, f64)> {
        let (from, to) = (0.5 - CENTRE / 2.0, 0.5 + CENTRE / 2.0);
        self.window((from, to), (from, to))
    }
    /// The cells of a window given in parts of the active area's width (left, right) and height
    /// (top, bottom), each with the share of its area that lies inside.
    #[must_use]
    pub fn window(&self, across: (f64, f64), down: (f64, f64)) -> Vec<(usize, f64)> {
        let x = shares(across, self.area.width, self.side);
        let y = shares(down, self.area.height, self.side);
        y.iter()
            .flat_map(|&(row, b)| x.iter().map(move |&(column, a)| (row, column, a * b)))
            .map(|(row, column, share)| (row * self.columns + column, share))
            .collect()
    }
    /// Mean counts of a plane over `columns` x `rows` equal blocks of the active area, row-major,
    /// black not subtracted; a cell cut by a border counts in part on either side. NaN where a
    /// block has no pixel; empty where the plane does not occur.
    #[must_use]
    pub fn block_means(&self, plane: Plane, columns: usize, rows: usize) -> Vec<f64> {
        let Some(cells) = self.plane(plane) else { return Vec::new() };
        let part = |i: usize, of: usize| (i as f64 / of as f64, (i + 1) as f64 / of as f64);
        (0..rows * columns)
            .map(|i| self.window(part(i % columns, columns), part(i / columns, rows)))
            .map(|window| cells.over(&window).map_or(f64::NAN, |(mean, _)| mean))
            .collect()
    }
}

/// Along one axis of `length` pixels: the cells that a stretch touches, each with the share of it
/// that lies inside.
fn shares(stretch: (f64, f64), length: usize, side: usize) -> Vec<(usize, f64)> {
    let (from, to) = (stretch.0 * length as f64, stretch.1 * length as f64);
    (0..length.div_ceil(side))
        .filter_map(|cell| {
            let (start, end) = (cell * side, ((cell + 1) * side).min(length));
            let inside = to.min(end as f64) - from.max(start as f64);
            (inside > 0.0).then(|| (cell, inside / (end - start) as f64))
        })
        .collect()
}

/// What remains of a frame after reduction; small enough that hundreds fit in memory.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FrameSummary {
    /// Everything known of the frame but its samples.
    pub info: FrameInfo,
    /// Black and white levels from the file.
    pub levels: Levels,
    /// Black level measured on the frame's own masked pixels, per CFA position of the active area.
    pub masked: Option<BlackPattern>,
    /// The sums.
    pub cells: CellGrid,
}
