//! Linear least squares with weights, for a few terms and thousands of rows.

use super::robust;
use nalgebra::{DMatrix, DVector};

/// Rounds of reweighting in a robust fit.
const ROUNDS: usize = 12;
/// Residuals beyond this many scales lose weight.
const HUBER_LIMIT: f64 = 2.5;

/// Coefficients of a linear model.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct LinearFit {
    /// One per term.
    pub coefficients: Vec<f64>,
    /// Covariance for residuals of unit variance.
    pub covariance: DMatrix<f64>,
    /// Residuals of the rows that took part, in their order.
    pub residuals: Vec<f64>,
}

impl LinearFit {
    /// The model at one row of terms.
    pub fn at(&self, terms: &[f64]) -> f64 {
        self.coefficients.iter().zip(terms).map(|(c, t)| c * t).sum()
    }
    /// Root mean square of the residuals.
    pub fn rms(&self) -> f64 {
        let n = self.residuals.len().max(1) as f64;
        (self.residuals.iter().map(|r| r * r).sum::<f64>() / n).sqrt()
    }
}

/// Fits values with given weights; `rows` holds `terms` numbers a value. `None` where the rows do
/// not determine the terms.
pub(super) fn weighted(
    terms: usize,
    rows: &[f64],
    values: &[f64],
    weights: &[f64],
) -> Option<LinearFit> {
    let mut normal = DMatrix::<f64>::zeros(terms, terms);
    let mut right = DVector::<f64>::zeros(terms);
    for ((row, value), weight) in rows.chunks_exact(terms).zip(values).zip(weights) {
        for i in 0..terms {
            let w = weight * row[i];
            right[i] += w * value;
            for (j, t) in row.iter().enumerate().take(i + 1) {
                normal[(i, j)] += w * t;
            }
        }
    }
    normal.fill_upper_triangle_with_lower_triangle();
    let solver = normal.cholesky()?;
    let solution = solver.solve(&right);
    let covariance = solver.inverse();
    let coefficients: Vec<f64> = solution.iter().copied().collect();
    if coefficients.iter().any(|c| !c.is_finite()) {
        return None;
    }
    let residuals = rows
        .chunks_exact(terms)
        .zip(values)
        .map(|(row, v)| v - row.iter().zip(&coefficients).map(|(t, c)| t * c).sum::<f64>())
        .collect();
    Some(LinearFit { coefficients, covariance, residuals })
}

/// Fits by iteratively reweighted least squares (Huber); `floor` is the least scale that residuals
/// are judged by.
pub(super) fn robust_fit(
    terms: usize,
    rows: &[f64],
    values: &[f64],
    floor: f64,
) -> Option<LinearFit> {
    let mut weights = vec![1.0; values.len()];
    let mut fit = weighted(terms, rows, values, &weights)?;
    for _ in 0..ROUNDS {
        let mut sizes: Vec<f64> = fit.residuals.iter().map(|r| r.abs()).collect();
        let spread = robust::DEVIATION_PER_MEDIAN * robust::median(&mut sizes)?;
        let scale = spread.max(floor).max(f64::MIN_POSITIVE);
        for (w, r) in weights.iter_mut().zip(&fit.residuals) {
            *w = robust::huber(r / scale, HUBER_LIMIT);
        }
        let next = weighted(terms, rows, values, &weights)?;
        let moved = next
            .coefficients
            .iter()
            .zip(&fit.coefficients)
            .map(|(a, b)| (a - b).abs())
            .fold(0.0, f64::max);
        fit = next;
        if moved < 1e-6 {
            break;
        }
    }
    Some(fit)
}
