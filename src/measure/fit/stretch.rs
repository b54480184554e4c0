//! Times that seem to stretch along the dial. A response that is a power of the light, or bends in a
//! way that is partly one, makes levels rise by the same share with each doubling of the time, which
//! no frame of unknown light tells from longer times. The times themselves do not stretch: one clock
//! counts them, and what each is off by is its own. So a slope over many of them is the sensor's, as
//! far as the scatter of the times about it tells it from chance.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Scatter of a body's times about their rule, standard deviations in stops, each as likely (ours).
const SCATTERS: [f64; 5] = [0.001, 0.003, 0.008, 0.02, 0.05];
/// Slope of a sensor's response in stops per stop of light, standard deviations with their shares
/// (ours): departures from a line of up to a percent over five stops, and seldom worse.
const SLOPES: [(f64, f64); 4] = [(0.0003, 0.35), (0.001, 0.35), (0.003, 0.25), (0.01, 0.05)];
/// Nothing is known of the factor common to all times: standard deviation, stops.
const ANY: f64 = 16.0;

/// A slope, stops per stop, and its variance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    /// Stops per stop.
    pub mean: f64,
    /// The same squared.
    pub variance: f64,
}

/// The slope of offsets (log2 of the time, deviation from the rule, both in stops) with this covariance,
/// averaged over what scatter and slope may be (total variance, JCGM 100:2008, 4.3 for a discrete
/// unknown); `None` where the equations cannot be solved.
#[must_use]
pub fn slope(points: &[(f64, f64)], covariance: &DMatrix<f64>) -> Option<Slope> {
    let n = points.len();
    let middle = points.iter().map(|p| p.0).sum::<f64>() / n.max(1) as f64;
    let x = DVector::from_iterator(n, points.iter().map(|p| p.0 - middle));
    let y = DVector::from_iterator(n, points.iter().map(|p| p.1));
    let free = ANY * ANY;
    let mut found: Vec<(f64, Slope)> = Vec::new();
    for scatter in SCATTERS {
        let own = DMatrix::from_fn(n, n, |i, j| {
            covariance[(i, j)] + free + if i == j { scatter * scatter } else { 0.0 }
        });
        let own = Cholesky::<f64, Dyn>::new(own)?;
        let (of_x, of_y) = (own.solve(&x), own.solve(&y));
        let (told, along) = (x.dot(&of_x), x.dot(&of_y));
        let log_own = y.dot(&of_y) + 2.0 * own.l().diagonal().map(f64::ln).sum();
        for (size, share) in SLOPES {
            // One more unknown beside the others: its gain in likelihood, in closed form.
            let prior = size * size;
            let variance = 1.0 / (1.0 / prior + told);
            let mean = variance * along;
            let log = share.ln() - 0.5 * (log_own - mean * along + (prior / variance).ln());
            found.push((log, Slope { mean, variance }));
        }
    }
    let best = found.iter().map(|f| f.0).fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = found.iter().map(|f| (f.0 - best).exp()).collect();
    let total: f64 = weights.iter().sum();
    let over = |of: &dyn Fn(&Slope) -> f64| {
        found.iter().zip(&weights).map(|((_, s), w)| w / total * of(s)).sum::<f64>()
    };
    let mean = over(&|s| s.mean);
    let variance = over(&|s| s.variance + (s.mean - mean).powi(2));
    (mean.is_finite() && variance.is_finite()).then_some(Slope { mean, variance })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// Deviations of so many stops that go up and down without a slope.
    fn zigzag(n: usize, slope: f64, scatter: f64) -> Vec<(f64, f64)> {
        let turn = [1.0, -1.0, -1.0, 1.0];
        (0..n).map(|i| (i as f64 / 3.0, slope * i as f64 / 3.0 + scatter * turn[i % 4])).collect()
    }

    fn slope_of(n: usize, slope: f64, scatter: f64) -> Slope {
        let covariance = DMatrix::from_diagonal_element(n, n, 1e-6);
        super::slope(&zigzag(n, slope, scatter), &covariance).unwrap()
    }

    #[test]
    fn a_slope_that_stands_out_of_the_scatter_is_found_and_one_that_does_not_is_doubt() {
        let clear = slope_of(40, 0.004, 0.001);
        assert!((clear.mean - 0.004).abs() < 2e-4 && clear.variance.sqrt() < 2e-4, "{clear:?}");
        // Of 40 times in thirds with 0.02 each a slope is known to 0.02 / (40^0.5 x 3.85) at best.
        let hidden = slope_of(40, 0.0, 0.02);
        assert!(hidden.mean.abs() < 2e-4, "{hidden:?}");
        assert!((3e-4..9e-4).contains(&hidden.variance.sqrt()), "{hidden:?}");
    }

    #[test]
    fn few_times_leave_the_slope_to_what_sensors_are_like() {
        // 0.35 x 0.0003^2 + 0.35 x 0.001^2 + 0.25 x 0.003^2 + 0.05 x 0.01^2, by hand: 0.0028^2.
        let found = slope_of(3, 0.0, 0.05);
        assert!((found.variance.sqrt() - 0.0028).abs() < 4e-4, "{found:?}");
    }
}
