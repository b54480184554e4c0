//! What a second look finds where it is plain to see: a few pixels far off among many that agree.
//!
//! The limits of a cell hang on its median and on the median of the distances from it. Neither is
//! sought here: moments bound both, and where no pixel lies between what the bounds surely keep and
//! what they surely leave out, the answer is the same as with the medians themselves. Frames with
//! many hot pixels would otherwise take several times as long.

use super::lattice::{Lattice, MOST_PLANES};
use super::limits::{DEVIATIONS, LEAST_DEVIATION, MOST_OFF, PER_MAD};
use fearless_simd::prelude::*;
use fearless_simd::{u16x32, u32x16};
use std::array;

/// Pixels beyond so many usual deviations of where the cell is thought to lie are listed: a little
/// less than what the limits surely keep.
const LISTED: f64 = 3.5;
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
const EVEN: u32 = 0x5555_5555;

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

/// What lies outside the windows of a cell's planes.
#[derive(Debug, Default)]
pub(super) struct Outside {
    counts: [usize; MOST_PLANES],
    values: [Vec<u16>; MOST_PLANES],
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
        // More are of no use.
        let most = lattice.side * lattice.side / 4 / MOST_OFF;
        self.counts = [0; MOST_PLANES];
        self.values.iter_mut().for_each(Vec::clear);
        let (rows, columns) = lattice.pixels_of(cell);
        let planes = array::from_fn(|place| lattice.positions[place] % MOST_PLANES);
        let in_turns = |[even, odd]: [u16; 2]| -> u16x32<S> {
            let ([a, b], [c, d]) = (even.to_ne_bytes(), odd.to_ne_bytes());
            u32x16::splat(simd, u32::from_ne_bytes([a, b, c, d])).bitcast()
        };
        let of_rows = |phase: usize| [windows[planes[2 * phase]], windows[planes[2 * phase + 1]]];
        let low = [0, 1].map(|phase| in_turns(of_rows(phase).map(|window| window.low)));
        let width = [0, 1].map(|phase| in_turns(of_rows(phase).map(|window| window.width)));
        for first in rows.clone().step_by(AT_ONCE) {
            let rows = first..(first + AT_ONCE).min(rows.end);
            for left in columns.clone().step_by(AT_ONCE) {
                let mut outside = [0_u32; AT_ONCE];
                for (i, row) in rows.clone().enumerate() {
                    let Some(values) = lattice.row(row)[left..].first_chunk() else { continue };
                    let above = u16x32::load_array_ref(simd, values) - low[i % 2];
                    outside[i] = above.simd_gt(width[i % 2]).to_bitmask() as u32;
                }
                self.count(&outside, &planes);
                let lanes = [0, 1].map(|phase| {
                    let few = |column: usize| self.counts[planes[2 * phase + column]] <= most;
                    (u32::from(few(0)) * EVEN) | (u32::from(few(1)) * !EVEN)
                });
                for (i, outside) in outside.iter().enumerate() {
                    let mut outside = outside & lanes[i % 2];
                    while outside != 0 {
                        let lane = outside.trailing_zeros() as usize;
                        outside &= outside - 1;
                        let plane = planes[2 * (i % 2) + lane % 2];
                        self.values[plane].push(lattice.row(first + i)[left + lane]);
                    }
                }
            }
        }
    }
    /// Adds up what lies outside, of rows of a part of the cell.
    #[inline(always)]
    fn count(&mut self, outside: &[u32; AT_ONCE], planes: &[usize; 4]) {
        for (place, &plane) in planes.iter().enumerate() {
            let ones = |outside: &u32| (outside & (EVEN << (place % 2))).count_ones();
            let count: u32 = outside.iter().skip(place / 2).step_by(2).map(ones).sum();
            self.counts[plane] += count as usize;
        }
    }
    /// The values that [`super::limits::limits`] would leave out of a plane; `None` where that is not
    /// plain.
    #[inline(always)]
    pub(super) fn off(
        &mut self,
        plane: usize,
        window: Expected,
        all: Added,
        usual: f64,
    ) -> Option<&[u16]> {
        let values = &mut self.values[plane];
        let listed = values.len();
        if listed != self.counts[plane] || listed * MOST_OFF > all.count as usize {
            return None;
        }
        let near = u64::from(all.count) - listed as u64;
        let sum = u64::from(all.sum) - values.iter().map(|v| u64::from(*v)).sum::<u64>();
        let squares = all.squares - values.iter().map(|v| u64::from(*v).pow(2)).sum::<u64>();
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
        let distance = |v: &u16| (f64::from(*v) - mean).abs();
        values.retain(|v| distance(v) > kept);
        values.iter().all(|v| distance(v) > left_out).then_some(values)
    }
}
