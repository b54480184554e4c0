//! Between which counts the pixels of a cell stay: its median, and what lies too far from it.

pub(super) use crate::numerics::robust::DEVIATION_PER_MEDIAN as PER_MAD;

/// Pixels beyond so many standard deviations of the cell's median are left out, on either side.
pub(super) const DEVIATIONS: f64 = 5.0;
/// No deviation below this is believed, in counts: counts are whole numbers.
pub(super) const LEAST_DEVIATION: f64 = 0.5;
/// Where more than one pixel in so many lies off, the cell shows a motif, not hot pixels, and
/// stays whole.
pub(super) const MOST_OFF: usize = 16;

/// The counts between which the pixels of a cell stay, where some, but not too many, lie beyond.
#[inline(always)]
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

/// Values counted at a time: of more the compiler makes loops that take half as long again.
const LANES: usize = 8;

/// Values of a kind. Counted in lanes of the vector registers.
#[inline(always)]
pub(super) fn count(values: &[u16], of_kind: impl Fn(u16) -> bool) -> usize {
    let (chunks, rest) = values.as_chunks::<LANES>();
    let mut lanes = [0_u16; LANES];
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
#[inline(always)]
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
