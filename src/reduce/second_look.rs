//! Hot and dead pixels are left out of cells that are noisier than they ought to be.

use super::grid::PlaneCells;
use super::lattice::Lattice;
use super::limits::{count, limits};
use super::noise_law::NoiseLaw;
use super::quick_look;

/// A cell is looked at again where its variance exceeds the law by so many standard deviations of
/// a sample variance. With these, one pixel eight deviations off among 256 is seen, and one clean
/// cell in a hundred is looked at for nothing.
const SUSPICION: f64 = 2.5;
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
    for cell in row * lattice.columns..(row + 1) * lattice.columns {
        for (index, (cells, law)) in planes.iter_mut().zip(laws).enumerate() {
            let Some((mean, variance, usual)) = suspicious(cells, cell, law.as_ref()) else {
                continue;
            };
            lattice.gather(index, cell, values);
            let sure = quick_look::limits(values, usual);
            let found = sure.unwrap_or_else(|| limits(values, mean, variance, usual));
            let Some((low, high)) = found else { continue };
            beyond(values, low, high, |v| {
                cells.sum[cell] -= u32::from(v);
                cells.squares[cell] -= u64::from(v) * u64::from(v);
                cells.clipped[cell] -= u16::from(v >= lattice.white);
                cells.rejected[cell] += 1;
            });
        }
    }
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
    let chance = SUSPICION * (2.0 / (f64::from(n) - 1.0)).sqrt();
    (variance > usual * (1.0 + chance)).then_some((mean, variance, usual))
}
