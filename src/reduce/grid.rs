//! The grid of cells that a frame is reduced to, and block means over it.

use crate::frame::cfa::{Cfa, Plane};
use crate::frame::{Area, BlackPattern, FrameInfo, Levels};
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
    /// Pixels at or above the white level.
    pub clipped: Vec<u16>,
    /// Pixels left out of `sum` and `squares` in the second look.
    pub rejected: Vec<u16>,
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
