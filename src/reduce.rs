//! Frame to grid of cells: the only module that loops over pixels for measuring.
//!
//! One pass in integers adds up counts, squares and clipped pixels per cell and colour plane.
//! A second look at cells that are noisier than the frame's own noise law leaves out hot and dead
//! pixels, since sums cannot be trimmed afterwards. Where the sensor saturates below the white level
//! that the file tells, cells count as clipped.

pub mod grid;
mod fetch;
mod lattice;
mod narrow;
mod kernel;
mod limits;
mod noise_law;
mod outside;
mod quick_look;
mod second_look;
mod masked;
mod plateau;
pub mod reference;

use crate::frame::Frame;
use grid::{CellGrid, FrameSummary, PlaneCells};
use lattice::Lattice;
use noise_law::NoiseLaw;

/// Reduces a decoded frame to sums over cells.
///
/// An active area that reaches beyond the stored samples is cut to them.
#[must_use]
pub fn reduce(frame: &Frame) -> FrameSummary {
    reduce_beside(frame, |_| ())
}

/// The same; `beside` is called some hundred thousand times on the way, each time with the number
/// of values that were added up since: a little other work done there costs less than by itself,
/// where it leaves the processor's units for sums idle.
#[must_use]
pub fn reduce_beside(frame: &Frame, beside: impl FnMut(usize)) -> FrameSummary {
    let lattice = Lattice::of(frame);
    let mut planes = lattice.empty_planes();
    let laws = NoiseLaw::of_planes(&lattice);
    let mut scratch = second_look::Scratch::of(&lattice);
    let then =
        |lattice: &Lattice<'_>, row: usize, planes: &mut [PlaneCells], uncounted: &[usize]| {
            second_look::leave_out(lattice, &laws, row, planes, uncounted, &mut scratch);
        };
    kernel::add_up(&lattice, &mut planes, then, beside);
    summary(frame, &lattice, planes)
}

fn summary(frame: &Frame, lattice: &Lattice<'_>, mut planes: Vec<PlaneCells>) -> FrameSummary {
    plateau::clip(&mut planes, &frame.levels, frame.info.origin);
    FrameSummary {
        info: frame.info.clone(),
        levels: frame.levels.clone(),
        masked: masked::black(frame),
        cells: CellGrid {
            columns: lattice.columns,
            rows: lattice.rows,
            side: lattice.side,
            area: lattice.area,
            cfa: lattice.cfa.cloned(),
            planes,
        },
    }
}

#[cfg(test)]
mod tests;
