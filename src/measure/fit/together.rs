//! What the states of a mixture share: their covariance over all hypotheses.

use super::Fit;
use super::posterior::Hypothesis;
use crate::measured::{Measured, NotAMeasurement};
use crate::quantity::Stops;
use nalgebra::DMatrix;

/// Mean and covariance of the mixture (law of total variance).
pub(super) struct Whole {
    pub mean: Vec<f64>,
    pub covariance: DMatrix<f64>,
}

impl Whole {
    /// `None` where the hypotheses do not keep how their states hang together.
    pub fn of(hypotheses: &[Hypothesis]) -> Option<Self> {
        let n = hypotheses.first()?.states.len();
        let total: f64 = hypotheses.iter().map(|h| h.log_weight.exp()).sum();
        let mut mean = vec![0.0; n];
        for h in hypotheses {
            for (m, (state, _)) in mean.iter_mut().zip(&h.states) {
                *m += h.log_weight.exp() / total * state;
            }
        }
        let mut covariance = DMatrix::zeros(n, n);
        for h in hypotheses {
            let weight = h.log_weight.exp() / total;
            let joint = h.joint.as_ref().filter(|joint| joint.calm.nrows() == n)?;
            let apart: Vec<f64> = h.states.iter().zip(&mean).map(|((s, _), m)| s - m).collect();
            for j in 0..n {
                for i in 0..n {
                    let change = joint.change.as_ref().map_or(0.0, |(d, gain)| gain * d[i] * d[j]);
                    covariance[(i, j)] +=
                        weight * (joint.calm[(i, j)] + change + apart[i] * apart[j]);
                }
            }
        }
        Some(Self { mean, covariance })
    }

    /// The covariance where the states have these standard uncertainties: the mixture's tails are in
    /// those, correlations stay.
    pub fn stretched(&self, u: &[f64]) -> DMatrix<f64> {
        let stretch = |i: usize| u[i] / self.covariance[(i, i)].sqrt().max(f64::MIN_POSITIVE);
        DMatrix::from_fn(u.len(), u.len(), |i, j| stretch(i) * stretch(j) * self.covariance[(i, j)])
    }
}

/// What the settings' green strengths share, stops squared: of states with these standard uncertainties,
/// and that a sensor's bend moves by so much.
pub(super) fn shared(hypotheses: &[Hypothesis], u: &[f64], moved: &[f64]) -> DMatrix<f64> {
    let own = || {
        DMatrix::from_diagonal(&nalgebra::DVector::from_iterator(u.len(), u.iter().map(|u| u * u)))
    };
    let light = Whole::of(hypotheses).map_or_else(own, |whole| whole.stretched(u));
    let bend = nalgebra::DVector::from_column_slice(moved);
    light + &bend * bend.transpose()
}

impl Fit {
    /// Covariance of two settings' green strengths, stops squared.
    #[must_use]
    pub fn covariance(&self, a: usize, b: usize) -> f64 {
        if a == b { self.settings[a].covariance[1][1] } else { self.shared[(a, b)] }
    }

    /// Green strength of setting `a` less that of `b`, in which what they share falls out: the bare light,
    /// shutter times that both have.
    ///
    /// # Errors
    /// Where the numbers are not finite.
    pub fn difference(&self, a: usize, b: usize) -> Result<Measured<Stops>, NotAMeasurement> {
        let [one, other] = [&self.settings[a], &self.settings[b]];
        let variance = self.covariance(a, a) + self.covariance(b, b) - 2.0 * self.covariance(a, b);
        let dof = one.dof[1].min(other.dof[1]);
        Measured::new(Stops::new(one.stops[1] - other.stops[1]), variance.max(0.0).sqrt(), dof)
    }
}
