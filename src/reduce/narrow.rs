//! The pass over cells whose values have fourteen bits at most, which nearly all have: vectors of sixteen values, as wide as the processor's registers allow.
//!
//! Four values of fourteen bits fit sixteen bits, and sixteen of their squares 32; after so many they
//! are widened.

use super::lattice::{LANES, Lattice, MOST_PLANES};
use fearless_simd::prelude::*;
use fearless_simd::{u16x16, u32x8};
use std::ops::Range;

/// Counts below this have fourteen bits.
const FOURTEEN_BITS: u16 = 1 << 14;
const LARGEST: u64 = FOURTEEN_BITS as u64 - 1;
/// Rows whose values fit sixteen bits together.
const ROWS: usize = 4;
const _: () = assert!(ROWS as u64 * LARGEST <= u16::MAX as u64);
/// Squares of fourteen bits that are added up in 32: those of two vectors, half by half.
const SQUARES: usize = 2 * 2 * ROWS;
const _: () = assert!(SQUARES as u64 * LARGEST * LARGEST <= u32::MAX as u64);
/// Rows whose squares fit 32 bits column by column.
const SQUARED_ROWS: usize = SQUARES;

/// Whether all counts up to white have fourteen bits.
pub(super) fn fits(white: u16) -> bool {
    (1..=FOURTEEN_BITS).contains(&white)
}

/// Sum, and sum of squares, of every plane of a cell.
#[derive(Clone, Copy)]
pub(super) struct Sums {
    pub(super) of_plane: [(u32, u64); MOST_PLANES],
    /// The largest of the values that were clipped; otherwise zero.
    pub(super) clipped: u16,
}

impl Sums {
    pub(super) const NONE: Self = Self { of_plane: [(0, 0); MOST_PLANES], clipped: 0 };

    /// Adds those of the columns of a period.
    #[inline(always)]
    fn add(&mut self, planes: &[usize], columns: impl AsRef<[(u32, u64)]>, clipped: u16) {
        self.clipped = self.clipped.max(clipped);
        for (plane, (sum, squares)) in planes.iter().zip(columns.as_ref()) {
            let of_plane = &mut self.of_plane[plane % MOST_PLANES];
            of_plane.0 += sum;
            of_plane.1 += squares;
        }
    }

    /// Whether no value had too many bits, and [`clipped`] can count those that were clipped.
    pub(super) fn are_exact(&self, lattice: &Lattice<'_>) -> bool {
        self.clipped == 0 || self.clipped < FOURTEEN_BITS && lattice.period_columns == 2
    }
}

/// Adds some rows of a cell: for every set of rows in which the planes lie alike, in the order of
/// [`Lattice::alike`], which of them. `beside` is called with the number of values of a few rows of a
/// part.
#[inline(always)]
pub(super) fn add<S: Simd>(
    simd: S,
    lattice: &Lattice<'_>,
    columns: Range<usize>,
    rows: &[Vec<usize>],
    sums: &mut Sums,
    beside: &mut impl FnMut(usize),
) {
    match lattice.period_columns {
        2 => add_by_two::<S, 32, 2>(simd, lattice, columns, rows, sums, beside),
        3 => add_by_many::<S, 3, 48, 3>(simd, lattice, columns, rows, sums, beside),
        _ => add_by_many::<S, 6, 36, 3>(simd, lattice, columns, rows, sums, beside),
    }
}

/// Cells are parts of `PART` values wide, which `N` vectors hold.
#[inline(always)]
fn add_by_two<S: Simd, const PART: usize, const N: usize>(
    simd: S,
    lattice: &Lattice<'_>,
    columns: Range<usize>,
    rows: &[Vec<usize>],
    sums: &mut Sums,
    beside: &mut impl FnMut(usize),
) {
    for left in columns.clone().step_by(PART) {
        let part = left..(left + PART).min(columns.end);
        for (phases, rows) in lattice.alike.iter().zip(rows) {
            let positions = &lattice.positions[phases[0] * 2..][..2];
            for rows in rows.chunks(ROWS) {
                let (all, clipped) = add_rows::<S, PART, N>(simd, lattice, &part, rows);
                sums.add(positions, by_two(all), clipped);
                beside(part.len() * rows.len());
            }
        }
    }
}

/// The same of a longer period, whose columns take longer to tell apart.
#[inline(always)]
fn add_by_many<S: Simd, const PERIOD: usize, const PART: usize, const N: usize>(
    simd: S,
    lattice: &Lattice<'_>,
    columns: Range<usize>,
    rows: &[Vec<usize>],
    sums: &mut Sums,
    beside: &mut impl FnMut(usize),
) {
    for left in columns.clone().step_by(PART) {
        let part = left..(left + PART).min(columns.end);
        for (phases, rows) in lattice.alike.iter().zip(rows) {
            let positions = &lattice.positions[phases[0] * PERIOD..][..PERIOD];
            for rows in rows.chunks(SQUARED_ROWS) {
                let mut many = Many::<N>::NONE;
                for rows in rows.chunks(ROWS) {
                    let (all, clipped) = add_rows::<S, PART, N>(simd, lattice, &part, rows);
                    sums.clipped = sums.clipped.max(clipped);
                    many.add(all);
                    beside(part.len() * rows.len());
                }
                sums.add(positions, many.by_column::<PERIOD>(), 0);
            }
        }
    }
}

/// Clipped values of every plane of a cell, where planes repeat after two values.
#[inline(always)]
pub(super) fn clipped<S: Simd>(simd: S, lattice: &Lattice<'_>, cell: usize) -> [u16; MOST_PLANES] {
    let (rows, columns) = lattice.pixels_of(cell);
    let largest = u16x16::splat(simd, lattice.white - 1);
    let mut found = [0; MOST_PLANES];
    for row in rows {
        let mut of_columns = [0; 2];
        for part in lattice.row(row)[columns.clone()].chunks(LANES) {
            let values = match part.first_chunk() {
                Some(values) => u16x16::load_array_ref(simd, values),
                None => u16x16::load_array(simd, filled_up(part)),
            };
            let clipped = values.simd_gt(largest).to_bitmask() as u16;
            of_columns[0] += (clipped & EVEN).count_ones() as u16;
            of_columns[1] += (clipped & !EVEN).count_ones() as u16;
        }
        for (column, count) in of_columns.into_iter().enumerate() {
            found[lattice.plane_at(row, column) % MOST_PLANES] += count;
        }
    }
    found
}

/// Every other value of a vector.
const EVEN: u16 = 0x5555;

/// Sums of sixteen columns.
#[derive(Clone, Copy)]
struct Columns<S: Simd> {
    sums: u16x16<S>,
    /// Of the first and of the last eight.
    squares: [u32x8<S>; 2],
}

impl<S: Simd> Columns<S> {
    #[inline(always)]
    fn none(simd: S) -> Self {
        Self { sums: u16x16::splat(simd, 0), squares: [u32x8::splat(simd, 0); 2] }
    }
    #[inline(always)]
    fn add(&mut self, values: u16x16<S>) {
        self.sums += values;
        let (first, last) = values.widening_mul(values);
        self.squares[0] += first;
        self.squares[1] += last;
    }
    /// Each sum and sum of squares.
    #[inline(always)]
    fn each(&self) -> ([u16; LANES], [u32; LANES]) {
        let mut squares = [0; LANES];
        squares[..LANES / 2].copy_from_slice(self.squares[0].as_slice());
        squares[LANES / 2..].copy_from_slice(self.squares[1].as_slice());
        (self.sums.into(), squares)
    }
}

/// Rows of a part in which the planes lie alike, and the largest value where any is clipped.
#[inline(always)]
fn add_rows<S: Simd, const PART: usize, const N: usize>(
    simd: S,
    lattice: &Lattice<'_>,
    part: &Range<usize>,
    rows: &[usize],
) -> ([Columns<S>; N], u16) {
    let mut largest = u16x16::splat(simd, 0);
    let mut all = [Columns::none(simd); N];
    for &row in rows {
        let values = &lattice.row(row)[part.clone()];
        let filled;
        let values = match values.first_chunk::<PART>() {
            Some(values) => values,
            None => {
                filled = filled_up::<PART>(values);
                &filled
            }
        };
        for (i, columns) in all.iter_mut().enumerate() {
            let values = match values[i * LANES..].first_chunk::<LANES>() {
                Some(values) => u16x16::load_array_ref(simd, values),
                None => u16x16::load_array(simd, filled_up(&values[i * LANES..])),
            };
            largest = largest.max(values);
            columns.add(values);
        }
    }
    let over: [u16; LANES] = largest.saturating_sub(u16x16::splat(simd, lattice.white - 1)).into();
    if over == [0; LANES] {
        return (all, 0);
    }
    let largest: [u16; LANES] = largest.into();
    (all, largest.into_iter().fold(0, u16::max))
}

/// A part of so many values, with such as add nothing.
#[inline(always)]
fn filled_up<const PART: usize>(part: &[u16]) -> [u16; PART] {
    let mut values = [0; PART];
    values[..part.len()].copy_from_slice(part);
    values
}

/// Sums of a part's columns over more rows than sixteen bits hold.
struct Many<const N: usize> {
    sums: [[u32; LANES]; N],
    squares: [[u32; LANES]; N],
}

impl<const N: usize> Many<N> {
    const NONE: Self = Self { sums: [[0; LANES]; N], squares: [[0; LANES]; N] };

    #[inline(always)]
    fn add<S: Simd>(&mut self, all: [Columns<S>; N]) {
        for (i, columns) in all.iter().enumerate() {
            let (sums, squares) = columns.each();
            for lane in 0..LANES {
                self.sums[i][lane] += u32::from(sums[lane]);
                // Of values of too many bits they are worth nothing.
                self.squares[i][lane] = self.squares[i][lane].wrapping_add(squares[lane]);
            }
        }
    }
    /// Sum and sum of squares of every column of the period.
    #[inline(always)]
    fn by_column<const PERIOD: usize>(&self) -> [(u32, u64); PERIOD] {
        let mut found = [(0, 0); PERIOD];
        let sums = self.sums.as_flattened().as_chunks::<PERIOD>().0;
        let squares = self.squares.as_flattened().as_chunks::<PERIOD>().0;
        for (sums, squares) in sums.iter().zip(squares) {
            for (column, found) in found.iter_mut().enumerate() {
                found.0 += sums[column];
                found.1 += u64::from(squares[column]);
            }
        }
        found
    }
}

/// Sum and sum of squares of every even and of every odd column.
#[inline(always)]
fn by_two<S: Simd, const N: usize>(all: [Columns<S>; N]) -> [(u32, u64); 2] {
    const { assert!(2 * N * ROWS <= SQUARES) };
    let mut found = [(0, 0); 2];
    let (sums, squares) = alternating(all);
    for lane in 0..LANES / 2 {
        found[lane % 2].0 += sums[lane];
        found[lane % 2].1 += u64::from(squares[lane]);
    }
    found
}

/// Sums of all even columns in even places, and of all odd ones in odd places.
#[inline(always)]
fn alternating<S: Simd, const N: usize>(
    all: [Columns<S>; N],
) -> ([u32; LANES / 2], [u32; LANES / 2]) {
    let simd = all[0].sums.token();
    let (mut sums, mut squares) = (u32x8::splat(simd, 0), u32x8::splat(simd, 0));
    for columns in all {
        let (first, last) = columns.sums.widen();
        sums += first + last;
        squares += columns.squares[0] + columns.squares[1];
    }
    (sums.into(), squares.into())
}
