//! What a second look finds where it is plain to see: a few pixels far off among many that agree.
//!
//! The limits of a cell hang on its median and on the median of the distances from it. Neither is
//! sought here: moments bound both, and where no pixel lies between what the bounds surely keep and
//! what they surely leave out, the answer is the same as with the medians themselves. Frames with
//! many hot pixels would otherwise take several times as long.

use super::grid::LARGEST_SIDE;
use super::lattice::{Lattice, MOST_PLANES};
use super::limits::{DEVIATIONS, LEAST_DEVIATION, MOST_OFF, PER_MAD};
use fearless_simd::prelude::*;
use fearless_simd::{u16x32, u32x16};

/// Pixels beyond so many usual deviations of where the cell is thought to lie are listed: less than
/// what the limits surely keep (3.9), by what cells beside each other differ.
const LISTED: f64 = 3.4;
/// How far the median of all pixels may lie from the mean of those that are not listed, in their
/// deviations, where at most a sixteenth is listed: more than the root of eight sevenths, by the
/// one-sided inequality of Chebyshev (Cantelli).
const MEDIAN_WITHIN: f64 = 1.07;
/// And the median of the distances from it: more than the root of (1 + 8/7) 15/7, by Markov's
/// inequality for their squares.
const HALF_WITHIN: f64 = 2.15;
const _: () = assert!(MOST_OFF == 16);
/// Against rounding.
const SLACK: f64 = 1e-6;
/// Values of a row, and rows, that are looked at together.
const AT_ONCE: usize = 32;
/// Every other of them.
const EVEN: u64 = 0x5555_5555;

/// Counts between which nearly all pixels of a plane in a cell are thought to lie.
#[derive(Clone, Copy, Debug)]
pub(super) struct Expected {
    low: u16,
    width: u16,
}

impl Expected {
    /// None lies outside.
    pub(super) const ALL: Self = Self { low: 0, width: u16::MAX };

    /// Around a mean, by the usual variance.
    pub(super) fn around(mean: f64, usual: f64) -> Self {
        let half = LISTED * least(usual);
        // Casts saturate.
        let low = (mean - half).ceil() as u16;
        Self { low, width: ((mean + half).floor() as u16).saturating_sub(low) }
    }
}

fn least(usual: f64) -> f64 {
    usual.sqrt().max(LEAST_DEVIATION)
}

/// Values of a plane in a cell, as they were added up.
#[derive(Clone, Copy, Debug)]
pub(super) struct Added {
    pub(super) count: u32,
    pub(super) sum: u32,
    pub(super) squares: u64,
}

/// What the second look leaves out of a plane in a cell.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Off {
    pub(super) count: u16,
    pub(super) sum: u32,
    pub(super) squares: u64,
    pub(super) clipped: u16,
}

impl Off {
    #[inline(always)]
    pub(super) fn add(&mut self, value: u16, white: u16) {
        self.count += 1;
        self.sum += u32::from(value);
        self.squares += u64::from(value).pow(2);
        self.clipped += u16::from(value >= white);
    }
}

/// Values of a plane that lie outside its window.
#[derive(Debug)]
struct Listed {
    values: [u16; MOST_LISTED],
    count: usize,
    sum: u64,
    squares: u64,
}

/// One more than are of use in the largest cell.
const MOST_LISTED: usize = (LARGEST_SIDE * LARGEST_SIDE / 4).div_ceil(MOST_OFF) + 1;

impl Listed {
    const NONE: Self = Self { values: [0; MOST_LISTED], count: 0, sum: 0, squares: 0 };

    #[inline(always)]
    fn add(&mut self, value: u16) {
        if let Some(place) = self.values.get_mut(self.count) {
            *place = value;
            self.count += 1;
        }
        self.sum += u64::from(value);
        self.squares += u64::from(value).pow(2);
    }
}

/// What lies outside the windows of a cell's planes.
#[derive(Debug)]
pub(super) struct Outside {
    of_plane: [Listed; MOST_PLANES],
}

impl Default for Outside {
    fn default() -> Self {
        Self { of_plane: [Listed::NONE; MOST_PLANES] }
    }
}

impl Outside {
    /// Whether it can be listed: of patterns that repeat after two pixels, and of whole columns.
    pub(super) fn is_for(lattice: &Lattice<'_>, cell: usize) -> bool {
        let (_, columns) = lattice.pixels_of(cell);
        (lattice.period_rows, lattice.period_columns) == (2, 2)
            && columns.len().is_multiple_of(AT_ONCE)
    }
    /// Lists it, where [`Self::is_for`] is true.
    #[inline(always)]
    pub(super) fn list<S: Simd>(
        &mut self,
        simd: S,
        lattice: &Lattice<'_>,
        cell: usize,
        windows: &[Expected; MOST_PLANES],
    ) {
        for listed in &mut self.of_plane {
            (listed.count, listed.sum, listed.squares) = (0, 0, 0);
        }
        let most = lattice.side * lattice.side / 4 / MOST_OFF;
        let (rows, columns) = lattice.pixels_of(cell);
        let mut planes = [0; 4];
        for (plane, position) in planes.iter_mut().zip(&lattice.positions) {
            *plane = position % MOST_PLANES;
        }
        let [first, second] = [[planes[0], planes[1]], [planes[2], planes[3]]];
        let (even, odd) = (Rows::of(simd, windows, first), Rows::of(simd, windows, second));
        // Places of two rows of which more are of use.
        let mut wanted = u64::MAX;
        for first in rows.clone().step_by(AT_ONCE) {
            for left in columns.clone().step_by(AT_ONCE) {
                let mut outside = [0_u64; AT_ONCE / 2];
                let mut any = 0_u32;
                let lines = lattice.from(first, left);
                let pairs = lines.chunks(2 * lattice.stride()).take((rows.end - first).div_ceil(2));
                for (i, (found, pair)) in outside.iter_mut().zip(pairs).enumerate() {
                    let of_row = |window: &Rows<S>, row: &[u16]| {
                        row.first_chunk().map_or(0, |values| window.outside(values))
                    };
                    *found = of_row(&even, pair);
                    if first + 2 * i + 1 < rows.end {
                        *found |= of_row(&odd, &pair[lattice.stride()..]) << AT_ONCE;
                    }
                    any |= u32::from(*found != 0) << i;
                }
                // Pairs of rows and places in them by their bits: few, where no processor foresees
                // them.
                for i in ones(any.into()) {
                    for place in ones(outside[i % outside.len()] & wanted) {
                        let (down, lane) = (place / AT_ONCE, place % AT_ONCE);
                        let plane = planes[2 * down + lane % 2];
                        let row = lattice.part_of(first + 2 * i + down, left..left + AT_ONCE);
                        self.of_plane[plane].add(row[lane]);
                        if self.of_plane[plane].count > most {
                            wanted &= !(EVEN << (AT_ONCE * down + lane % 2));
                        }
                    }
                }
            }
        }
    }
    /// What [`super::limits::limits`] would leave out of a plane; `None` where that is not plain.
    #[inline(always)]
    pub(super) fn off(
        &self,
        plane: usize,
        window: Expected,
        all: Added,
        usual: f64,
        white: u16,
    ) -> Option<Off> {
        let Listed { values, count, sum, squares } = &self.of_plane[plane];
        if count * MOST_OFF > all.count as usize {
            return None;
        }
        let near = u64::from(all.count) - *count as u64;
        let (sum, squares) = (u64::from(all.sum) - sum, all.squares - squares);
        let one = 1.0 / near as f64;
        let (mean, deviation) =
            (sum as f64 * one, ((near * squares - sum * sum) as f64).sqrt() * one);
        let (least, within) = (least(usual), MEDIAN_WITHIN * deviation + SLACK);
        let kept = DEVIATIONS * least - within;
        let left_out = DEVIATIONS * (PER_MAD * HALF_WITHIN * deviation).max(least) + within;
        let (low, high) = (f64::from(window.low), f64::from(window.low + window.width));
        if low < mean - kept || high > mean + kept {
            return None;
        }
        let mut off = Off::default();
        for &value in values.iter().take(*count) {
            let distance = (f64::from(value) - mean).abs();
            if distance > left_out {
                off.add(value, white);
            } else if distance > kept {
                return None;
            }
        }
        Some(off)
    }
}

/// The windows of the two planes of a row, in turns.
struct Rows<S: Simd> {
    low: u16x32<S>,
    width: u16x32<S>,
}

impl<S: Simd> Rows<S> {
    #[inline(always)]
    fn of(simd: S, windows: &[Expected; MOST_PLANES], planes: [usize; 2]) -> Self {
        let [even, odd] = [windows[planes[0]], windows[planes[1]]];
        let in_turns = |even: u16, odd: u16| -> u16x32<S> {
            let ([a, b], [c, d]) = (even.to_ne_bytes(), odd.to_ne_bytes());
            u32x16::splat(simd, u32::from_ne_bytes([a, b, c, d])).bitcast()
        };
        Self { low: in_turns(even.low, odd.low), width: in_turns(even.width, odd.width) }
    }
    /// Which values of a row lie outside, by bits.
    #[inline(always)]
    fn outside(&self, values: &[u16; AT_ONCE]) -> u64 {
        let above = u16x32::load_array_ref(self.low.token(), values) - self.low;
        above.simd_gt(self.width).to_bitmask() & u64::from(u32::MAX)
    }
}

/// The places of the bits that are set.
#[inline(always)]
fn ones(mut bits: u64) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        let place = (bits != 0).then(|| bits.trailing_zeros() as usize);
        bits &= bits.wrapping_sub(1);
        place
    })
}
