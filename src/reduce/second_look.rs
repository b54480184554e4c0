//! Hot and dead pixels are left out of cells that are noisier than they ought to be.

use super::grid::PlaneCells;
use super::lattice::Lattice;
use super::limits::{count, limits};
use super::narrow::clipped;
use super::noise_law::NoiseLaw;
use super::outside::Band;
use super::quick_look::{Off, QuickLook, UNSUSPECTED, settle};
use fearless_simd::{Level, Simd, dispatch};
use std::ops::Range;

/// A cell is looked at again where its variance exceeds the law by so many standard deviations of
/// a sample variance. With these, one pixel eight deviations off among 256 is seen, and one clean
/// cell in a hundred is looked at for nothing.
const SUSPICION: f64 = 2.5;
/// Fewer pixels have no median worth the name.
pub(super) const FEWEST: u32 = 16;

/// A plane of a cell that is looked at again.
#[derive(Clone, Copy, Debug)]
pub(super) struct Suspect {
    variance: f64,
    /// What the law says of cells of this mean.
    pub(super) usual: f64,
}

/// Memory that is used for every row of cells.
#[derive(Debug)]
pub(super) struct Scratch {
    /// Of every plane and cell of the row, plane by plane: the usual variance of suspects.
    usual: Vec<f64>,
    /// Columns of cells with a plane that is very noisy.
    very: Vec<bool>,
    quick: QuickLook,
    values: Vec<u16>,
}

impl Scratch {
    pub(super) fn of(lattice: &Lattice<'_>) -> Self {
        Self {
            usual: vec![UNSUSPECTED; lattice.plane_count() * lattice.columns],
            very: vec![false; lattice.columns],
            quick: QuickLook::of(lattice),
            values: Vec::new(),
        }
    }
}

/// Leaves out what lies off in suspicious cells of one row of cells. Clipped pixels of `uncounted`
/// columns are counted before.
pub(super) fn leave_out(
    lattice: &Lattice<'_>,
    laws: &[Option<NoiseLaw>],
    row: usize,
    planes: &mut [PlaneCells],
    uncounted: &[usize],
    scratch: &mut Scratch,
) {
    // Compiled for each kind of vectors, down to the loops over values.
    dispatch!(Level::new(), simd => {
        scratch.suspect(lattice, laws, row, planes);
        // Those of the first row are looked at one after another, each as what was kept of the one
        // before; others as what was kept of those above.
        let step = if row == 0 { 1 } else { lattice.columns.max(1) };
        for first in (0..lattice.columns).step_by(step) {
            let band = Band { lattice, row, columns: first..first + step };
            scratch.leave_out(simd, &band, planes, uncounted);
        }
    });
}

impl Scratch {
    /// Finds the suspects of a row of cells.
    #[inline(always)]
    fn suspect(
        &mut self,
        lattice: &Lattice<'_>,
        laws: &[Option<NoiseLaw>],
        row: usize,
        planes: &[PlaneCells],
    ) {
        self.usual.fill(UNSUSPECTED);
        self.very.fill(false);
        let first = row * lattice.columns;
        for (index, (plane, law)) in planes.iter().zip(laws).enumerate() {
            let usual = &mut self.usual[index * lattice.columns..][..lattice.columns];
            suspects(plane, first..first + lattice.columns, law.as_ref(), usual, &mut self.very);
        }
    }
    #[inline(always)]
    fn leave_out<S: Simd>(
        &mut self,
        simd: S,
        band: &Band<'_, '_>,
        planes: &mut [PlaneCells],
        uncounted: &[usize],
    ) {
        let Self { usual, very, quick, values } = self;
        let lattice = band.lattice;
        quick.look(simd, band, planes, (usual, very), uncounted);
        for &column in uncounted.iter().filter(|column| band.columns.contains(column)) {
            let cell = band.cell(column);
            let count = quick.clipped(band, column);
            let count = count.unwrap_or_else(|| clipped(simd, lattice, cell));
            for (plane, clipped) in planes.iter_mut().zip(count) {
                plane.clipped[cell] = clipped;
            }
        }
        for (index, plane) in planes.iter_mut().enumerate() {
            for i in 0..quick.leave_out(band, index, plane) {
                let column = quick.doubts[i];
                let (cell, place) = (band.cell(column), band.place(index, column));
                let Some(moments) = plane.mean(cell).zip(plane.variance(cell)) else { continue };
                lattice.gather(index, cell, values);
                let near = quick.near(place, plane.count[cell]);
                let near = near.unwrap_or((moments.0, moments.1.sqrt()));
                let limits = settle(simd, values, near, usual[place])
                    .unwrap_or_else(|| limits(simd, values, moments, usual[place]));
                if let Some((low, high)) = limits {
                    beyond(values, low, high, lattice.white).leave_out(plane, cell);
                }
            }
        }
    }
}

/// Times the usual variance beyond which hot pixels are looked for first, and not a motif's
/// detail, which mostly adds less.
const FAR: f64 = 4.0;

/// The usual variances of the suspects of a row, and which of them are very noisy: as
/// [`suspicious`] does, of many cells at a time.
#[inline(always)]
fn suspects(
    plane: &PlaneCells,
    cells: Range<usize>,
    law: Option<&NoiseLaw>,
    usual: &mut [f64],
    very: &mut [bool],
) {
    let mut one_by_one = 0..cells.len();
    if let (Some(law), Some(&n)) = (law, plane.count.get(cells.start)) {
        // The last cell may be narrower.
        let whole = (cells.len() - 1) / AT_ONCE * AT_ONCE;
        let sums = plane.sum[cells.start..][..whole].as_chunks::<AT_ONCE>().0;
        let squares = plane.squares[cells.start..][..whole].as_chunks::<AT_ONCE>().0;
        let usual = usual.as_chunks_mut::<AT_ONCE>().0.iter_mut();
        let very = very.as_chunks_mut::<AT_ONCE>().0.iter_mut();
        for (((sums, squares), usual), very) in sums.iter().zip(squares).zip(usual).zip(very) {
            many(n, (sums, squares), law, usual, very);
        }
        one_by_one.start = whole;
    }
    for i in one_by_one {
        if let Some(suspect) = suspicious(plane, cells.start + i, law) {
            usual[i] = suspect.usual;
            very[i] |= suspect.variance > FAR * suspect.usual;
        }
    }
}

/// Cells that are held against the law at a time.
const AT_ONCE: usize = 16;

/// Of cells of so many pixels each, of which none was left out yet.
#[inline(always)]
fn many(
    n: u32,
    (sums, squares): (&[u32; AT_ONCE], &[u64; AT_ONCE]),
    law: &NoiseLaw,
    usual: &mut [f64; AT_ONCE],
    very: &mut [bool; AT_ONCE],
) {
    if n < FEWEST {
        return;
    }
    let (pixels, count) = (u64::from(n), f64::from(n));
    let (pairs, most) = ((pixels * (pixels - 1)) as f64, 1.0 + chance(count));
    for i in 0..AT_ONCE {
        let sum = u64::from(sums[i]);
        let variance = (pixels * squares[i] - sum * sum) as f64 / pairs;
        let here = law.variance(f64::from(sums[i]) / count);
        usual[i] = if variance > here * most { here } else { UNSUSPECTED };
        very[i] |= (variance > here * most) & (variance > FAR * here);
    }
}

/// The few values beyond the limits.
#[inline(always)]
fn beyond(values: &[u16], low: u16, high: u16, white: u16) -> Off {
    let mut off = Off::default();
    for part in values.chunks(16) {
        if count(part, |v| v < low || v > high) > 0 {
            for &value in part.iter().filter(|&&v| v < low || v > high) {
                off.add(value, white);
            }
        }
    }
    off
}

/// A cell whose variance exceeds the law by more than chance; where there is no law, every cell is
/// looked at.
#[inline(always)]
pub(super) fn suspicious(
    cells: &PlaneCells,
    cell: usize,
    law: Option<&NoiseLaw>,
) -> Option<Suspect> {
    let n = cells.count[cell];
    if n < FEWEST {
        return None;
    }
    let (mean, variance) = (cells.mean(cell)?, cells.variance(cell)?);
    let usual = law.map_or(0.0, |law| law.variance(mean));
    (variance > usual * (1.0 + chance(f64::from(n)))).then_some(Suspect { variance, usual })
}

/// Part of itself by which a sample variance of so many pixels may exceed the law.
fn chance(n: f64) -> f64 {
    SUSPICION * (2.0 / (n - 1.0)).sqrt()
}
