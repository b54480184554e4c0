//! What a second look finds where it is plain to see.
//!
//! The limits of a cell hang on its median and on the median of the distances from it. Neither is
//! sought here: moments and counts bound both, and where no pixel lies between what the bounds
//! surely keep and what they surely leave out, the answer is the same as with the medians
//! themselves. Frames with many hot pixels would otherwise take several times as long.

use super::limits::{DEVIATIONS, LEAST_DEVIATION, MOST_OFF, PER_MAD};

/// Half the window that the moments are taken from, in usual deviations.
const WINDOW: f64 = 10.0;
/// Values taken at a time, in vector registers.
pub(super) const LANES: usize = 16;

/// Where the median and half the pixels lie, in deviations of the pixels near the mean.
#[derive(Clone, Copy)]
struct Within {
    median: f64,
    half: f64,
}
/// Of normal noise in nearly every cell of 256 pixels: the median's own deviation is 0.08, and 68 %
/// lie within one.
const NOISE: Within = Within { median: 0.35, half: 1.0 };
/// Where an edge puts up to two fifths of the cell elsewhere: the median is then at nine tenths of
/// what is left, and 91 % of that lie within 1.7.
const MOTIF: Within = Within { median: 1.4, half: 1.7 };
/// Against rounding.
const SLACK: f64 = 1e-6;

/// What [`super::limits::limits`] would find, or `None` where that is not plain.
#[inline(always)]
pub(super) fn limits(values: &[u16], usual: f64) -> Option<Option<(u16, u16)>> {
    let least = usual.sqrt().max(LEAST_DEVIATION);
    let half = WINDOW * least;
    let guess = f64::from(near_median(values)?);
    // Casts saturate, so the window stays within the counts.
    let moments = moments(values, (guess - half) as u16, (guess + half) as u16)?;
    for within in [NOISE, MOTIF] {
        if let found @ Some(_) = plain(values, least, moments, within) {
            return found;
        }
    }
    None
}

/// What is plain where median and half the pixels lie so near.
#[inline(always)]
fn plain(
    values: &[u16],
    least: f64,
    (mean, deviation): (f64, f64),
    of: Within,
) -> Option<Option<(u16, u16)>> {
    let middle = (values.len() - 1) / 2;
    let within = of.median * deviation + SLACK;
    // The value of rank `middle` is at least x where no more than `middle` lie below, and at most
    // x where more lie at or below.
    let surely = |x: f64| x.max(0.0) as u16;
    let (low, high) = (surely((mean - within).ceil()), surely((mean + within).floor()));
    let near = of.half * deviation;
    let inner = DEVIATIONS * least - within - SLACK;
    // No distance of rank `middle` exceeds the one that more than `middle` pixels keep.
    let outer = DEVIATIONS * (PER_MAD * (near + within)).max(least) + within + SLACK;
    let whole = |x: f64| (surely((mean - x).ceil()), surely((mean + x).floor()));
    let limits = [whole(near), whole(inner), whole(outer)];
    let [below, at_or_below, nearer, kept, not_out] = counts(values, (low, high), limits);
    let known = below <= middle && at_or_below > middle && nearer > middle && inner >= 1.0;
    if !known {
        return None;
    }
    if (values.len() - not_out) * MOST_OFF > values.len() {
        return Some(None);
    }
    if kept != not_out {
        return None;
    }
    let off = values.len() - kept;
    Some((off > 0 && off * MOST_OFF <= values.len()).then_some(limits[1]))
}

/// The middle one of three middle ones of three, from all over a cell of sixteen by sixteen: an edge
/// runs along rows or columns.
#[inline(always)]
fn near_median(values: &[u16]) -> Option<u16> {
    const APART: usize = 29;
    let at = |i: usize| {
        values
            .get((APART * i * values.len() / 256 + values.len() / 18) % values.len().max(1))
            .copied()
    };
    let middle = |a: u16, b: u16, c: u16| a.min(b).max(a.max(b).min(c));
    let of = |i: usize| Some(middle(at(i)?, at(i + 3)?, at(i + 6)?));
    Some(middle(of(0)?, of(1)?, of(2)?))
}

/// Mean and deviation of the values within a window.
#[inline(always)]
fn moments(values: &[u16], bottom: u16, top: u16) -> Option<(f64, f64)> {
    let Window { n, sum, squares } = Window::of(values, bottom, top);
    let (count, total) = (n as f64, sum as f64);
    let scatter = (n * squares).checked_sub(sum * sum)? as f64;
    (n > 0).then(|| (f64::from(bottom) + total / count, scatter.sqrt() / count))
}

/// Sums over the values within a window, above its lower end.
pub(super) struct Window {
    pub(super) n: u64,
    pub(super) sum: u64,
    pub(super) squares: u64,
}

impl Window {
    /// From the lower to the upper end, both in it.
    #[inline(always)]
    pub(super) fn of(values: &[u16], bottom: u16, top: u16) -> Self {
        let width = top - bottom;
        let (mut n, mut sum, mut lower, mut upper) =
            ([0_u16; LANES], [0_u32; LANES], [0_u32; LANES], [0_u32; LANES]);
        let (chunks, rest) = values.as_chunks::<LANES>();
        for chunk in chunks {
            for lane in 0..LANES {
                let above = chunk[lane].wrapping_sub(bottom);
                let inside = u16::from(above <= width);
                let above = u32::from(above & inside.wrapping_neg());
                n[lane] += inside;
                sum[lane] += above;
                lower[lane] += (above * above) & 0xffff;
                upper[lane] += (above * above) >> 16;
            }
        }
        let total = |of: [u32; LANES]| of.iter().copied().map(u64::from).sum::<u64>();
        let n = n.iter().copied().map(u64::from).sum();
        let squares = total(lower) + (total(upper) << 16);
        let mut window = Self { n, sum: total(sum), squares };
        for above in rest.iter().map(|v| u64::from(v.wrapping_sub(bottom))) {
            if above <= u64::from(width) {
                window.n += 1;
                window.sum += above;
                window.squares += above * above;
            }
        }
        window
    }
}

/// How many values lie below the first bound, at or below the second, and within each pair of
/// limits.
#[inline(always)]
fn counts(values: &[u16], (low, high): (u16, u16), limits: [(u16, u16); 3]) -> [usize; 5] {
    let mut lanes = [[0_u16; LANES]; 5];
    let (chunks, rest) = values.as_chunks::<LANES>();
    let kinds = |v: u16| {
        let within =
            |(from, to): (u16, u16)| u16::from(v.wrapping_sub(from) <= to.wrapping_sub(from));
        let [a, b, c] = limits;
        [u16::from(v < low), u16::from(v <= high), within(a), within(b), within(c)]
    };
    for chunk in chunks {
        for lane in 0..LANES {
            for (lanes, one) in lanes.iter_mut().zip(kinds(chunk[lane])) {
                lanes[lane] += one;
            }
        }
    }
    let mut counts = lanes.map(|lanes| lanes.iter().copied().map(usize::from).sum::<usize>());
    for &v in rest {
        counts.iter_mut().zip(kinds(v)).for_each(|(count, one)| *count += usize::from(one));
    }
    counts
}
