//! Hot and dead pixels are left out of cells that are noisier than they ought to be.

use super::grid::PlaneCells;
use super::lattice::{Lattice, MOST_PLANES};
use super::limits::{count, limits};
use super::noise_law::NoiseLaw;
use super::quick_look::{Added, Expected, Off, Outside};
use fearless_simd::{Level, Simd, dispatch};
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

/// A plane of a cell that is looked at again.
#[derive(Clone, Copy, Debug)]
pub(super) struct Suspect {
    mean: f64,
    variance: f64,
    /// What the law says of cells of this mean.
    pub(super) usual: f64,
}

/// Memory that is used for every row of cells.
#[derive(Debug, Default)]
pub(super) struct Scratch {
    suspects: Vec<[Option<Suspect>; MOST_PLANES]>,
    outside: Outside,
    values: Vec<u16>,
}

/// Leaves out what lies off in suspicious cells of one row of cells.
pub(super) fn leave_out(
    lattice: &Lattice<'_>,
    laws: &[Option<NoiseLaw>],
    row: usize,
    planes: &mut [PlaneCells],
    scratch: &mut Scratch,
) {
    // Compiled for each kind of vectors, down to the loops over values.
    dispatch!(Level::new(), simd => leave_out_of(simd, lattice, laws, row, planes, scratch));
}

#[inline(always)]
fn leave_out_of<S: Simd>(
    simd: S,
    lattice: &Lattice<'_>,
    laws: &[Option<NoiseLaw>],
    row: usize,
    planes: &mut [PlaneCells],
    scratch: &mut Scratch,
) {
    let Scratch { suspects, outside, values } = scratch;
    suspects.clear();
    suspects.resize(lattice.columns, [None; MOST_PLANES]);
    let first = row * lattice.columns;
    for (index, (plane, law)) in planes.iter().zip(laws).enumerate() {
        for cell in noisy(plane, first..first + lattice.columns, law.as_ref()) {
            suspects[cell - first][index] = suspicious(plane, cell, law.as_ref());
        }
    }
    for (column, suspects) in suspects.iter().enumerate() {
        if suspects.iter().all(Option::is_none) {
            continue;
        }
        let cell = first + column;
        let windows = windows(lattice, cell, planes, suspects);
        if let Some(windows) = &windows {
            outside.list(simd, lattice, cell, windows);
        }
        for (index, (plane, suspect)) in planes.iter_mut().zip(suspects).enumerate() {
            let Some(Suspect { mean, variance, usual }) = *suspect else { continue };
            let plain = windows.as_ref().and_then(|windows| {
                let all = Added {
                    count: plane.count[cell],
                    sum: plane.sum[cell],
                    squares: plane.squares[cell],
                };
                outside.off(index, windows[index], all, usual, lattice.white)
            });
            let off = plain.unwrap_or_else(|| {
                lattice.gather(index, cell, values);
                let limits = limits(simd, values, (mean, variance), usual);
                limits
                    .map_or(Off::default(), |(low, high)| beyond(values, low, high, lattice.white))
            });
            plane.sum[cell] -= off.sum;
            plane.squares[cell] -= off.squares;
            plane.clipped[cell] -= off.clipped;
            plane.rejected[cell] += off.count;
        }
    }
}

/// Where most pixels of each suspicious plane of a cell are thought to lie, by the cell beside it;
/// `None` where that does not help.
#[inline(always)]
fn windows(
    lattice: &Lattice<'_>,
    cell: usize,
    planes: &[PlaneCells],
    suspects: &[Option<Suspect>; MOST_PLANES],
) -> Option<[Expected; MOST_PLANES]> {
    let beside = match cell % lattice.columns {
        0 => cell.checked_sub(lattice.columns)?,
        _ => cell - 1,
    };
    let noisy = suspects.iter().flatten().any(|s| s.variance > FAR * s.usual);
    (noisy && Outside::is_for(lattice, cell)).then_some(())?;
    let mut windows = [Expected::ALL; MOST_PLANES];
    for ((window, plane), suspect) in windows.iter_mut().zip(planes).zip(suspects) {
        if let Some(Suspect { usual, .. }) = suspect {
            *window = Expected::around(plane.mean(beside)?, *usual);
        }
    }
    Some(windows)
}

/// Times the usual variance beyond which hot pixels are looked for first, and not a motif's
/// detail, which mostly adds less.
const FAR: f64 = 4.0;

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
    (variance > usual * (1.0 + chance(f64::from(n)))).then_some(Suspect { mean, variance, usual })
}

/// Part of itself by which a sample variance of so many pixels may exceed the law.
fn chance(n: f64) -> f64 {
    SUSPICION * (2.0 / (n - 1.0)).sqrt()
}
