//! The one pass over all pixels, in integers that the compiler puts into vector registers.
//!
//! Lanes are a whole number of column periods, so that a lane always meets the same plane; the
//! lanes of a cell are told apart only once, when its rows are done. A cell is added up whole, so
//! that its sums stay in registers; since that takes memory in steps of whole rows, which no
//! processor foresees, the lines to come are touched in their own order before.

use super::fetch::{LINE, fetch};
use super::grid::PlaneCells;
use super::lattice::Lattice;
use super::narrow::{self, Sums};
use fearless_simd::{Level, Simd, dispatch};
use std::ops::Range;

/// Sums of a part of a cell and one row of the pattern, lane by lane.
#[derive(Clone, Copy)]
struct Lanes<const L: usize> {
    sum: [u32; L],
    /// Of the lower and of the upper sixteen bits of the squares: sums of 32 bits hold either, and
    /// wider ones would take twice the registers.
    lower: [u32; L],
    upper: [u32; L],
    clipped: [u16; L],
}

impl<const L: usize> Lanes<L> {
    const ZERO: Self = Self { sum: [0; L], lower: [0; L], upper: [0; L], clipped: [0; L] };

    #[inline(always)]
    fn add(&mut self, values: &[u16; L], white: u16) {
        for (lane, &value) in values.iter().enumerate() {
            let v = u32::from(value);
            let square = v * v;
            self.sum[lane] += v;
            self.lower[lane] += square & 0xffff;
            self.upper[lane] += square >> 16;
            self.clipped[lane] += u16::from(value >= white);
        }
    }
    fn squares(&self, lane: usize) -> u64 {
        u64::from(self.lower[lane]) + (u64::from(self.upper[lane]) << 16)
    }
}

/// Adds every value of the active area to its cell, and hands every finished row of cells on while
/// its pixels are still in the cache, with the columns of cells whose clipped pixels are not counted
/// yet ([`narrow::clipped`]): whoever lists pixels counts them on the way. `beside` is called after
/// every few values with their number.
pub(super) fn add_up(
    lattice: &Lattice<'_>,
    planes: &mut [PlaneCells],
    then: impl FnMut(&Lattice<'_>, usize, &mut [PlaneCells], &[usize]),
    beside: impl FnMut(usize),
) {
    add_up_by(Level::new(), lattice, planes, then, beside);
}

/// The same with some kind of vectors.
pub(super) fn add_up_by(
    level: Level,
    lattice: &Lattice<'_>,
    planes: &mut [PlaneCells],
    then: impl FnMut(&Lattice<'_>, usize, &mut [PlaneCells], &[usize]),
    beside: impl FnMut(usize),
) {
    // Cells are a whole number of these parts wide, and parts a whole number of lanes.
    match lattice.period_columns {
        _ if narrow::fits(lattice) => {
            dispatch!(level, simd => add_narrow_bands(simd, lattice, planes, then, beside));
        }
        2 => add_bands::<16, 32>(lattice, planes, then, beside),
        3 => add_bands::<12, 96>(lattice, planes, then, beside),
        _ => add_bands::<12, 36>(lattice, planes, then, beside),
    }
}

/// Those of few bits, with the vectors of this processor.
#[inline(always)]
fn add_narrow_bands<S: Simd>(
    simd: S,
    lattice: &Lattice<'_>,
    planes: &mut [PlaneCells],
    mut then: impl FnMut(&Lattice<'_>, usize, &mut [PlaneCells], &[usize]),
    mut beside: impl FnMut(usize),
) {
    let (mut ahead, mut buffer, mut sums) = (Ahead::of(lattice), Vec::new(), Vec::new());
    let mut uncounted = Vec::new();
    let at_once = AT_ONCE.next_multiple_of(lattice.period_rows);
    for band in 0..lattice.rows {
        let rows = lattice.rows_of_band(band);
        let lattice = &lattice.having(rows.clone(), 0..lattice.width, &mut buffer);
        uncounted.clear();
        sums.clear();
        sums.resize(lattice.columns, Sums::NONE);
        for first in rows.clone().step_by(at_once) {
            let rows = first..(first + at_once).min(rows.end);
            narrow::add(simd, lattice, &rows, &mut sums, &mut |values| {
                ahead.touch(values);
                beside(values);
            });
        }
        for (column, sums) in sums.iter().enumerate() {
            if sums.are_exact() {
                let cell = band * lattice.columns + column;
                for (plane, (sum, squares)) in planes.iter_mut().zip(sums.of_plane) {
                    plane.sum[cell] = sum;
                    plane.squares[cell] = squares;
                }
                if sums.clipped > 0 {
                    uncounted.push(column);
                }
            } else {
                add_whole(lattice, (band, column), planes);
            }
        }
        then(lattice, band, planes, &uncounted);
    }
}

/// Rows that are added up together.
const AT_ONCE: usize = 32;

/// One cell that the narrow pass has no sums of.
fn add_whole(lattice: &Lattice<'_>, place: (usize, usize), planes: &mut [PlaneCells]) {
    match lattice.period_columns {
        2 => add_cell::<16, 32>(lattice, place, planes, &mut |_| ()),
        3 => add_cell::<12, 96>(lattice, place, planes, &mut |_| ()),
        _ => add_cell::<12, 36>(lattice, place, planes, &mut |_| ()),
    }
}

fn add_bands<const L: usize, const PART: usize>(
    lattice: &Lattice<'_>,
    planes: &mut [PlaneCells],
    mut then: impl FnMut(&Lattice<'_>, usize, &mut [PlaneCells], &[usize]),
    mut beside: impl FnMut(usize),
) {
    let (mut ahead, mut buffer) = (Ahead::of(lattice), Vec::new());
    for band in 0..lattice.rows {
        let lattice = &lattice.having(lattice.rows_of_band(band), 0..lattice.width, &mut buffer);
        for column in 0..lattice.columns {
            add_cell::<L, PART>(lattice, (band, column), planes, &mut |values| {
                ahead.touch(values);
                beside(values);
            });
        }
        then(lattice, band, planes, &[]);
    }
}

/// One cell, whatever its values. `beside` is called with the number of values of each row of a part.
fn add_cell<const L: usize, const PART: usize>(
    lattice: &Lattice<'_>,
    (band, column): (usize, usize),
    planes: &mut [PlaneCells],
    beside: &mut impl FnMut(usize),
) {
    let cell = band * lattice.columns + column;
    let rows = lattice.rows_of_band(band);
    let Range { start: left, end: right } = lattice.columns_of(column);
    let whole = left + (right - left) / PART * PART;
    for part in (left..whole).step_by(PART) {
        for phase in 0..lattice.period_rows.min(rows.len()) {
            let mut lanes = Lanes::<L>::ZERO;
            for row in rows.clone().skip(phase).step_by(lattice.period_rows) {
                if let Some(values) = lattice.row(row)[part..].first_chunk::<PART>() {
                    values.as_chunks::<L>().0.iter().for_each(|v| lanes.add(v, lattice.white));
                }
                beside(PART);
            }
            fold(lattice, &lanes, phase, cell, planes);
        }
    }
    if whole < right {
        rest(lattice, (whole, right), rows.clone(), cell, planes);
        beside((right - whole) * rows.len());
    }
}

/// What is left over at the right edge, value by value.
fn rest(
    lattice: &Lattice<'_>,
    (left, right): (usize, usize),
    rows: Range<usize>,
    cell: usize,
    planes: &mut [PlaneCells],
) {
    for row in rows {
        for (x, &value) in (left..right).zip(&lattice.row(row)[left..right]) {
            let plane = &mut planes[lattice.plane_at(row, x)];
            plane.sum[cell] += u32::from(value);
            plane.squares[cell] += u64::from(value) * u64::from(value);
            plane.clipped[cell] += u16::from(value >= lattice.white);
        }
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
            squares += lanes.squares(lane);
            clipped += lanes.clipped[lane];
        }
        let plane = &mut planes[plane];
        plane.sum[cell] += sum;
        plane.squares[cell] += squares;
        plane.clipped[cell] += clipped;
    }
}

/// Asks for memory in its own order, as many rows before they are added up as are added up together:
/// by then they are in the second cache.
struct Ahead<'a> {
    level: Level,
    values: &'a [u16],
    next: usize,
}

impl<'a> Ahead<'a> {
    fn of(lattice: &Lattice<'a>) -> Self {
        let values = lattice.values();
        let mut ahead = Self { level: Level::new(), values, next: 0 };
        ahead.touch((AT_ONCE * lattice.stride()).min(values.len()));
        ahead
    }
    #[inline(always)]
    fn touch(&mut self, values: usize) {
        let end = self.next + values;
        let some = self.values.get(self.next..end).unwrap_or_default();
        some.as_chunks::<LINE>().0.iter().for_each(|line| fetch(self.level, &line[0]));
        self.next = end;
    }
}
