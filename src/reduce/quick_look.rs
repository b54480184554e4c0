//! What a second look finds where it is plain to see: a few pixels far off among many that agree.
//!
//! The limits of a cell hang on its median and on the median of the distances from it. Neither is
//! sought here: moments bound both, and where no pixel lies between what the bounds surely keep and
//! what they surely leave out, the answer is the same as with the medians themselves. Frames with
//! many hot pixels would otherwise take several times as long. All cells of a row are looked at
//! together, plane by plane, without decisions that no processor foresees.

use super::grid::PlaneCells;
use super::lattice::{Lattice, MOST_PLANES};
use super::limits::{DEVIATIONS, LEAST_DEVIATION, MOST_OFF, PER_MAD, counts_outside};
use super::outside::{Band, Expected, Outside, Pixel};
use fearless_simd::Simd;
use std::ops::Range;

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
/// Mostly it lies nearer than this (ours): four times as far as the medians of 256 normal values do.
const NEAR: f64 = 0.3;
/// Against rounding.
const SLACK: f64 = 1e-6;
/// In place of the usual variance of what is not suspicious.
pub(super) const UNSUSPECTED: f64 = -1.0;

/// What is left out of a plane in a cell.
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
    /// Takes it away.
    #[inline(always)]
    pub(super) fn leave_out(self, plane: &mut PlaneCells, cell: usize) {
        plane.sum[cell] -= self.sum;
        plane.squares[cell] -= self.squares;
        plane.clipped[cell] -= self.clipped;
        plane.rejected[cell] += self.count;
    }
}

/// Lists of every plane and cell of a row of cells, plane by plane.
#[derive(Debug)]
pub(super) struct QuickLook {
    outside: Outside,
    expected: Vec<Expected>,
    listed: Totals,
    bounds: Bounds,
    off: Totals,
    /// Whether something was listed in these cells at all.
    has_looked: bool,
    /// Whether it is not plain what is to be left out of a suspect.
    doubtful: Vec<bool>,
    /// Columns of cells of one plane where it is not, at the start.
    pub(super) doubts: Vec<usize>,
}

/// Sums over some pixels.
#[derive(Debug)]
struct Totals {
    count: Vec<u16>,
    clipped: Vec<u16>,
    sum: Vec<u32>,
    squares: Vec<u64>,
}

impl Totals {
    fn of(places: usize) -> Self {
        Self {
            count: vec![0; places],
            clipped: vec![0; places],
            sum: vec![0; places],
            squares: vec![0; places],
        }
    }
    #[inline(always)]
    fn clear(&mut self, places: Range<usize>) {
        self.count[places.clone()].fill(0);
        self.clipped[places.clone()].fill(0);
        self.sum[places.clone()].fill(0);
        self.squares[places].fill(0);
    }
    #[inline(always)]
    fn add(&mut self, Pixel { value, place }: Pixel, white: u16) {
        let place = place as usize;
        self.count[place] += 1;
        self.clipped[place] += u16::from(value >= white);
        self.sum[place] += u32::from(value);
        self.squares[place] += u64::from(value).pow(2);
    }
}

/// Moments of what is not listed; distances from its mean that are surely kept, and such that are
/// surely left out.
#[derive(Debug)]
struct Bounds {
    mean: Vec<f64>,
    deviation: Vec<f64>,
    kept: Vec<f64>,
    left_out: Vec<f64>,
}

impl QuickLook {
    pub(super) fn of(lattice: &Lattice<'_>) -> Self {
        let places = lattice.plane_count() * lattice.columns;
        let none = || vec![0.0; places];
        Self {
            outside: Outside::of(lattice),
            expected: vec![Expected::ALL; places],
            listed: Totals::of(places),
            bounds: Bounds { mean: none(), deviation: none(), kept: none(), left_out: none() },
            off: Totals::of(places),
            has_looked: false,
            doubtful: vec![false; places],
            doubts: vec![0; places],
        }
    }
    /// How many pixels of every plane of a cell are clipped, where all of them are listed.
    pub(super) fn clipped(&self, band: &Band<'_, '_>, column: usize) -> Option<[u16; MOST_PLANES]> {
        let places = (0..band.lattice.plane_count()).map(|plane| band.place(plane, column));
        let mut clipped = [0; MOST_PLANES];
        for (clipped, place) in clipped.iter_mut().zip(places) {
            if !self.outside.listed[column] || self.expected[place].high() >= band.lattice.white {
                return None;
            }
            *clipped = self.listed.clipped[place];
        }
        Some(clipped)
    }
    /// Finds what is plainly off in the cells that are wanted; `usual` are the usual variances of what
    /// is suspicious. Clipped pixels of `uncounted` columns are listed too, where that costs nothing.
    #[inline(always)]
    pub(super) fn look<S: Simd>(
        &mut self,
        simd: S,
        band: &Band<'_, '_>,
        planes: &[PlaneCells],
        (usual, wanted): (&[f64], &[bool]),
        uncounted: &[usize],
    ) {
        let any = wanted[band.columns.clone()].iter().any(|&wanted| wanted);
        self.has_looked = any && self.expect(band, planes, (usual, wanted), uncounted);
        if self.has_looked {
            let most = (band.lattice.side * band.lattice.side / MOST_OFF) as u32;
            self.outside.list(simd, band, &self.expected, most);
            for plane in 0..planes.len() {
                self.listed.clear(band.places(plane));
                self.off.clear(band.places(plane));
            }
            for &pixel in &self.outside.pixels {
                self.listed.add(pixel, band.lattice.white);
            }
            for (index, plane) in planes.iter().enumerate() {
                self.bound(band, band.places(index), plane, usual);
            }
            self.decide(band.lattice.white);
        } else {
            self.outside.listed[band.columns.clone()].fill(false);
            for places in (0..planes.len()).map(|plane| band.places(plane)) {
                let usual = &usual[places.clone()];
                for (doubtful, &usual) in self.doubtful[places].iter_mut().zip(usual) {
                    *doubtful = usual >= 0.0;
                }
            }
        }
    }
    /// Leaves out what is plainly off, and puts the columns of a plane where that is not plain into
    /// `doubts`: so many.
    #[inline(always)]
    pub(super) fn leave_out(
        &mut self,
        band: &Band<'_, '_>,
        index: usize,
        plane: &mut PlaneCells,
    ) -> usize {
        let (places, cells) = (band.places(index), band.cells());
        let doubtful = &self.doubtful[places.clone()];
        let (count, clipped) = (&self.off.count[places.clone()], &self.off.clipped[places.clone()]);
        let (sum, squares) = (&self.off.sum[places.clone()], &self.off.squares[places]);
        if band.columns.clone().any(|column| self.outside.listed[column]) {
            take_off(&mut plane.sum[cells.clone()], sum, doubtful, |a, b| a - b);
            take_off(&mut plane.squares[cells.clone()], squares, doubtful, |a, b| a - b);
            take_off(&mut plane.clipped[cells.clone()], clipped, doubtful, |a, b| a - b);
            take_off(&mut plane.rejected[cells], count, doubtful, |a, b| a + b);
        }
        // A list without decisions.
        let mut len = 0;
        for (column, &doubtful) in band.columns.clone().zip(doubtful) {
            self.doubts[len] = column;
            len += usize::from(doubtful);
        }
        len
    }
    /// Mean and deviation of the pixels of a plane in a cell that are not listed, where those listed
    /// are few.
    pub(super) fn near(&self, place: usize, pixels: u32) -> Option<(f64, f64)> {
        let are_few = u32::from(self.listed.count[place]) * MOST_OFF as u32 <= pixels;
        (self.has_looked && are_few)
            .then(|| (self.bounds.mean[place], self.bounds.deviation[place]))
    }
    /// Where most pixels are thought to lie: by the cells above, or by the cell before in the first
    /// row; false where there is neither.
    #[inline(always)]
    fn expect(
        &mut self,
        band: &Band<'_, '_>,
        planes: &[PlaneCells],
        (usual, wanted): (&[f64], &[bool]),
        uncounted: &[usize],
    ) -> bool {
        let columns = band.lattice.columns;
        let (before, twice) = match band.row {
            0 if band.columns.start == 0 => return false,
            0 => (1, 1),
            1 => (columns, columns),
            _ => (columns, 2 * columns),
        };
        for (index, plane) in planes.iter().enumerate() {
            let (cells, places) = (band.cells(), band.places(index));
            let near = means(plane, cells.start - before..cells.end - before);
            let far = means(plane, cells.start - twice..cells.end - twice);
            let expected = self.expected[places.clone()].iter_mut().zip(&usual[places]);
            let expected = expected.zip(&wanted[band.columns.clone()]);
            for (((expected, &usual), &wanted), (near, far)) in expected.zip(near.zip(far)) {
                // Light changes evenly from cell to cell, more than the noise of a cell's mean.
                let (middle, half) = (2.0 * near - far, LISTED * least(usual));
                let whole = |x: f64| x.clamp(0.0, f64::from(u16::MAX)) as i32 as u16;
                let low = whole(middle - half);
                let width = whole(middle + half).saturating_sub(low);
                *expected =
                    if (usual < 0.0) | !wanted { Expected::ALL } else { Expected { low, width } };
            }
        }
        let below_white = Expected { low: 0, width: band.lattice.white.saturating_sub(1) };
        let is_wanted = |&&column: &&usize| band.columns.contains(&column) && wanted[column];
        for &column in uncounted.iter().filter(is_wanted) {
            for place in (0..planes.len()).map(|plane| band.place(plane, column)) {
                if usual[place] < 0.0 {
                    self.expected[place] = below_white;
                }
            }
        }
        true
    }
    /// Bounds from the moments of what is not listed.
    #[inline(always)]
    fn bound(
        &mut self,
        band: &Band<'_, '_>,
        places: Range<usize>,
        plane: &PlaneCells,
        usual: &[f64],
    ) {
        let (cells, n) = (band.cells(), places.len());
        let (count, sum) = (&plane.count[cells.clone()][..n], &plane.sum[cells.clone()][..n]);
        let (squares, usual) = (&plane.squares[cells][..n], &usual[places.clone()][..n]);
        let off = &self.listed;
        let (off_count, off_sum) = (&off.count[places.clone()][..n], &off.sum[places.clone()][..n]);
        let off_squares = &off.squares[places.clone()][..n];
        let (expected, listed) =
            (&self.expected[places.clone()][..n], &self.outside.listed[band.columns.clone()][..n]);
        let bounds = &mut self.bounds;
        let means = &mut bounds.mean[places.clone()][..n];
        let deviations = &mut bounds.deviation[places.clone()][..n];
        let kepts = &mut bounds.kept[places.clone()][..n];
        let left_outs = &mut bounds.left_out[places.clone()][..n];
        let doubtful = &mut self.doubtful[places][..n];
        for i in 0..n {
            let near = u64::from(count[i] - u32::from(off_count[i]));
            let (sum, squares) = (u64::from(sum[i] - off_sum[i]), squares[i] - off_squares[i]);
            let one = 1.0 / near as f64;
            let (mean, deviation) =
                (sum as f64 * one, ((near * squares - sum * sum) as f64).sqrt() * one);
            let least = least(usual[i]);
            let within = MEDIAN_WITHIN * deviation + SLACK;
            let kept = DEVIATIONS * least - within;
            let left_out = DEVIATIONS * (PER_MAD * HALF_WITHIN * deviation).max(least) + within;
            let low = f64::from(expected[i].low);
            let high = low + f64::from(expected[i].width);
            let is_suspect = usual[i] >= 0.0;
            let is_outlier = u32::from(off_count[i]) * MOST_OFF as u32 > count[i];
            doubtful[i] =
                is_suspect & (!listed[i] | is_outlier | (low < mean - kept) | (high > mean + kept));
            means[i] = mean;
            deviations[i] = deviation;
            kepts[i] = if is_suspect { kept } else { f64::INFINITY };
            left_outs[i] = if is_suspect { left_out } else { f64::INFINITY };
        }
    }
    /// Sorts what is listed into what is kept, what is left out, and doubts.
    #[inline(always)]
    fn decide(&mut self, white: u16) {
        for &pixel in &self.outside.pixels {
            let place = pixel.place as usize;
            let distance = (f64::from(pixel.value) - self.bounds.mean[place]).abs();
            if distance > self.bounds.left_out[place] {
                self.off.add(pixel, white);
            } else {
                self.doubtful[place] |= distance > self.bounds.kept[place];
            }
        }
    }
}

/// What [`super::limits::limits`] finds of all values of a plane in a cell; `None` where that is not
/// plain. Given mean and deviation of all of them, or of all but a sixteenth: counting tells whether
/// the median lies within a few tenths of a deviation of the mean, which leaves less room for doubt.
#[inline(always)]
pub(super) fn settle<S: Simd>(
    simd: S,
    values: &[u16],
    (mean, deviation): (f64, f64),
    usual: f64,
) -> Option<Option<(u16, u16)>> {
    let (least, within) = (least(usual), NEAR * deviation + SLACK);
    let window = |half: f64| ((mean - half).ceil() as u16, (mean + half).floor() as u16);
    let left_out = DEVIATIONS * (PER_MAD * HALF_WITHIN * deviation).max(least) + within;
    let windows = [within, DEVIATIONS * least - within, left_out].map(window);
    let [middle, kept, far] = counts_outside(simd, values, windows);
    let half = values.len().div_ceil(2);
    let off = far.0 + far.1;
    let is_plain = middle.0 < half && middle.1 <= values.len() - half && kept.0 + kept.1 == off;
    is_plain.then(|| (off > 0 && off * MOST_OFF <= values.len()).then_some(windows[2]))
}

/// Takes numbers away from or adds them to others, but for doubtful ones.
#[inline(always)]
fn take_off<T: Copy + Default>(
    from: &mut [T],
    off: &[T],
    doubtful: &[bool],
    take: impl Fn(T, T) -> T,
) {
    for ((from, &off), &doubtful) in from.iter_mut().zip(off).zip(doubtful) {
        *from = take(*from, if doubtful { T::default() } else { off });
    }
}

#[inline(always)]
fn least(usual: f64) -> f64 {
    usual.max(0.0).sqrt().max(LEAST_DEVIATION)
}

/// Means of cells; no numbers where no pixel was kept.
#[inline(always)]
fn means(plane: &PlaneCells, cells: Range<usize>) -> impl Iterator<Item = f64> {
    let kept = plane.count[cells.clone()].iter().zip(&plane.rejected[cells.clone()]);
    kept.zip(&plane.sum[cells])
        .map(|((&count, &out), &sum)| f64::from(sum) / f64::from(count - u32::from(out)))
}
