//! Medians, quantiles and weights that a few wrong values cannot move.

/// Standard deviation over median absolute deviation of normal noise.
pub(super) const DEVIATION_PER_MEDIAN: f64 = 1.482_602_218_505_602;

/// The median; the slice is reordered.
pub(super) fn median(values: &mut [f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// A quantile by linear interpolation between order statistics; the slice is reordered.
pub(super) fn quantile(values: &mut [f64], share: f64) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let place = share.clamp(0.0, 1.0) * (values.len() - 1) as f64;
    let low = place.floor() as usize;
    let (_, &mut a, above) = values.select_nth_unstable_by(low, f64::total_cmp);
    let b = above.iter().copied().min_by(f64::total_cmp).unwrap_or(a);
    Some(a + (place - low as f64) * (b - a))
}

/// Weight of a residual in units of its scale: 1 inside `limit`, falling as 1/|z| beyond
/// (Huber's minimax estimator).
pub(super) fn huber(z: f64, limit: f64) -> f64 {
    if z.abs() <= limit { 1.0 } else { limit / z.abs() }
}
