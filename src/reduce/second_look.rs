//! Hot and dead pixels are left out of cells that are noisier than they ought to be.

use super::grid::PlaneCells;
use super::lattice::Lattice;
use super::limits::{count, limits};
use super::noise_law::NoiseLaw;
use super::quick_look;
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
    let cells = row * lattice.columns..(row + 1) * lattice.columns;
    for (index, (plane, law)) in planes.iter_mut().zip(laws).enumerate() {
        for cell in noisy(plane, cells.clone(), law.as_ref()) {
            let Some((mean, variance, usual)) = suspicious(plane, cell, law.as_ref()) else {
                continue;
            };
            lattice.gather(index, cell, values);
            let sure = quick_look::limits(values, usual);
            let found = sure.unwrap_or_else(|| limits(values, mean, variance, usual));
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
fn noisy(plane: &PlaneCells, cells: Range<usize>, law: Option<&NoiseLaw>) -> Vec<usize> {
    let (Some(law), Some(&n)) = (law, plane.count.get(cells.start)) else { return cells.collect() };
    let bounds = law.bounds();
    let n = f64::from(n);
    let factor = ROOM * (1.0 + chance(n));
    let (one, free) = (1.0 / n, 1.0 / (n - 1.0));
    let sums = plane.sum[cells.clone()].iter().zip(&plane.squares[cells.clone()]);
    let may_be: Vec<bool> = sums
        .map(|(&sum, &squares)| {
            let mean = f64::from(sum) * one;
            let variance = (squares as f64 - f64::from(sum) * mean) * free;
            variance + LEAST_VARIANCE > factor * bounds.at(mean)
        })
        .collect();
    // The last cell may be narrower.
    let last = cells.end - 1;
    cells.clone().filter(|&cell| may_be[cell - cells.start] || cell == last).collect()
}

/// The few values beyond the limits.
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
