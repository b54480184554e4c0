//! The one pass over all pixels, in integers that the compiler puts into vector registers.
//!
//! Lanes are a whole number of column periods, so that a lane always meets the same plane; the
//! lanes of a cell are told apart only once, when its band of rows is done.

use super::grid::PlaneCells;
use super::lattice::Lattice;

/// Sums of one cell and one row of the pattern, lane by lane.
#[derive(Clone, Copy)]
struct Lanes<const L: usize> {
    sum: [u32; L],
    squares: [u64; L],
    clipped: [u16; L],
}

impl<const L: usize> Lanes<L> {
    const ZERO: Self = Self { sum: [0; L], squares: [0; L], clipped: [0; L] };

    #[inline(always)]
    fn add(&mut self, lane: usize, value: u16, white: u16) {
        let v = u32::from(value);
        self.sum[lane] += v;
        self.squares[lane] += u64::from(v * v);
        self.clipped[lane] += u16::from(value >= white);
    }
}

/// Adds every value of the active area to its cell, and hands every finished row of cells on while
/// its pixels are still in the cache.
pub(super) fn add_up(
    lattice: &Lattice<'_>,
    planes: &mut [PlaneCells],
    then: impl FnMut(usize, &mut [PlaneCells]),
) {
    // Eight lanes fill the registers of the baseline processor; twelve serve periods of 3 and 6
    // (24 spill).
    match lattice.period_columns {
        2 => add_bands::<8>(lattice, planes, then),
        _ => add_bands::<12>(lattice, planes, then),
    }
}

fn add_bands<const L: usize>(
    lattice: &Lattice<'_>,
    planes: &mut [PlaneCells],
    mut then: impl FnMut(usize, &mut [PlaneCells]),
) {
    let (columns, period) = (lattice.columns, lattice.period_rows);
    let mut band = vec![Lanes::<L>::ZERO; columns * period];
    for band_row in 0..lattice.rows {
        band.fill(Lanes::ZERO);
        let first = band_row * lattice.side;
        for row in first..(first + lattice.side).min(lattice.height) {
            let phase = (row - first) % period;
            let cells = lattice.row(row).chunks(lattice.cell_width());
            for (lanes, cell) in band[phase * columns..][..columns].iter_mut().zip(cells) {
                add_row(lanes, cell, lattice.white);
            }
        }
        for (i, lanes) in band.iter().enumerate() {
            let (phase, column) = (i / columns, i % columns);
            fold(lattice, lanes, phase, band_row * columns + column, planes);
        }
        then(band_row, planes);
    }
}

/// One row of one cell. The sums of a chunk start at zero, which makes straight vector code of them;
/// sums that live through the loop stayed numbers one by one wherever the width of a cell is not
/// known beforehand.
#[inline(always)]
fn add_row<const L: usize>(lanes: &mut Lanes<L>, row: &[u16], white: u16) {
    let (chunks, rest) = row.as_chunks::<L>();
    for chunk in chunks {
        let mut local = Lanes::<L>::ZERO;
        for (lane, &value) in chunk.iter().enumerate() {
            local.add(lane, value, white);
        }
        for lane in 0..L {
            lanes.sum[lane] += local.sum[lane];
            lanes.squares[lane] += local.squares[lane];
            lanes.clipped[lane] += local.clipped[lane];
        }
    }
    for (lane, &value) in rest.iter().enumerate() {
        lanes.add(lane, value, white);
    }
}

fn fold<const L: usize>(
    lattice: &Lattice<'_>,
    lanes: &Lanes<L>,
    phase: usize,
    cell: usize,
    planes: &mut [PlaneCells],
) {
    let period = lattice.period_columns;
    let positions = &lattice.positions[phase * period..][..period];
    for (first, &plane) in positions.iter().enumerate() {
        let (mut sum, mut squares, mut clipped) = (0, 0, 0);
        for lane in (first..L).step_by(period) {
            sum += lanes.sum[lane];
            squares += lanes.squares[lane];
            clipped += lanes.clipped[lane];
        }
        let plane = &mut planes[plane];
        plane.sum[cell] += sum;
        plane.squares[cell] += squares;
        plane.clipped[cell] += clipped;
    }
}
