//! Between which counts the pixels of a cell stay: its median, and what lies too far from it.

use super::lattice::LANES;
pub(super) use crate::numerics::robust::DEVIATION_PER_MEDIAN as PER_MAD;
use fearless_simd::prelude::*;
use fearless_simd::u16x16;

/// Pixels beyond so many standard deviations of the cell's median are left out, on either side.
pub(super) const DEVIATIONS: f64 = 5.0;
/// No deviation below this is believed, in counts: counts are whole numbers.
pub(super) const LEAST_DEVIATION: f64 = 0.5;
/// Where more than one pixel in so many lies off, the cell shows a motif, not hot pixels, and
/// stays whole.
pub(super) const MOST_OFF: usize = 16;

/// The counts between which the pixels of a cell stay, where some, but not too many, lie beyond.
/// `mean` and `variance` are those of the values.
#[inline(always)]
pub(super) fn limits<S: Simd>(
    simd: S,
    values: &[u16],
    (mean, variance): (f64, f64),
    usual: f64,
) -> Option<(u16, u16)> {
    let middle = (values.len() - 1) / 2;
    let deviation = variance.sqrt();
    let within = |x: f64| x.clamp(-1.0, f64::from(u16::MAX)) as i32;
    // A median lies within a standard deviation of the mean (Hotelling and Solomons 1932), mostly
    // much nearer.
    let between = (within((mean - deviation).floor() - 1.0), within((mean + deviation).ceil()));
    let first = [-0.3, -0.08, 0.08, 0.3].map(|part| mean + part * deviation);
    let median = nth(simd, values, 0, middle, between, first);
    let reach =
        |sigma: f64| (DEVIATIONS * sigma.max(LEAST_DEVIATION)).min(f64::from(u16::MAX)) as u16;
    // The law alone clears most cells; the cell's own spread is asked only where it does not.
    let farthest = farthest(simd, values, median);
    if farthest <= reach(usual.sqrt()) {
        return None;
    }
    // Half the pixels at least so far off put the farthest within reach of the spread: a motif.
    let enough = (f64::from(farthest) / (DEVIATIONS * PER_MAD)) as u16 + 2;
    let [beyond] = counts_beyond(simd, values, median, [enough - 1]);
    if values.len() - beyond <= middle {
        return None;
    }
    // Half the distances at most exceed the root of twice their mean square (Markov).
    let most = (2.0 * (variance + (mean - f64::from(median)).powi(2))).sqrt();
    let between = (-1, within(most.ceil()).min(i32::from(enough) - 1));
    let first = [0.35, 0.52, 0.65, 0.8].map(|part| part * deviation);
    let mad = nth(simd, values, median, middle, between, first);
    let reach = reach((f64::from(mad) * PER_MAD).max(usual.sqrt()));
    let [off] = counts_beyond(simd, values, median, [reach]);
    (off > 0 && off * MOST_OFF <= values.len())
        .then_some((median.saturating_sub(reach), median.saturating_add(reach)))
}

/// The distance from `from` that has a rank (from 0) among those of all values, which is more than
/// the first of two numbers and not more than the second. Counting so few values against several
/// bounds at a time is faster than sorting them.
#[inline(always)]
fn nth<S: Simd>(
    simd: S,
    values: &[u16],
    from: u16,
    rank: usize,
    (mut below, mut at): (i32, i32),
    first: [f64; BOUNDS],
) -> u16 {
    // Casts saturate.
    let mut bounds = first.map(|bound| bound as i32);
    while at - below > 1 {
        let inside = bounds.map(|bound| bound.clamp(below + 1, at - 1) as u16);
        let beyond = counts_beyond(simd, values, from, inside);
        for (bound, beyond) in inside.map(i32::from).into_iter().zip(beyond) {
            // At most `rank` values lie at or below the lower end, more at or below the upper.
            if values.len() - beyond > rank {
                at = at.min(bound);
            } else {
                below = below.max(bound);
            }
        }
        let width = at - below;
        bounds = std::array::from_fn(|i| below + (i as i32 + 1) * width / (BOUNDS as i32 + 1));
    }
    at as u16
}

/// Bounds that values are held against at a time: what fits the registers.
const BOUNDS: usize = 4;

/// How many values lie farther from one than each of some bounds.
#[inline(always)]
fn counts_beyond<S: Simd, const N: usize>(
    simd: S,
    values: &[u16],
    from: u16,
    bounds: [u16; N],
) -> [usize; N] {
    let (chunks, rest) = values.as_chunks::<LANES>();
    let centre = u16x16::splat(simd, from);
    let limits = bounds.map(|bound| u16x16::splat(simd, bound));
    let (mut counts, one) = ([u16x16::splat(simd, 0); N], u16x16::splat(simd, 1));
    for chunk in chunks {
        let values = u16x16::load_array_ref(simd, chunk);
        let distance = values.max(centre) - values.min(centre);
        for (count, limit) in counts.iter_mut().zip(limits) {
            *count += distance.saturating_sub(limit).min(one);
        }
    }
    let mut beyond = [0; N];
    for ((beyond, count), bound) in beyond.iter_mut().zip(counts).zip(bounds) {
        let lanes: [u16; LANES] = count.into();
        for lane in lanes {
            *beyond += usize::from(lane);
        }
        for v in rest {
            *beyond += usize::from(v.abs_diff(from) > bound);
        }
    }
    beyond
}

/// How many values lie below and how many above each of some windows.
#[inline(always)]
pub(super) fn counts_outside<S: Simd, const N: usize>(
    simd: S,
    values: &[u16],
    windows: [(u16, u16); N],
) -> [(usize, usize); N] {
    let (chunks, rest) = values.as_chunks::<LANES>();
    let one = u16x16::splat(simd, 1);
    let ends = windows.map(|(low, high)| [u16x16::splat(simd, low), u16x16::splat(simd, high)]);
    let mut counts = [[u16x16::splat(simd, 0); 2]; N];
    for chunk in chunks {
        let values = u16x16::load_array_ref(simd, chunk);
        for ([below, above], [low, high]) in counts.iter_mut().zip(ends) {
            *below += low.saturating_sub(values).min(one);
            *above += values.saturating_sub(high).min(one);
        }
    }
    let mut outside = [(0, 0); N];
    for ((outside, counts), (low, high)) in outside.iter_mut().zip(counts).zip(windows) {
        let [below, above]: [[u16; LANES]; 2] = counts.map(Into::into);
        for lane in 0..LANES {
            outside.0 += usize::from(below[lane]);
            outside.1 += usize::from(above[lane]);
        }
        for &v in rest {
            outside.0 += usize::from(v < low);
            outside.1 += usize::from(v > high);
        }
    }
    outside
}

/// The largest distance from a value.
#[inline(always)]
fn farthest<S: Simd>(simd: S, values: &[u16], from: u16) -> u16 {
    let (chunks, rest) = values.as_chunks::<LANES>();
    let centre = u16x16::splat(simd, from);
    let mut most = u16x16::splat(simd, 0);
    for chunk in chunks {
        let values = u16x16::load_array_ref(simd, chunk);
        most = most.max(values.max(centre) - values.min(centre));
    }
    let lanes: [u16; LANES] = most.into();
    let mut farthest = 0;
    for v in lanes {
        farthest = farthest.max(v);
    }
    for v in rest {
        farthest = farthest.max(v.abs_diff(from));
    }
    farthest
}

/// Values counted at a time: of more the compiler makes loops that take half as long again.
const COUNTED: usize = 8;

/// Values of a kind. Counted in lanes of the vector registers.
#[inline(always)]
pub(super) fn count(values: &[u16], of_kind: impl Fn(u16) -> bool) -> usize {
    let (chunks, rest) = values.as_chunks::<COUNTED>();
    let mut lanes = [0_u16; COUNTED];
    for chunk in chunks {
        for (lane, &v) in lanes.iter_mut().zip(chunk) {
            *lane += u16::from(of_kind(v));
        }
    }
    let in_lanes: u16 = lanes.iter().sum();
    usize::from(in_lanes) + rest.iter().filter(|&&v| of_kind(v)).count()
}
