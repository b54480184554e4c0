//! The pass over cells whose values have fourteen bits at most, which nearly all have: vectors of sixteen values, as wide as the processor's registers allow.
//!
//! Rows in which the planes lie alike are added up column by column, even columns and odd ones apart,
//! and columns are told apart by plane once for all of these rows. Four values of fourteen bits fit
//! sixteen bits, and sixteen of their squares 32; after so many they are widened.

use super::lattice::{LANES, Lattice, MOST_PLANES};
use fearless_simd::prelude::*;
use fearless_simd::{i16x16, u16x16, u16x32, u32x8};
use std::array;
use std::ops::Range;

/// Counts below this have fourteen bits.
const FOURTEEN_BITS: u16 = 1 << 14;
const LARGEST: u64 = FOURTEEN_BITS as u64 - 1;
/// Rows whose values fit sixteen bits together.
const ROWS: usize = 4;
const _: () = assert!(ROWS as u64 * LARGEST <= u16::MAX as u64);
/// Rows whose squares fit 32 bits column by column.
const SQUARED_ROWS: usize = 16;
const _: () = assert!(SQUARED_ROWS as u64 * LARGEST * LARGEST <= u32::MAX as u64);
/// Pairs of columns in a vector.
const PAIRS: usize = LANES / 2;
/// Planes of a pattern that repeats after three or six columns.
const THREE: usize = 3;

/// Whether all counts up to white have fourteen bits.
pub(super) fn fits(lattice: &Lattice<'_>) -> bool {
    (1..=FOURTEEN_BITS).contains(&lattice.white)
        && (lattice.period_columns == 2 || lattice.plane_count() <= THREE)
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

    #[inline(always)]
    fn add(&mut self, plane: usize, (sum, squares): (u32, u64)) {
        let of_plane = &mut self.of_plane[plane % MOST_PLANES];
        of_plane.0 += sum;
        of_plane.1 += squares;
    }
    /// Adds a piece of a block whose even columns are of a plane, and whose odd ones of another.
    #[inline(always)]
    fn add_two<const PIECE: usize>(&mut self, columns: &Columns, piece: usize, planes: &[usize]) {
        let pairs = piece * PIECE / 2..(piece + 1) * PIECE / 2;
        for (odd, &plane) in planes.iter().enumerate().take(2) {
            let sum = columns.sums[odd][pairs.clone()].iter().sum();
            let squares = columns.squares[odd][pairs.clone()].iter().copied().map(u64::from).sum();
            self.add(plane, (sum, squares));
        }
    }

    /// Whether no value had too many bits.
    pub(super) fn are_exact(&self) -> bool {
        self.clipped < FOURTEEN_BITS
    }
}

/// Adds some rows to all cells of a row of cells. `beside` is called with the number of values of a
/// few rows of a vector.
#[inline(always)]
pub(super) fn add<S: Simd>(
    simd: S,
    lattice: &Lattice<'_>,
    rows: &Range<usize>,
    sums: &mut [Sums],
    beside: &mut impl FnMut(usize),
) {
    match lattice.period_columns {
        2 => add_blocks::<S, 2, 128, 32>(simd, lattice, rows, sums, beside),
        3 => add_blocks::<S, 3, 96, 48>(simd, lattice, rows, sums, beside),
        _ => add_blocks::<S, 6, 144, 36>(simd, lattice, rows, sums, beside),
    }
}

/// Blocks are a whole number of vectors and of pieces wide, cells a whole number of pieces.
#[inline(always)]
fn add_blocks<S: Simd, const PERIOD: usize, const BLOCK: usize, const PIECE: usize>(
    simd: S,
    lattice: &Lattice<'_>,
    rows: &Range<usize>,
    sums: &mut [Sums],
    beside: &mut impl FnMut(usize),
) {
    const { assert!(BLOCK.is_multiple_of(LANES) && BLOCK / 2 + PAIRS <= MOST_PAIRS) };
    const { assert!(BLOCK.is_multiple_of(PIECE) && BLOCK / PIECE <= MOST_PIECES) };
    let sets: Vec<Set<'_, S>> =
        lattice.alike.iter().map(|phases| Set::of(simd, lattice, phases, rows)).collect();
    let mut columns = Columns::NONE;
    for left in (0..lattice.width).step_by(BLOCK) {
        let width = BLOCK.min(lattice.width - left);
        let cell_of = |piece: usize| (left + piece * PIECE) / lattice.cell_width();
        let mut largest = [0; BLOCK];
        let mut pieces = [Piece::none(simd); MOST_PIECES];
        for set in &sets {
            for rows in set.rows.chunks(SQUARED_ROWS) {
                columns.add_up(simd, rows, left..left + width, &mut largest, beside);
                for (piece, planes) in pieces.iter_mut().enumerate().take(width.div_ceil(PIECE)) {
                    if PERIOD == 2 {
                        sums[cell_of(piece)].add_two::<PIECE>(&columns, piece, set.planes);
                    } else {
                        planes.add::<PIECE>(simd, &columns, piece, &set.masks);
                    }
                }
            }
        }
        for (piece, planes) in pieces.iter().enumerate().take(width.div_ceil(PIECE)) {
            let cell = &mut sums[cell_of(piece)];
            let largest = largest[piece * PIECE..][..PIECE].iter().copied().fold(0, u16::max);
            if largest >= lattice.white {
                cell.clipped = cell.clipped.max(largest);
            }
            if PERIOD != 2 {
                (0..THREE).for_each(|plane| cell.add(plane, planes.total(plane)));
            }
        }
    }
}

/// Rows in which the planes lie alike.
struct Set<'a, S: Simd> {
    rows: Vec<&'a [u16]>,
    /// Of the first columns, from 0.
    planes: &'a [usize],
    masks: [Masks<S>; THREE],
}

impl<'a, S: Simd> Set<'a, S> {
    #[inline(always)]
    fn of(simd: S, lattice: &'a Lattice<'_>, phases: &[usize], rows: &Range<usize>) -> Self {
        let planes = &lattice.positions[phases[0] * lattice.period_columns..];
        let rows = lattice.rows_of(phases, rows).into_iter().map(|row| lattice.row(row)).collect();
        Self { rows, planes, masks: masks(simd, planes, lattice.period_columns) }
    }
}

/// Pieces of a block at most.
const MOST_PIECES: usize = 4;
/// Pairs of columns of a block at most, and some more that may be read.
const MOST_PAIRS: usize = 80;

/// Sums of the columns of a block, even ones and odd ones.
struct Columns {
    sums: [[u32; MOST_PAIRS]; 2],
    squares: [[u32; MOST_PAIRS]; 2],
}

impl Columns {
    const NONE: Self = Self { sums: [[0; MOST_PAIRS]; 2], squares: [[0; MOST_PAIRS]; 2] };

    /// Those of a part of some rows; where it is narrower than a block, of nothing besides.
    #[inline(always)]
    fn add_up<S: Simd, const BLOCK: usize>(
        &mut self,
        simd: S,
        rows: &[&[u16]],
        part: Range<usize>,
        largest: &mut [u16; BLOCK],
        beside: &mut impl FnMut(usize),
    ) {
        let filled: [[u16; BLOCK]; SQUARED_ROWS];
        let mut values = [const { &[0; BLOCK] }; SQUARED_ROWS];
        if part.len() == BLOCK {
            for (values, row) in values.iter_mut().zip(rows) {
                *values = row[part.start..].first_chunk().unwrap_or(values);
            }
        } else {
            let row = |i: usize| rows.get(i).map_or(&[][..], |row| &row[part.clone()]);
            filled = array::from_fn(|i| filled_up(row(i)));
            values = filled.each_ref();
        }
        // Rows of zeros add nothing.
        let (some, _) = values[..rows.len().next_multiple_of(ROWS)].as_chunks();
        for i in 0..BLOCK / LANES {
            self.put(simd, some, i, &mut largest.as_chunks_mut().0[i]);
            beside(LANES.min(part.len().saturating_sub(i * LANES)) * rows.len());
        }
    }
    /// Puts those of a vector's columns in their place.
    #[inline(always)]
    fn put<S: Simd, const BLOCK: usize>(
        &mut self,
        simd: S,
        rows: &[[&[u16; BLOCK]; ROWS]],
        i: usize,
        largest: &mut [u16; LANES],
    ) {
        let even = u32x8::splat(simd, EVEN);
        let (mut sums, mut squares) = ([u32x8::splat(simd, 0); 2], [u32x8::splat(simd, 0); 2]);
        let mut most = u16x16::load_array_ref(simd, largest);
        for rows in rows {
            let mut few = u16x16::splat(simd, 0);
            for row in rows {
                let values = u16x16::load_array_ref(simd, &row.as_chunks().0[i]);
                few += values;
                most = most.max(values);
                let evens = values.bitcast::<u32x8<S>>() & even;
                let (all, evens) = (values.bitcast::<i16x16<S>>(), evens.bitcast::<i16x16<S>>());
                squares[0] += all.pairwise_dot_product(evens).bitcast::<u32x8<S>>();
                squares[1] += all.pairwise_dot_product(all).bitcast::<u32x8<S>>();
            }
            let pairs: u32x8<S> = few.bitcast();
            sums[0] += pairs & even;
            sums[1] += pairs >> 16;
        }
        *largest = most.into();
        // Those of all columns wrapped; what is left without the even ones fits again.
        squares[1] -= squares[0];
        for odd in 0..2 {
            self.sums[odd].as_chunks_mut().0[i] = sums[odd].into();
            self.squares[odd].as_chunks_mut().0[i] = squares[odd].into();
        }
    }
}

/// The even one of every two columns.
const EVEN: u32 = 0xffff;

/// Pairs of columns after which the planes repeat, twice.
const SIX: usize = 6;

/// Which even and which odd columns are of a plane.
type Masks<S> = [u32x8<S>; 2];

/// By plane.
#[inline(always)]
fn masks<S: Simd>(simd: S, planes: &[usize], period: usize) -> [Masks<S>; THREE] {
    let mask = |plane: usize, odd: usize| {
        let is_of = |pair: usize| pair < SIX && planes[(2 * pair + odd) % period] == plane;
        u32x8::load_array(simd, array::from_fn(|pair| u32::from(is_of(pair)).wrapping_neg()))
    };
    array::from_fn(|plane| array::from_fn(|odd| mask(plane, odd)))
}

/// Sums of the planes of a piece, some pairs of columns apart.
#[derive(Clone, Copy)]
struct Piece<S: Simd> {
    /// Sum, and of the squares the lower and the upper sixteen bits.
    of_plane: [[u32x8<S>; 3]; THREE],
}

impl<S: Simd> Piece<S> {
    #[inline(always)]
    fn none(simd: S) -> Self {
        Self { of_plane: [[u32x8::splat(simd, 0); 3]; THREE] }
    }
    /// Adds those of a piece of a block.
    #[inline(always)]
    fn add<const PIECE: usize>(
        &mut self,
        simd: S,
        columns: &Columns,
        piece: usize,
        masks: &[Masks<S>; THREE],
    ) {
        let lower = u32x8::splat(simd, 0xffff);
        for odd in 0..2 {
            let mut found = [u32x8::splat(simd, 0); 3];
            for first in (0..PIECE / 2).step_by(SIX) {
                let first = piece * PIECE / 2 + first;
                let sums = u32x8::from_slice(simd, &columns.sums[odd][first..first + PAIRS]);
                let squares = u32x8::from_slice(simd, &columns.squares[odd][first..first + PAIRS]);
                found[0] += sums;
                found[1] += squares & lower;
                found[2] += squares >> 16;
            }
            for (of_plane, mask) in self.of_plane.iter_mut().zip(masks) {
                for (of_plane, found) in of_plane.iter_mut().zip(found) {
                    *of_plane += found & mask[odd];
                }
            }
        }
    }
    #[inline(always)]
    fn total(&self, plane: usize) -> (u32, u64) {
        let total = |of: &u32x8<S>| of.as_slice().iter().sum::<u32>();
        let [sum, lower, upper] = &self.of_plane[plane];
        (total(sum), u64::from(total(lower)) + (u64::from(total(upper)) << 16))
    }
}

/// Clipped values of every plane of a cell.
#[inline(always)]
pub(super) fn clipped<S: Simd>(simd: S, lattice: &Lattice<'_>, cell: usize) -> [u16; MOST_PLANES] {
    match lattice.period_columns {
        2 => clipped_of_two(simd, lattice, cell),
        3 => clipped_by_column::<96>(lattice, cell),
        _ => clipped_by_column::<36>(lattice, cell),
    }
}

/// Counted column by column; cells are a whole number of parts wide, and parts of repeats.
#[inline(always)]
fn clipped_by_column<const PART: usize>(lattice: &Lattice<'_>, cell: usize) -> [u16; MOST_PLANES] {
    let (rows, columns) = lattice.pixels_of(cell);
    let mut found = [0; MOST_PLANES];
    for phases in &lattice.alike {
        let mut counts = [0_u16; PART];
        for row in lattice.rows_of(phases, &rows) {
            for part in lattice.part_of(row, columns.clone()).chunks(PART) {
                let values: [u16; PART] = filled_up(part);
                for (count, &value) in counts.iter_mut().zip(&values) {
                    *count += u16::from(value >= lattice.white);
                }
            }
        }
        let planes = lattice.positions[phases[0] * lattice.period_columns..].iter();
        let planes = planes.take(lattice.period_columns).cycle();
        for (count, &plane) in counts.iter().zip(planes) {
            found[plane % MOST_PLANES] += count;
        }
    }
    found
}

/// The same where planes repeat after two values.
#[inline(always)]
fn clipped_of_two<S: Simd>(simd: S, lattice: &Lattice<'_>, cell: usize) -> [u16; MOST_PLANES] {
    let (rows, columns) = lattice.pixels_of(cell);
    let largest = u16x32::splat(simd, lattice.white - 1);
    let one = u16x32::splat(simd, 1);
    let mut counts = [u16x32::splat(simd, 0); 2];
    for (i, row) in rows.enumerate() {
        for part in lattice.part_of(row, columns.clone()).chunks(2 * LANES) {
            let values = match part.first_chunk() {
                Some(values) => u16x32::load_array_ref(simd, values),
                None => u16x32::load_array(simd, filled_up(part)),
            };
            counts[i % 2] += values.saturating_sub(largest).min(one);
        }
    }
    let mut found = [0; MOST_PLANES];
    for (i, counts) in counts.iter().enumerate() {
        for (lane, count) in counts.as_slice().iter().enumerate() {
            found[lattice.positions[2 * i + lane % 2] % MOST_PLANES] += count;
        }
    }
    found
}

/// A part of so many values, with such as add nothing.
#[inline(always)]
pub(super) fn filled_up<const PART: usize>(part: &[u16]) -> [u16; PART] {
    let mut values = [0; PART];
    values[..part.len()].copy_from_slice(part);
    values
}
