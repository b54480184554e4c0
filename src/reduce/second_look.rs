//! Hot and dead pixels are left out of cells that are noisier than they ought to be.

use super::grid::PlaneCells;
use super::lattice::Lattice;
use super::noise_law::NoiseLaw;
pub(super) use crate::numerics::robust::DEVIATION_PER_MEDIAN as PER_MAD;

/// A cell is looked at again where its variance exceeds the law by so many standard deviations of
/// a sample variance. With these, one pixel eight deviations off among 256 is seen, and one clean
/// cell in a hundred is looked at for nothing.
const SUSPICION: f64 = 2.5;
/// Pixels beyond so many standard deviations of the cell's median are left out, on either side.
pub(super) const DEVIATIONS: f64 = 5.0;
/// No deviation below this is believed, in counts: counts are whole numbers.
pub(super) const LEAST_DEVIATION: f64 = 0.5;
/// Where more than one pixel in so many lies off, the cell shows a motif, not hot pixels, and
/// stays whole.
pub(super) const MOST_OFF: usize = 16;
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
            let Some((low, high)) = limits(values, mean, variance, usual) else { continue };
            for &v in values.iter().filter(|&&v| v < low || v > high) {
                cells.sum[cell] -= u32::from(v);
                cells.squares[cell] -= u64::from(v) * u64::from(v);
                cells.clipped[cell] -= u16::from(v >= lattice.white);
                cells.rejected[cell] += 1;
            }
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

/// The counts between which the pixels of a cell stay, where some, but not too many, lie beyond.
pub(super) fn limits(values: &[u16], mean: f64, variance: f64, usual: f64) -> Option<(u16, u16)> {
    let middle = (values.len() - 1) / 2;
    let deviation = variance.sqrt();
    // A median lies within a standard deviation of the mean (Hotelling and Solomons 1932), mostly
    // much nearer.
    let median = nth(values, middle, mean, deviation / 8.0);
    let reach =
        |sigma: f64| (DEVIATIONS * sigma.max(LEAST_DEVIATION)).min(f64::from(u16::MAX)) as u16;
    // The law alone clears most cells; the cell's own spread is asked only where it does not.
    let farthest = values.iter().map(|v| v.abs_diff(median)).max()?;
    if farthest <= reach(usual.sqrt()) {
        return None;
    }
    // Half the pixels at least so far off put the farthest within reach of the spread: a motif.
    let enough = (f64::from(farthest) / (DEVIATIONS * PER_MAD)) as u16 + 2;
    if count(values, |v| v.abs_diff(median) < enough) <= middle {
        return None;
    }
    let distances: Vec<u16> = values.iter().map(|v| v.abs_diff(median)).collect();
    let mad = nth(&distances, middle, deviation / PER_MAD, deviation / 8.0);
    let reach = reach((f64::from(mad) * PER_MAD).max(usual.sqrt()));
    let off = count(values, |v| v.abs_diff(median) > reach);
    (off > 0 && off * MOST_OFF <= values.len())
        .then_some((median.saturating_sub(reach), median.saturating_add(reach)))
}

/// Values of a kind. Counted in lanes of the vector registers.
#[inline(always)]
fn count(values: &[u16], of_kind: impl Fn(u16) -> bool) -> usize {
    let (chunks, rest) = values.as_chunks::<8>();
    let mut lanes = [0_u16; 8];
    for chunk in chunks {
        for (lane, &v) in lanes.iter_mut().zip(chunk) {
            *lane += u16::from(of_kind(v));
        }
    }
    let in_lanes: u16 = lanes.iter().sum();
    usize::from(in_lanes) + rest.iter().filter(|&&v| of_kind(v)).count()
}

/// The value of a rank (from 0): steps of growing length from a guess until it is passed, then
/// halving of the last one. Counting so few values is faster than sorting them.
fn nth(values: &[u16], rank: usize, guess: f64, step: f64) -> u16 {
    let reached = |limit: i32| count(values, |v| v <= limit as u16) > rank;
    // Casts saturate, so the guess stays within the counts.
    let (guess, mut step) = (i32::from(guess as u16), i32::from(step as u16).max(1));
    // At most `rank` values lie at or below the lower end, more at or below the upper.
    let down = reached(guess);
    let (mut below, mut at) = if down { (-1, guess) } else { (guess, i32::from(u16::MAX)) };
    while at - below > step {
        let next = if down { at - step } else { below + step };
        let over = reached(next);
        if over {
            at = next
        } else {
            below = next
        }
        if over != down {
            break;
        }
        step *= 2;
    }
    while at - below > 1 {
        let half = i32::midpoint(below, at);
        if reached(half) { at = half } else { below = half }
    }
    at as u16
}
