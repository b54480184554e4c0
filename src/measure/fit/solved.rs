//! The equations of a shoot under one choice of prior variances, as far as hypotheses ask for them.
//!
//! Where a choice differs from another in one parameter alone, as by one shutter time of many being
//! odd, it follows from the other's solution at the cost of a few products (J. Sherman and W. J.
//! Morrison, Annals of Mathematical Statistics 21, 124, 1950).

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// What hypotheses ask for. Columns of solutions: the levels, what the dial adds, a step at each edge.
#[derive(Clone)]
pub(super) struct Answer {
    /// Solutions at the states, a row each.
    pub at_states: DMatrix<f64>,
    /// Sums of products of what the parameters leave of those columns.
    pub left: DMatrix<f64>,
    /// Covariance of the states.
    pub among: DMatrix<f64>,
    /// Logarithm of the determinant of the equations.
    pub determinant: f64,
    /// Sum of the logarithms of the prior variances that are finite.
    pub informed: f64,
}

/// A choice that was solved by itself, with all that others follow from.
pub(super) struct Choice {
    variances: Vec<f64>,
    /// Solutions of all parameters.
    all: DMatrix<f64>,
    /// Columns of the inverse that belong to the states.
    inverse: Vec<DVector<f64>>,
    /// Diagonal of the inverse; empty where nothing is to follow.
    diagonal: Vec<f64>,
    solved: Answer,
}

impl Choice {
    /// From the factor of the equations under these prior variances, products of the parameters' columns
    /// with the others and of the others among themselves, and the parameters that are states; `goes_on`
    /// where other choices are to follow.
    pub fn of(
        variances: &[f64],
        factor: &Cholesky<f64, Dyn>,
        (cross, rest): (&DMatrix<f64>, &DMatrix<f64>),
        states: &[usize],
        goes_on: bool,
    ) -> Self {
        let all = factor.solve(cross);
        let left = rest - cross.tr_mul(&all);
        let unit = |s: usize| {
            let mut unit = DVector::zeros(variances.len());
            unit[s] = 1.0;
            unit
        };
        let inverse: Vec<DVector<f64>> = states.iter().map(|&s| factor.solve(&unit(s))).collect();
        let among = DMatrix::from_fn(states.len(), states.len(), |i, j| inverse[j][states[i]]);
        let at_states = DMatrix::from_fn(states.len(), all.ncols(), |i, k| all[(states[i], k)]);
        let lower = factor.l_dirty();
        let determinant = lower.diagonal().iter().map(|d| 2.0 * d.ln()).sum();
        let informed = variances.iter().filter(|v| v.is_finite()).map(|v| v.ln()).sum();
        let diagonal = if goes_on { inverse_diagonal(lower) } else { Vec::new() };
        let solved = Answer { at_states, left, among, determinant, informed };
        Self { variances: variances.to_vec(), all, inverse, diagonal, solved }
    }

    /// As it is.
    pub fn solved(&self) -> &Answer {
        &self.solved
    }

    /// The same where nothing is to follow.
    pub fn into_solved(self) -> Answer {
        self.solved
    }

    /// The parameter in which alone these prior variances differ.
    pub fn differs_in_one(&self, variances: &[f64]) -> Option<usize> {
        let mut apart = (0..variances.len()).filter(|&k| variances[k] != self.variances[k]);
        let first = apart.next()?;
        apart.next().is_none().then_some(first)
    }

    /// With another prior variance of one parameter.
    pub fn with(&self, k: usize, variance: f64) -> Answer {
        let more = 1.0 / variance - 1.0 / self.variances[k];
        let share = 1.0 + more * self.diagonal[k];
        let gain = more / share;
        let mut solved = self.solved.clone();
        let row = self.all.row(k);
        let at_states =
            DVector::from_iterator(self.inverse.len(), self.inverse.iter().map(|column| column[k]));
        solved.at_states -= gain * &at_states * row;
        solved.left += gain * row.tr_mul(&row);
        solved.among -= gain * &at_states * at_states.transpose();
        solved.determinant += share.ln();
        solved.informed += (variance / self.variances[k]).ln();
        solved
    }
}

/// Diagonal of the inverse of a matrix with this Cholesky factor, whose upper part is anything: squares
/// of each column of the factor's own inverse.
fn inverse_diagonal(lower: &DMatrix<f64>) -> Vec<f64> {
    let n = lower.nrows();
    let squares = |k: usize| {
        let mut column = vec![0.0; n];
        column[k] = 1.0;
        let mut sum = 0.0;
        for j in k..n {
            let value = column[j] / lower[(j, j)];
            sum += value * value;
            let below = lower.column(j);
            for (cell, l) in column[j + 1..].iter_mut().zip(below.iter().skip(j + 1)) {
                *cell -= value * l;
            }
        }
        sum
    };
    (0..n).map(squares).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// Rounding over a few hundred products.
    const ROUNDING: f64 = 1e-9;

    const PARAMETERS: usize = 7;

    /// Answer by itself, of columns that no rule made.
    fn whole(variances: &[f64; PARAMETERS], goes_on: bool) -> Choice {
        let cell = |i: usize, j: usize| ((3 * i + 7 * j * j + 5) % 17) as f64 / 17.0 - 0.5;
        let columns = DMatrix::from_fn(40, PARAMETERS + 3, cell);
        let sums = columns.tr_mul(&columns);
        let mut normal = sums.view((0, 0), (PARAMETERS, PARAMETERS)).into_owned();
        for (k, variance) in variances.iter().enumerate() {
            normal[(k, k)] += 1.0 / variance;
        }
        let factor = Cholesky::new(normal).unwrap();
        let part = |from: usize, rows: usize| sums.view((from, PARAMETERS), (rows, 3)).into_owned();
        let beside = (&part(0, PARAMETERS), &part(PARAMETERS, 3));
        Choice::of(variances, &factor, beside, &[1, 4], goes_on)
    }

    /// The inverse of the equations, by no short cut, tells what a change of one prior variance does.
    #[test]
    fn one_prior_variance_changed_is_as_if_solved_anew() {
        let variances = [f64::INFINITY, f64::INFINITY, 0.4, 0.4, 2.0, 0.4, 0.1];
        let whole = whole(&variances, true);
        for (k, variance) in [(2, 3.6), (3, 0.01), (5, 1e-12), (6, 40.0), (4, f64::INFINITY)] {
            let mut changed = variances;
            changed[k] = variance;
            assert_eq!(whole.differs_in_one(&changed), Some(k));
            let anew = self::whole(&changed, false);
            let (found, expected) = (whole.with(k, variance), anew.solved());
            let near = |a: &DMatrix<f64>, b: &DMatrix<f64>| (a - b).abs().max() < ROUNDING;
            assert!(near(&found.at_states, &expected.at_states), "{k}");
            assert!(near(&found.left, &expected.left), "{k}");
            assert!(near(&found.among, &expected.among), "{k}");
            let weight = |s: &Answer| s.determinant + s.informed;
            assert!(variance.is_infinite() || (weight(&found) - weight(expected)).abs() < ROUNDING);
        }
        let mut two = variances;
        (two[2], two[3]) = (1.0, 1.0);
        assert_eq!(whole.differs_in_one(&two), None);
        assert_eq!(whole.differs_in_one(&variances), None);
    }
}
