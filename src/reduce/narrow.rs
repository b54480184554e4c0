//! The pass over cells whose values have fourteen bits at most and are not clipped, which nearly
//! all are: vectors of eight values, few instructions of the oldest kind for each.
//!
//! A value of fifteen bits is the same number with a sign, so that one multiplication with addition
//! squares the four even or the four odd columns of a vector. Sixteen squares of fourteen bits fit
//! 32 bits; after so many they are widened.

use super::lattice::{Lattice, MOST_PLANES};
use std::ops::Range;
use wide::{i16x8, i32x4, u16x8, u32x4};

/// Values of a vector.
const LANES: usize = 8;
/// Counts below this have fourteen bits.
const FOURTEEN_BITS: u16 = 1 << 14;
/// Squares of fourteen bits that fit 32.
const SQUARES: usize = 16;
const _: () = assert!(SQUARES as u64 * ((FOURTEEN_BITS as u64 - 1).pow(2)) <= u32::MAX as u64);

/// Whether all counts up to white have fourteen bits.
pub(super) fn fits(white: u16) -> bool {
    (1..=FOURTEEN_BITS).contains(&white)
}

/// Sum, and sum of squares, of every plane of a cell.
#[derive(Clone, Copy)]
pub(super) struct Sums {
    pub(super) of_plane: [(u32, u64); MOST_PLANES],
    /// Nothing was clipped or had too many bits; otherwise the sums are worth nothing.
    pub(super) is_exact: bool,
}

impl Sums {
    pub(super) const NONE: Self = Self { of_plane: [(0, 0); MOST_PLANES], is_exact: true };
}

/// Adds some rows of a cell: for every set of rows in which the planes lie alike, in the order of
/// [`Lattice::alike`], which of them. `beside` is called with the number of values of each row of a
/// part.
pub(super) fn add(
    lattice: &Lattice<'_>,
    columns: Range<usize>,
    rows: &[Vec<usize>],
    sums: &mut Sums,
    beside: &mut impl FnMut(usize),
) {
    match lattice.period_columns {
        2 => add_parts::<2, 32, 1>(lattice, columns, rows, sums, beside),
        3 => add_parts::<3, 24, 3>(lattice, columns, rows, sums, beside),
        _ => add_parts::<6, 36, 3>(lattice, columns, rows, sums, beside),
    }
}

/// Cells are parts of `PART` values wide, and `N` vectors a whole number of `PERIOD` columns.
fn add_parts<const PERIOD: usize, const PART: usize, const N: usize>(
    lattice: &Lattice<'_>,
    columns: Range<usize>,
    rows: &[Vec<usize>],
    sums: &mut Sums,
    beside: &mut impl FnMut(usize),
) {
    let squares_of_a_row = PART.div_ceil(LANES).div_ceil(N);
    for left in columns.clone().step_by(PART) {
        let part = left..(left + PART).min(columns.end);
        for (phases, rows) in lattice.alike.iter().zip(rows) {
            let positions = &lattice.positions[phases[0] * PERIOD..][..PERIOD];
            for rows in rows.chunks(SQUARES / squares_of_a_row) {
                let (all, is_exact) = add_rows::<PART, N>(lattice, &part, rows, beside);
                sums.is_exact &= is_exact;
                for (plane, (sum, squares)) in positions.iter().zip(by_column::<PERIOD, N>(&all)) {
                    let of_plane = &mut sums.of_plane[plane % MOST_PLANES];
                    of_plane.0 += sum;
                    of_plane.1 += squares;
                }
            }
        }
    }
}

/// Sums of eight columns, and of all a whole number of periods on.
#[derive(Clone, Copy)]
struct Columns {
    even: u32x4,
    odd: u32x4,
    squares_even: u32x4,
    squares_odd: u32x4,
}

impl Columns {
    const NONE: Self = Self {
        even: u32x4::ZERO,
        odd: u32x4::ZERO,
        squares_even: u32x4::ZERO,
        squares_odd: u32x4::ZERO,
    };

    #[inline(always)]
    fn add(&mut self, values: u16x8) {
        let pairs: u32x4 = bytemuck::cast(values);
        let (even, odd) = (pairs & u32x4::splat(0xffff), pairs >> 16);
        self.even += even;
        self.odd += odd;
        self.squares_even += squared(even);
        self.squares_odd += squared(odd);
    }
}

/// Squares of four values of fifteen bits.
#[inline(always)]
fn squared(values: u32x4) -> u32x4 {
    let halves: i16x8 = bytemuck::cast(values);
    let squares: i32x4 = halves.dot(halves);
    bytemuck::cast(squares)
}

/// Rows of a part in which the planes lie alike, and whether all sums are exact.
#[inline(always)]
fn add_rows<const PART: usize, const N: usize>(
    lattice: &Lattice<'_>,
    part: &Range<usize>,
    rows: &[usize],
    beside: &mut impl FnMut(usize),
) -> ([Columns; N], bool) {
    let largest = u16x8::splat(lattice.white - 1);
    let mut over = u16x8::ZERO;
    let mut all = [Columns::NONE; N];
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
        add_row(&mut all, &mut over, largest, values);
        beside(part.len());
    }
    (all, over == u16x8::ZERO)
}

/// Written out, so that the sums stay in registers.
#[inline(always)]
fn add_row<const PART: usize, const N: usize>(
    all: &mut [Columns; N],
    over: &mut u16x8,
    largest: u16x8,
    values: &[u16; PART],
) {
    let mut add = |to: usize, values: u16x8| {
        *over |= values.saturating_sub(largest);
        all[to % N].add(values);
    };
    let vector = |i: usize| {
        let values = values[i * LANES..].first_chunk::<LANES>();
        values.map_or(u16x8::ZERO, |v| u16x8::new(*v))
    };
    add(0, vector(0));
    add(1, vector(1));
    add(2, vector(2));
    if PART > 3 * LANES {
        add(3, vector(3));
    }
    if let (true, Some(&[a, b, c, d])) = (PART > 4 * LANES, values.last_chunk()) {
        add(4, u16x8::new([a, b, c, d, 0, 0, 0, 0]));
    }
}

/// A part of so many values, with such as add nothing.
fn filled_up<const PART: usize>(part: &[u16]) -> [u16; PART] {
    let mut values = [0; PART];
    values[..part.len()].copy_from_slice(part);
    values
}

/// Sum and sum of squares of every column of the period.
#[inline(always)]
fn by_column<const PERIOD: usize, const N: usize>(all: &[Columns; N]) -> [(u32, u64); PERIOD] {
    let mut found = [(0, 0); PERIOD];
    for (at, columns) in all.iter().enumerate() {
        let sums = interleaved(columns.even, columns.odd);
        let squares = interleaved(columns.squares_even, columns.squares_odd);
        for lane in 0..LANES {
            let column = &mut found[(at * LANES + lane) % PERIOD];
            column.0 += sums[lane];
            column.1 += u64::from(squares[lane]);
        }
    }
    found
}

#[inline(always)]
fn interleaved(even: u32x4, odd: u32x4) -> [u32; LANES] {
    let [a, c, e, g] = even.to_array();
    let [b, d, f, h] = odd.to_array();
    [a, b, c, d, e, f, g, h]
}
