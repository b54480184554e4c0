//! Medians, quantiles, modes and weights that a few wrong values cannot move. Values that are not
//! finite count as unknown.

/// Standard deviation over median absolute deviation of normal noise: 1 over the normal
/// distribution's quantile of three quarters (P. J. Huber, Robust Statistics, 1981, from memory).
pub const DEVIATION_PER_MEDIAN: f64 = 1.482_602_218_505_602;

/// The median, in the unit of the values; `None` of nothing.
#[must_use]
pub fn median(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    let mut known = finite(values);
    let middle = known.len() / 2;
    if known.is_empty() {
        return None;
    }
    let odd = known.len() % 2 == 1;
    let (known, middle) = around(&mut known, middle);
    let (below, &mut upper, _) = known.select_nth_unstable_by(middle, f64::total_cmp);
    let lower = below.iter().copied().max_by(f64::total_cmp).filter(|_| !odd);
    Some(lower.map_or(upper, |lower| f64::midpoint(lower, upper)))
}

/// Values that a guess where a rank lies is taken from, and how many of them lie on either side of
/// it: three standard deviations of a rank in the middle of so many.
const GUESSED_FROM: usize = 256;
const BESIDE: usize = 24;
/// Fewer values are not worth it.
const MANY: usize = 2048;

/// Few of many values, among which a value of some rank (from 0) and the one before it are, with its
/// rank among them; otherwise all. To hold each value against two bounds takes a fraction of the time
/// that sorting takes. What is not among those few is lost.
fn around(values: &mut [f64], rank: usize) -> (&mut [f64], usize) {
    let count = values.len();
    if count < MANY {
        return (values, rank);
    }
    let mut some: [f64; GUESSED_FROM] = std::array::from_fn(|i| values[i * count / GUESSED_FROM]);
    some.sort_unstable_by(f64::total_cmp);
    let guess = rank * GUESSED_FROM / count;
    let low = some[guess.saturating_sub(BESIDE)];
    let high = some[(guess + BESIDE).min(GUESSED_FROM - 1)];
    let below = values.iter().filter(|v| **v < low).count();
    let within = values.iter().filter(|v| low <= **v && **v <= high).count();
    if rank <= below || rank >= below + within {
        return (values, rank);
    }
    // The others are lost.
    let mut found = 0;
    for i in 0..count {
        let value = values[i];
        values[found] = value;
        found += usize::from(low <= value && value <= high);
    }
    (&mut values[..found], rank - below)
}

/// A quantile in the unit of the values, by linear interpolation between order statistics; `None` of nothing.
#[must_use]
pub fn quantile(values: impl IntoIterator<Item = f64>, share: f64) -> Option<f64> {
    at_share(&mut finite(values), share)
}

/// Two quantiles in the unit of the values; `None` of nothing.
#[must_use]
pub fn quantiles(values: impl IntoIterator<Item = f64>, shares: [f64; 2]) -> Option<[f64; 2]> {
    let mut known = finite(values);
    Some([at_share(&mut known, shares[0])?, at_share(&mut known, shares[1])?])
}

/// How far two quantiles lie apart, the second minus the first; `None` of nothing.
#[must_use]
pub fn between(values: impl IntoIterator<Item = f64>, shares: [f64; 2]) -> Option<f64> {
    quantiles(values, shares).map(|[low, high]| high - low)
}

/// Median absolute deviation from the median, as the standard deviation of normal noise that
/// would show it; `None` of nothing.
#[must_use]
pub fn deviation(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    let known = finite(values);
    let middle = median(known.iter().copied())?;
    Some(DEVIATION_PER_MEDIAN * median(known.iter().map(|v| (v - middle).abs()))?)
}

/// Weight of a residual in units of its scale: 1 inside `limit`, falling as 1/|z| beyond
/// (Huber's minimax estimator).
#[must_use]
pub fn huber(z: f64, limit: f64) -> f64 {
    if z.abs() <= limit { 1.0 } else { limit / z.abs() }
}

/// The most frequent value; the first seen among equals.
#[must_use]
pub fn most_frequent<T: Copy>(
    values: impl Iterator<Item = T>,
    same: impl Fn(T, T) -> bool,
) -> Option<T> {
    let mut counts: Vec<(T, usize)> = Vec::new();
    for value in values {
        match counts.iter_mut().find(|(known, _)| same(*known, value)) {
            Some((_, n)) => *n += 1,
            None => counts.push((value, 1)),
        }
    }
    let most = counts.iter().map(|(_, n)| *n).max()?;
    counts.into_iter().find(|(_, n)| *n == most).map(|(value, _)| value)
}

fn finite(values: impl IntoIterator<Item = f64>) -> Vec<f64> {
    let values = values.into_iter();
    let mut known: Vec<f64> = values.collect();
    // Nearly always all are, and a look at all of them is quick.
    if !known.iter().fold(true, |all, v| all & v.is_finite()) {
        known.retain(|v| v.is_finite());
    }
    known
}

fn at_share(known: &mut [f64], share: f64) -> Option<f64> {
    if known.is_empty() {
        return None;
    }
    let place = share.clamp(0.0, 1.0) * (known.len() - 1) as f64;
    let low = place.floor() as usize;
    let (_, &mut a, above) = known.select_nth_unstable_by(low, f64::total_cmp);
    let b = above.iter().copied().min_by(f64::total_cmp).unwrap_or(a);
    Some(a + (place - low as f64) * (b - a))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn medians_and_quantiles_are_those_worked_by_hand() {
        assert_eq!(median([3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median([4.0, 1.0, 2.0, 3.0]), Some(2.5));
        assert_eq!(median([f64::NAN, 7.0]), Some(7.0));
        assert_eq!(median([]), None);
        // of -0.1, 0, 0, 0.3 with linear interpolation: 0.255 and -0.085
        let few = [0.3, 0.0, -0.1, 0.0];
        assert!((quantile(few, 0.95).unwrap() - 0.255).abs() < 1e-12);
        assert!((between(few, [0.05, 0.95]).unwrap() - 0.34).abs() < 1e-12);
        assert_eq!(quantile([], 0.5), None);
    }

    #[test]
    fn the_deviation_of_a_normal_sample_is_its_own() {
        // quantiles of the standard normal distribution at (k + 1/2) / 9, handbook table to four
        // places: the median size is that at 0.75, interpolated 0.6745
        let sample = [-1.5932, -0.9674, -0.5895, -0.2822, 0.0, 0.2822, 0.5895, 0.9674, 1.5932];
        let by_hand = 0.5895 / 0.6745;
        assert!((deviation(sample).unwrap() - by_hand).abs() < 1e-3);
        assert_eq!(deviation([5.0; 4]), Some(0.0));
    }

    /// Whatever the order and the kind of the values, the same as by sorting all.
    #[test]
    fn medians_of_many_are_those_of_all_sorted() {
        let at = |i: usize| (i * 7919 % 104_729) as f64;
        let kinds: [&dyn Fn(usize) -> f64; 6] = [
            &at,
            &|i| i as f64,
            &|i| -(i as f64),
            &|i| (at(i) / 1e4).floor(),
            &|i| if i % 3 == 0 { -0.0 } else { 0.0 },
            &|i| if i.is_multiple_of(MANY / GUESSED_FROM) { 1e9 } else { at(i) },
        ];
        for count in [MANY - 1, MANY, MANY + 1, 23_375, 23_376] {
            for (kind, value) in kinds.iter().enumerate() {
                let mut sorted: Vec<f64> = (0..count).map(value).collect();
                let found = median(sorted.iter().copied()).unwrap();
                sorted.sort_by(f64::total_cmp);
                let by_sorting = f64::midpoint(sorted[(count - 1) / 2], sorted[count / 2]);
                assert_eq!(found.to_bits(), by_sorting.to_bits(), "{count} of kind {kind}");
            }
        }
    }

    #[test]
    fn far_residuals_lose_weight() {
        assert_eq!(huber(2.0, 2.5), 1.0);
        assert_eq!(huber(-5.0, 2.5), 0.5);
    }
}
