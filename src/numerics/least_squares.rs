//! Linear least squares with weights, for a few terms and thousands of rows.
//!
//! Rows hold the terms at one place each.

use super::robust;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Rounds of a robust fit.
const ROUNDS: usize = 12;
/// A robust fit has settled when no coefficient moves by more.
const SETTLED: f64 = 1e-6;
/// Residuals beyond this many scales lose weight.
const HUBER_LIMIT: f64 = 2.5;
/// So many rows are summed at a time.
const BLOCK: usize = 4;

/// Coefficients of a linear model; each value in the unit of its observation over that of its term.
#[derive(Clone, Debug, PartialEq)]
pub struct LinearFit {
    /// One per term.
    pub coefficients: Vec<f64>,
    /// Covariance for residuals of unit variance.
    pub covariance: DMatrix<f64>,
    /// Residuals of the rows that took part, in their order.
    pub residuals: Vec<f64>,
}

impl LinearFit {
    /// The model at one row of terms, in the unit of the observations.
    #[must_use]
    pub fn at(&self, terms: &[f64]) -> f64 {
        self.coefficients.iter().zip(terms).map(|(c, t)| c * t).sum()
    }
    /// Root mean square of the residuals, in the unit of the observations.
    #[must_use]
    pub fn rms(&self) -> f64 {
        let n = self.residuals.len().max(1) as f64;
        (self.residuals.iter().map(|r| r * r).sum::<f64>() / n).sqrt()
    }
}

/// A'WA of rows A with weights W; rows without a weight of their own count once.
#[must_use]
pub fn normal<const T: usize>(rows: &[[f64; T]], weights: Option<&[f64]>) -> DMatrix<f64> {
    let mut sum = [[0.0; T]; T];
    let weight = |i: usize| weights.map_or(1.0, |w| w[i]);
    let mut blocks = rows.chunks_exact(BLOCK);
    for (k, block) in blocks.by_ref().enumerate() {
        let [a, b, c, d] = [&block[0], &block[1], &block[2], &block[3]];
        let w: [f64; BLOCK] = std::array::from_fn(|n| weight(BLOCK * k + n));
        for (i, line) in sum.iter_mut().enumerate() {
            let [wa, wb, wc, wd] = [w[0] * a[i], w[1] * b[i], w[2] * c[i], w[3] * d[i]];
            for (j, cell) in line.iter_mut().enumerate().take(i + 1) {
                *cell += wa * a[j] + wb * b[j] + (wc * c[j] + wd * d[j]);
            }
        }
    }
    let first = rows.len() - blocks.remainder().len();
    for (k, row) in blocks.remainder().iter().enumerate() {
        let w = weight(first + k);
        for (i, line) in sum.iter_mut().enumerate() {
            for (j, cell) in line.iter_mut().enumerate().take(i + 1) {
                *cell += w * row[i] * row[j];
            }
        }
    }
    DMatrix::from_fn(T, T, |i, j| if j <= i { sum[i][j] } else { sum[j][i] })
}

/// A'v of rows A.
#[must_use]
pub fn projected<const T: usize>(
    rows: &[[f64; T]],
    values: impl Iterator<Item = f64>,
) -> DVector<f64> {
    let mut sum = [0.0; T];
    for (row, value) in rows.iter().zip(values) {
        for (s, t) in sum.iter_mut().zip(row) {
            *s += t * value;
        }
    }
    DVector::from_row_slice(&sum)
}

/// What a model leaves of values.
#[must_use]
pub fn residuals<const T: usize>(
    rows: &[[f64; T]],
    values: &[f64],
    coefficients: &[f64],
) -> Vec<f64> {
    let model = |row: &[f64; T]| row.iter().zip(coefficients).map(|(t, c)| t * c).sum::<f64>();
    rows.iter().zip(values).map(|(row, v)| v - model(row)).collect()
}

/// Normal equations of rows that are not kept.
#[derive(Clone, Copy, Debug)]
pub struct NormalSums<const T: usize> {
    /// A'WA, of which the lower triangle counts.
    matrix: [[f64; T]; T],
    /// A'Wv.
    right: [f64; T],
}

impl<const T: usize> Default for NormalSums<T> {
    fn default() -> Self {
        Self { matrix: [[0.0; T]; T], right: [0.0; T] }
    }
}

impl<const T: usize> NormalSums<T> {
    /// Adds a row of terms with its value and weight.
    pub fn add(&mut self, row: [f64; T], value: f64, weight: f64) {
        for i in 0..T {
            let own = weight * row[i];
            self.right[i] += own * value;
            for (sum, term) in self.matrix[i].iter_mut().zip(&row[..=i]) {
                *sum += own * term;
            }
        }
    }
    /// The coefficients, each in the unit of the values over that of its term; `None` where the rows do
    /// not determine them.
    #[must_use]
    pub fn solved(&self) -> Option<[f64; T]> {
        let matrix = DMatrix::from_fn(T, T, |i, j| self.matrix[i.max(j)][i.min(j)]);
        let found = matrix.cholesky()?.solve(&DVector::from_row_slice(&self.right));
        found.iter().all(|c| c.is_finite()).then(|| std::array::from_fn(|k| found[k]))
    }
}

/// Fits values with given weights. `None` where the rows do not determine the terms.
#[must_use]
pub fn weighted<const T: usize>(
    rows: &[[f64; T]],
    values: &[f64],
    weights: &[f64],
) -> Option<LinearFit> {
    let solver = normal(rows, Some(weights)).cholesky()?;
    let right = projected(rows, values.iter().zip(weights).map(|(v, w)| v * w));
    finished(rows, values, &solver, &right)
}

fn finished<const T: usize>(
    rows: &[[f64; T]],
    values: &[f64],
    solver: &Cholesky<f64, Dyn>,
    right: &DVector<f64>,
) -> Option<LinearFit> {
    let coefficients: Vec<f64> = solver.solve(right).iter().copied().collect();
    let finite = coefficients.iter().all(|c| c.is_finite());
    let residuals = residuals(rows, values, &coefficients);
    finite.then(|| LinearFit { coefficients, covariance: solver.inverse(), residuals })
}

/// Fits by Huber's estimator; `floor` is the least scale that residuals are judged by.
///
/// The steps keep the plain normal matrix and pull in the residuals instead (P. J. Huber, Robust
/// Statistics, 1981, modified residuals, from memory); the last one is weighted, for the covariance.
#[must_use]
pub fn robust_fit<const T: usize>(
    rows: &[[f64; T]],
    values: &[f64],
    floor: f64,
) -> Option<LinearFit> {
    let solver = normal(rows, None).cholesky()?;
    let right = projected(rows, values.iter().copied());
    let mut coefficients = solver.solve(&right);
    let mut left = residuals(rows, values, coefficients.as_slice());
    for _ in 0..ROUNDS {
        let limit = HUBER_LIMIT * scale(&left, floor)?;
        let pulled = left.iter().map(|r| r.clamp(-limit, limit));
        let step = solver.solve(&projected(rows, pulled));
        coefficients += &step;
        left = residuals(rows, values, coefficients.as_slice());
        if step.amax() < SETTLED {
            break;
        }
    }
    let scale = scale(&left, floor)?;
    let weights: Vec<f64> = left.iter().map(|r| robust::huber(r / scale, HUBER_LIMIT)).collect();
    weighted(rows, values, &weights)
}

/// Standard deviation of the residuals from their median size.
fn scale(residuals: &[f64], floor: f64) -> Option<f64> {
    let sizes = residuals.iter().map(|r| r.abs());
    let spread = robust::DEVIATION_PER_MEDIAN * robust::median(sizes)?;
    let scale = spread.max(floor).max(f64::MIN_POSITIVE);
    scale.is_finite().then_some(scale)
}

/// Slope of values over places that all groups share, whatever each group's own level; 0 where no place
/// differs from its group's. Each pair is a place and a value; the unit is that of values over places.
#[must_use]
pub fn slope_within<G: Iterator<Item = [f64; 2]> + Clone>(groups: impl Iterator<Item = G>) -> f64 {
    let (mut together, mut squares) = (0.0, 0.0);
    for group in groups {
        let n = group.clone().count() as f64;
        let mean = |k: usize| group.clone().map(|pair| pair[k]).sum::<f64>() / n;
        let (place, value) = (mean(0), mean(1));
        for [p, v] in group {
            together += (v - value) * (p - place);
            squares += (p - place) * (p - place);
        }
    }
    if squares > 0.0 { together / squares } else { 0.0 }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn line(k: usize) -> [f64; 2] {
        [1.0, k as f64]
    }

    #[test]
    fn a_line_through_weighted_points_is_the_one_worked_by_hand() {
        // points (0, 1), (1, 2), (2, 6), (3, 4), (4, 5), the third without weight: y = 1 + x
        let rows: Vec<[f64; 2]> = (0..5).map(line).collect();
        let values = [1.0, 2.0, 6.0, 4.0, 5.0];
        let fit = weighted(&rows, &values, &[1.0, 1.0, 0.0, 1.0, 1.0]).unwrap();
        assert!((fit.coefficients[0] - 1.0).abs() < 1e-12);
        assert!((fit.coefficients[1] - 1.0).abs() < 1e-12);
        assert!((fit.residuals[2] - 3.0).abs() < 1e-12);
        // sums by hand: n = 4, x = 8, xx = 26, determinant 40
        assert!((fit.covariance[(0, 0)] - 26.0 / 40.0).abs() < 1e-12);
        assert!((fit.covariance[(1, 1)] - 4.0 / 40.0).abs() < 1e-12);
        assert!((fit.covariance[(0, 1)] + 8.0 / 40.0).abs() < 1e-12);
        let mut sums = NormalSums::default();
        for (k, (row, value)) in rows.iter().zip(values).enumerate() {
            sums.add(*row, value, if k == 2 { 0.0 } else { 1.0 });
        }
        assert!(sums.solved().unwrap().iter().all(|c| (c - 1.0).abs() < 1e-12));
        let mut short = NormalSums::default();
        (0..9).for_each(|_| short.add([1.0, 1.0], 2.0, 1.0));
        assert_eq!(short.solved(), None);
        // one direction alone does not determine two terms
        assert!(weighted(&[[1.0, 1.0]; 9], &[2.0; 9], &[1.0; 9]).is_none());
    }

    #[test]
    fn a_robust_fit_solves_hubers_equations() {
        // a line, small wiggles, and a twentieth of the points far off to one side
        let rows: Vec<[f64; 2]> = (0..100).map(line).collect();
        let wiggle = |k: usize| 0.01 * ((k * 37 % 101) as f64 / 50.0 - 1.0);
        let off = |k: usize| if k.is_multiple_of(20) { 3.0 } else { 0.0 };
        let values: Vec<f64> =
            (0..100).map(|k| 2.0 - 0.5 * k as f64 + wiggle(k) + off(k)).collect();
        let fit = robust_fit(&rows, &values, 0.0).unwrap();
        assert!((fit.coefficients[1] + 0.5).abs() < 1e-3, "{:?}", fit.coefficients);
        assert!((fit.coefficients[0] - 2.0).abs() < 0.01, "{:?}", fit.coefficients);
        // the pulled residuals are orthogonal to every term (Huber's equations)
        let limit = HUBER_LIMIT * scale(&fit.residuals, 0.0).unwrap();
        let pulled = fit.residuals.iter().map(|r| r.clamp(-limit, limit));
        let sums = projected(&rows, pulled);
        assert!(sums[0].abs() < 1e-4 && sums[1].abs() < 1e-2, "{sums}");
    }
}
