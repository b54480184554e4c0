//! Hot and dead pixels are left out of cells that are noisier than they ought to be.

use super::grid::PlaneCells;
use super::lattice::Lattice;
use super::limits::{count, limits};
use super::noise_law::NoiseLaw;
use super::quick_look;
use fearless_simd::{Level, dispatch};
use std::ops::Range;

/// A cell is looked at again where its variance exceeds the law by so many standard deviations of
/// a sample variance. With these, one pixel eight deviations off among 256 is seen, and one clean
/// cell in a hundred is looked at for nothing.
const SUSPICION: f64 = 2.5;
/// Room for rounding: of the law, and in counts squared.
const ROOM: f64 = 0.999;
const LEAST_VARIANCE: f64 = 1e-3;
/// Fewer pixels have no median worth the name.
pub(super) const FEWEST: u32 = 16;

/// Leaves out what lies off in suspicious cells of one row of cells.
pub(super) fn leave_out(
    lattice: &Lattice<'_>,
    laws: &[Option<NoiseLaw>],
    row: usize,
    planes: &mut [PlaneCells],
    values: &mut Vec<u16>,
) {
    // Compiled for each kind of vectors, down to the loops over values.
    dispatch!(Level::new(), _ => leave_out_of(lattice, laws, row, planes, values));
}

#[inline(always)]
fn leave_out_of(
    lattice: &Lattice<'_>,
    laws: &[Option<NoiseLaw>],
    row: usize,
    planes: &mut [PlaneCells],
    values: &mut Vec<u16>,
) {
    let cells = row * lattice.columns..(row + 1) * lattice.columns;
    for (index, (plane, law)) in planes.iter_mut().zip(laws).enumerate() {
        for cell in noisy(plane, cells.clone(), law.as_ref()) {
            let Some((mean, variance, usual)) = suspicious(plane, cell, law.as_ref()) else {
                continue;
            };
            lattice.gather(index, cell, values);
            // No closure: it would be a function of its own.
            let found = match quick_look::limits(values, usual) {
                Some(sure) => sure,
                None => limits(values, mean, variance, usual),
            };
            let Some((low, high)) = found else { continue };
            beyond(values, low, high, |v| {
                plane.sum[cell] -= u32::from(v);
                plane.squares[cell] -= u64::from(v) * u64::from(v);
                plane.clipped[cell] -= u16::from(v >= lattice.white);
                plane.rejected[cell] += 1;
            });
        }
    }
}

/// Cells of a row that may be suspicious: by the same law without divisions, and with room for
/// their rounding.
#[inline(always)]
fn noisy(plane: &PlaneCells, cells: Range<usize>, law: Option<&NoiseLaw>) -> Vec<usize> {
    let (Some(law), Some(&n)) = (law, plane.count.get(cells.start)) else { return cells.collect() };
    let bounds = law.bounds();
    let n = f64::from(n);
    let factor = ROOM * (1.0 + chance(n));
    let (one, free) = (1.0 / n, 1.0 / (n - 1.0));
    // The last cell may be narrower.
    let last = cells.end - 1;
    let mut found = Vec::with_capacity(cells.len());
    let mut may_be = [false; AT_ONCE];
    for first in cells.clone().step_by(AT_ONCE) {
        let part = first..(first + AT_ONCE).min(cells.end);
        let sums = plane.sum[part.clone()].iter().zip(&plane.squares[part.clone()]);
        // A loop without decisions, and none of closures: it takes the vectors of its caller.
        for (may_be, (&sum, &squares)) in may_be.iter_mut().zip(sums) {
            let mean = f64::from(sum) * one;
            let variance = (squares as f64 - f64::from(sum) * mean) * free;
            *may_be = variance + LEAST_VARIANCE > factor * bounds.at(mean);
        }
        for (cell, &may_be) in part.zip(&may_be) {
            if may_be || cell == last {
                found.push(cell);
            }
        }
    }
    found
}

/// Cells that are held against the law at a time.
const AT_ONCE: usize = 64;

/// The few values beyond the limits.
#[inline(always)]
fn beyond(values: &[u16], low: u16, high: u16, mut leave: impl FnMut(u16)) {
    for part in values.chunks(16) {
        if count(part, |v| v < low || v > high) > 0 {
            part.iter().copied().filter(|&v| v < low || v > high).for_each(&mut leave);
        }
    }
}

/// Mean, variance and usual variance of a cell that exceeds the last by more than chance; where
/// there is no law, every cell is looked at.
pub(super) fn suspicious(
    cells: &PlaneCells,
    cell: usize,
    law: Option<&NoiseLaw>,
) -> Option<(f64, f64, f64)> {
    let n = cells.count[cell];
    if n < FEWEST {
        return None;
    }
    let (mean, variance) = (cells.mean(cell)?, cells.variance(cell)?);
    let usual = law.map_or(0.0, |law| law.variance(mean));
    (variance > usual * (1.0 + chance(f64::from(n)))).then_some((mean, variance, usual))
}

/// Part of itself by which a sample variance of so many pixels may exceed the law.
fn chance(n: f64) -> f64 {
    SUSPICION * (2.0 / (n - 1.0)).sqrt()
}
