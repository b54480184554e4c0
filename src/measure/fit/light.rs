//! The light as a smooth curve with a walk, and how readings are freed from it.
//!
//! The level of the light, in stops, moves by `dL = v dt + walk dW`, its slope by `dv = bend dW'`:
//! an integrated random walk (the continuous form of a cubic smoothing spline, C. Ansley and
//! R. Kohn 1985) with a plain one on top. Under this law one pass of the Kalman filter turns every
//! column of a least-squares problem into one whose rows are independent (P. de Jong, The diffuse
//! Kalman filter, 1991), at a cost that grows as a line with the number of frames.

/// How the light may move and frames may scatter: standard deviations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Motion {
    /// Of the slope at the start, stops per minute.
    pub slope: f64,
    /// Of the slope's change, stops per minute and root minute.
    pub bend: f64,
    /// Of the light's own walk, stops per root minute.
    pub walk: f64,
    /// Of one frame, common to its channels, stops.
    pub scatter: f64,
}

impl Motion {
    /// A light that stands still.
    pub fn still(scatter: f64) -> Self {
        Self { slope: 0.0, bend: 0.0, walk: 0.0, scatter }
    }
}

/// The filter for given times and noise; the same for every column.
pub(super) struct Whitener {
    steps: Vec<f64>,
    gain: Vec<[f64; 2]>,
    variance: Vec<f64>,
    /// Covariance of the state before each frame: level, both, slope.
    before: Vec<[f64; 3]>,
}

impl Whitener {
    /// For frames at these minutes (ascending) with these variances of their own.
    pub fn new(motion: &Motion, minutes: &[f64], noise: &[f64]) -> Self {
        let n = minutes.len();
        let (mut gain, mut variance, mut before) =
            (Vec::with_capacity(n), Vec::with_capacity(n), Vec::with_capacity(n));
        let steps: Vec<f64> =
            (0..n).map(|i| minutes.get(i + 1).map_or(0.0, |m| (m - minutes[i]).max(0.0))).collect();
        let (walk, bend) = (motion.walk * motion.walk, motion.bend * motion.bend);
        let scatter = motion.scatter * motion.scatter;
        let [mut level, mut both, mut slope] = [0.0, 0.0, motion.slope * motion.slope];
        for i in 0..n {
            before.push([level, both, slope]);
            let total = level + noise[i] + scatter;
            let k = [level / total, both / total];
            level -= k[0] * level;
            slope -= k[1] * both;
            both -= k[1] * before[i][0];
            gain.push(k);
            variance.push(total);
            let dt = steps[i];
            level += 2.0 * dt * both + dt * dt * slope + walk * dt + bend * dt * dt * dt / 3.0;
            both += dt * slope + bend * dt * dt / 2.0;
            slope += bend * dt;
        }
        Self { steps, gain, variance, before }
    }

    /// Logarithm of the determinant of the readings' covariance.
    pub fn log_determinant(&self) -> f64 {
        self.variance.iter().map(|v| v.ln()).sum()
    }

    /// Replaces a column by one whose rows are independent and of variance 1.
    pub fn whiten(&self, column: &mut [f64]) {
        let (mut level, mut slope) = (0.0, 0.0);
        for (i, cell) in column.iter_mut().enumerate() {
            let apart = *cell - level;
            *cell = apart / self.variance[i].sqrt();
            level += self.gain[i][0] * apart;
            slope += self.gain[i][1] * apart;
            level += self.steps[i] * slope;
        }
    }

    /// The transpose of [`Self::whiten`]: turns weights of whitened rows into weights of readings.
    pub fn transpose(&self, weights: &mut [f64]) {
        let (mut level, mut slope) = (0.0, 0.0);
        for (i, cell) in weights.iter_mut().enumerate().rev() {
            slope += self.steps[i] * level;
            let apart =
                *cell / self.variance[i].sqrt() + self.gain[i][0] * level + self.gain[i][1] * slope;
            level -= apart;
            *cell = apart;
        }
    }

    /// The light at every frame from what remains of the readings when all else is taken off
    /// (Rauch, Tung and Striebel's smoother).
    pub fn smooth(&self, residual: &[f64]) -> Vec<f64> {
        let n = residual.len();
        let mut curve = vec![0.0; n];
        let mut predicted = Vec::with_capacity(n);
        let (mut level, mut slope) = (0.0, 0.0);
        for (i, r) in residual.iter().enumerate() {
            predicted.push((level, slope));
            let apart = r - level;
            level += self.gain[i][0] * apart;
            slope += self.gain[i][1] * apart;
            level += self.steps[i] * slope;
        }
        // Backwards with the sums of later innovations (Bryson and Frazier's form).
        let (mut from_level, mut from_slope) = (0.0, 0.0);
        for i in (0..n).rev() {
            from_slope += self.steps[i] * from_level;
            let apart = residual[i] - predicted[i].0;
            let kept = apart / self.variance[i] + from_level
                - (self.gain[i][0] * from_level + self.gain[i][1] * from_slope);
            from_level = kept;
            let [l, b, _] = self.before[i];
            curve[i] = predicted[i].0 + l * from_level + b * from_slope;
        }
        curve
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use nalgebra::{Cholesky, DMatrix, DVector};

    const MINUTES: [f64; 6] = [0.0, 0.1, 0.1, 0.9, 2.5, 2.6];
    const NOISE: [f64; 6] = [1e-4, 2e-4, 1e-4, 4e-4, 1e-4, 3e-4];
    const MOTION: Motion = Motion { slope: 0.03, bend: 0.02, walk: 0.01, scatter: 0.005 };

    /// Covariance of the light in closed form: slope^2 s t + walk^2 min + bend^2 (s^2 t / 2 - s^3 / 6)
    /// for s <= t (integrated Wiener process).
    fn light() -> DMatrix<f64> {
        DMatrix::from_fn(6, 6, |i, j| {
            let (s, t) = (MINUTES[i].min(MINUTES[j]), MINUTES[i].max(MINUTES[j]));
            MOTION.slope.powi(2) * s * t
                + MOTION.walk.powi(2) * s
                + MOTION.bend.powi(2) * (s * s * t / 2.0 - s * s * s / 6.0)
        })
    }

    fn covariance() -> DMatrix<f64> {
        let own = NOISE.map(|v| v + MOTION.scatter.powi(2));
        light() + DMatrix::from_diagonal(&DVector::from_row_slice(&own))
    }

    #[test]
    fn whitening_is_what_the_covariance_in_closed_form_asks_for() {
        let whitener = Whitener::new(&MOTION, &MINUTES, &NOISE);
        let v = Cholesky::new(covariance()).unwrap();
        let (a, b) = ([1.0, -2.0, 0.5, 3.0, 0.0, 1.0], [0.0, 1.0, 1.0, -1.0, 2.0, 0.3]);
        let expected = DVector::from_row_slice(&a).dot(&v.solve(&DVector::from_row_slice(&b)));
        let (mut wa, mut wb) = (a, b);
        whitener.whiten(&mut wa);
        whitener.whiten(&mut wb);
        let found: f64 = wa.iter().zip(wb).map(|(x, y)| x * y).sum();
        assert!((found / expected - 1.0).abs() < 1e-9, "{found} is not {expected}");
        let determinant = v.l().diagonal().iter().map(|d| 2.0 * d.ln()).sum::<f64>();
        assert!((whitener.log_determinant() - determinant).abs() < 1e-9);
        // <W a, b> = <a, W' b>
        let mut back = b;
        whitener.transpose(&mut back);
        let forth: f64 = wa.iter().zip(b).map(|(x, y)| x * y).sum();
        let turned: f64 = a.iter().zip(back).map(|(x, y)| x * y).sum();
        assert!((forth - turned).abs() < 1e-9 * forth.abs(), "{forth} is not {turned}");
    }

    #[test]
    fn the_curve_is_the_expected_light_given_the_readings() {
        let whitener = Whitener::new(&MOTION, &MINUTES, &NOISE);
        let residual = [0.01, 0.02, 0.0, 0.04, 0.1, 0.09];
        let v = Cholesky::new(covariance()).unwrap();
        let expected = light() * v.solve(&DVector::from_row_slice(&residual));
        for (found, expected) in whitener.smooth(&residual).iter().zip(expected.iter()) {
            assert!((found - expected).abs() < 1e-12, "{found} is not {expected}");
        }
    }
}
