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
/// What a time that no clock alone makes is off by besides, standard deviation in stops (ours).
const UNCLOCKED: f64 = 0.2;

/// One distinct time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimePoint {
    /// log2 of the seconds.
    pub log_time: f64,
    /// Measured deviation from the rule of the dial, stops.
    pub off: f64,
    /// Whether the clock alone makes it: not so short that curtains count.
    pub clocked: bool,
}

/// What the times themselves are off by.
#[derive(Clone, Debug, PartialEq)]
pub struct Own {
    /// Stops, but for a factor common to all.
    pub off: Vec<f64>,
    /// Squared stops.
    pub covariance: DMatrix<f64>,
}

/// Parts the times' own deviations from what the sensor makes of them, averaged over what scatter and
/// slope may be (total variance, JCGM 100:2008, 4.3 for a discrete unknown); `covariance` is that of
/// the measured deviations, squared stops. `None` where the equations cannot be solved.
#[must_use]
pub fn own(points: &[TimePoint], covariance: &DMatrix<f64>) -> Option<Own> {
    let n = points.len();
    let middle = points.iter().map(|p| p.log_time).sum::<f64>() / n.max(1) as f64;
    let x: Vec<f64> = points.iter().map(|p| p.log_time - middle).collect();
    let y = DVector::from_iterator(n, points.iter().map(|p| p.off));
    let mut found: Vec<(f64, DVector<f64>, DMatrix<f64>)> = Vec::new();
    for scatter in SCATTERS {
        let prior = |p: &TimePoint| scatter.hypot(if p.clocked { 0.0 } else { UNCLOCKED }).powi(2);
        let prior = DMatrix::from_diagonal(&DVector::from_iterator(n, points.iter().map(prior)));
        for (slope, share) in SLOPES {
            let beside = DMatrix::from_fn(n, n, |i, j| slope * slope * x[i] * x[j] + ANY * ANY);
            let whole = Cholesky::<f64, Dyn>::new(covariance + beside + &prior)?;
            // The mean and the covariance of one of two normal parts, their sum being seen.
            let gain = &prior * whole.inverse();
            let told = whole.solve(&y);
            let log_size: f64 = 2.0 * whole.l().diagonal().map(f64::ln).sum();
            let log = f64::ln(share) - 0.5 * (y.dot(&told) + log_size);
            found.push((log, &gain * &y, &prior - &gain * &prior));
        }
    }
    let best = found.iter().map(|f| f.0).fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = found.iter().map(|f| (f.0 - best).exp()).sum();
    let weight = |log: f64| (log - best).exp() / total;
    let mut mean = DVector::zeros(n);
    found.iter().for_each(|(log, off, _)| mean += off * weight(*log));
    let mut all = DMatrix::zeros(n, n);
    for (log, off, covariance) in &found {
        let apart = off - &mean;
        all += (covariance + &apart * apart.transpose()) * weight(*log);
    }
    let finite = mean.iter().chain(all.iter()).all(|v| v.is_finite());
    finite.then(|| Own { off: mean.iter().copied().collect(), covariance: all })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    const NOISE: f64 = 0.0005;

    /// Deviations of so many stops that go up and down without a slope of their own, seen through a
    /// sensor that has one; by how far the outer two come out apart, less what was planted, and its u.
    fn ends(n: usize, slope: f64, scatter: f64) -> (f64, f64) {
        let turn = [1.0, -1.0, -1.0, 1.0];
        let planted = |i: usize| scatter * turn[i % 4];
        let point = |i: usize| TimePoint {
            log_time: i as f64 / 3.0,
            off: planted(i) + slope * i as f64 / 3.0,
            clocked: true,
        };
        let points: Vec<TimePoint> = (0..n).map(point).collect();
        let measured = DMatrix::from_diagonal_element(n, n, NOISE * NOISE);
        let own = own(&points, &measured).unwrap();
        let c = &own.covariance;
        let u = (c[(0, 0)] + c[(n - 1, n - 1)] - 2.0 * c[(0, n - 1)]).sqrt();
        (own.off[n - 1] - own.off[0] - (planted(n - 1) - planted(0)), u)
    }

    #[test]
    fn a_slope_that_stands_out_of_the_scatter_is_the_sensor_s() {
        // 0.004 a stop over 13 stops, which is 0.052.
        let (off, u) = ends(40, 0.004, 0.001);
        assert!(off.abs() < 0.003 && u < 0.003, "{off} +- {u}");
    }

    #[test]
    fn a_slope_that_does_not_is_in_the_doubt() {
        // Of 40 times in thirds with 0.02 each a slope is known to 0.02 / (40^0.5 x 3.85) = 0.0008 a
        // stop at best, 0.011 over 13 stops; a sensor is likely to have less.
        let (off, u) = ends(40, 0.0, 0.02);
        assert!(off.abs() < u && (0.004..0.013).contains(&u), "{off} +- {u}");
    }

    #[test]
    fn few_times_leave_the_slope_to_what_sensors_are_like() {
        // By hand: 0.35 x 0.0003^2 + 0.35 x 0.001^2 + 0.25 x 0.003^2 + 0.05 x 0.01^2 is 0.0028^2 a stop,
        // and three times lie two thirds of a stop apart.
        let (_, u) = ends(3, 0.0, 0.05);
        let expected = f64::hypot(0.0028 * 2.0 / 3.0, 2_f64.sqrt() * NOISE);
        assert!((u - expected).abs() < 0.2 * expected, "{u} for {expected}");
    }
}
