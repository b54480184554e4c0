//! Hot and dead pixels are left out of cells that are noisier than they ought to be.

use super::grid::PlaneCells;
use super::lattice::Lattice;
use super::noise_law::NoiseLaw;

/// A cell is looked at again where its variance exceeds the law by so many standard deviations of
/// a sample variance. Two are enough to see one pixel seven deviations off among 256, and cost a
/// second look at three clean cells in a hundred.
const SUSPICION: f64 = 2.0;
/// Pixels beyond so many standard deviations of the cell's median are left out, on either side.
pub(super) const DEVIATIONS: f64 = 5.0;
/// Standard deviation of normal noise over its median absolute deviation.
pub(super) const PER_MAD: f64 = 1.482_602_218_505_602;
/// No deviation below this is believed, in counts: counts are whole numbers.
pub(super) const LEAST_DEVIATION: f64 = 0.5;
/// Where more than one pixel in so many lies off, the cell shows a motif, not hot pixels, and
/// stays whole.
pub(super) const MOST_OFF: usize = 16;
/// Fewer pixels have no median worth the name.
pub(super) const FEWEST: u32 = 16;

/// Leaves out what lies off in suspicious cells of every plane.
pub(super) fn leave_out(lattice: &Lattice<'_>, planes: &mut [PlaneCells]) {
    let mut values = Vec::new();
    for (index, cells) in planes.iter_mut().enumerate() {
        let law = NoiseLaw::of(lattice, index, cells);
        for cell in 0..cells.count.len() {
            let Some(usual) = suspicious(cells, cell, law.as_ref()) else { continue };
            lattice.gather(index, cell, &mut values);
            if let Some((low, high)) = limits(&values, cells, cell, usual) {
                for &v in values.iter().filter(|&&v| v < low || v > high) {
                    cells.sum[cell] -= u32::from(v);
                    cells.squares[cell] -= u64::from(v) * u64::from(v);
                    cells.clipped[cell] -= u16::from(v >= lattice.white);
                    cells.rejected[cell] += 1;
                }
            }
        }
    }
}

/// The usual variance of a cell that exceeds it by more than chance; where there is no law, every
/// cell is looked at.
pub(super) fn suspicious(cells: &PlaneCells, cell: usize, law: Option<&NoiseLaw>) -> Option<f64> {
    let n = cells.count[cell];
    if n < FEWEST {
        return None;
    }
    let usual = law.map_or(0.0, |law| cells.mean(cell).map_or(0.0, |mean| law.variance(mean)));
    let chance = SUSPICION * (2.0 / (f64::from(n) - 1.0)).sqrt();
    (cells.variance(cell)? > usual * (1.0 + chance)).then_some(usual)
}

/// The counts between which the pixels of a cell stay, where some, but not too many, lie beyond.
pub(super) fn limits(
    values: &[u16],
    cells: &PlaneCells,
    cell: usize,
    usual: f64,
) -> Option<(u16, u16)> {
    let middle = (values.len() - 1) / 2;
    let (mean, deviation) = (cells.mean(cell)?, cells.variance(cell)?.sqrt());
    // A median lies within a standard deviation of the mean (Hotelling and Solomons 1932).
    let median = nth(values, middle, mean - deviation - 1.0, mean + deviation + 1.0);
    let off = |sigma: f64| {
        let reach = (DEVIATIONS * sigma.max(LEAST_DEVIATION)).min(f64::from(u16::MAX)) as u16;
        (median.saturating_sub(reach), median.saturating_add(reach))
    };
    // The law alone clears most cells; the cell's own spread is asked only where it does not.
    let (low, high) = off(usual.sqrt());
    if count_off(values, low, high) == 0 {
        return None;
    }
    let (low, high) = {
        let distances: Vec<u16> = values.iter().map(|v| v.abs_diff(median)).collect();
        let mad = nth(&distances, middle, -1.0, 2.0 * deviation + 1.0);
        off((f64::from(mad) * PER_MAD).max(usual.sqrt()))
    };
    let count = count_off(values, low, high);
    (count > 0 && count * MOST_OFF <= values.len()).then_some((low, high))
}

fn count_off(values: &[u16], low: u16, high: u16) -> usize {
    values.iter().map(|&v| u16::from(v < low) | u16::from(v > high)).sum::<u16>().into()
}

/// The value of a rank (from 0), found by halving the guessed range and counting, which runs in
/// vector registers where a sort would not.
fn nth(values: &[u16], rank: usize, from: f64, to: f64) -> u16 {
    let up_to = |t: u16| usize::from(values.iter().map(|&v| u16::from(v <= t)).sum::<u16>());
    // As casts saturate, the guesses stay within the counts.
    let (mut below, mut at) = (from.floor() as i32, to.ceil() as u16);
    if below >= 0 && up_to(below as u16) > rank {
        below = -1;
    }
    if up_to(at) <= rank {
        at = u16::MAX;
    }
    // Invariant: at most `rank` values are <= below, more are <= at.
    let (mut below, mut at) = (below.max(-1), i32::from(at));
    while at - below > 1 {
        let half = i32::midpoint(below, at);
        if up_to(half as u16) > rank { at = half } else { below = half }
    }
    at as u16
}
