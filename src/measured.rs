//! A value with its standard uncertainty and degrees of freedom, to the end.

use crate::quantity::Quantity;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Why three numbers do not make a measurement.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("value {value}, uncertainty {u} and degrees of freedom {dof} do not make a measurement")]
pub struct NotAMeasurement {
    /// The offered value.
    pub value: f64,
    /// The offered standard uncertainty.
    pub u: f64,
    /// The offered degrees of freedom.
    pub dof: f64,
}

/// A measured quantity: finite value, standard uncertainty u >= 0, degrees of freedom > 0
/// (infinite where the uncertainty itself is taken as known).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured<Q> {
    value: Q,
    u: f64,
    dof: f64,
}

impl<Q: Quantity> Measured<Q> {
    /// The only way in.
    ///
    /// # Errors
    /// Where the value or u is not finite, u is negative, or the degrees of freedom are not above 0.
    pub fn new(value: Q, u: f64, dof: f64) -> Result<Self, NotAMeasurement> {
        let bare = value.bare();
        if bare.is_finite() && u.is_finite() && u >= 0.0 && dof > 0.0 {
            Ok(Self { value, u, dof })
        } else {
            Err(NotAMeasurement { value: bare, u, dof })
        }
    }
    /// The value.
    pub fn value(&self) -> Q {
        self.value
    }
    /// The standard uncertainty, in the unit of the value.
    pub fn u(&self) -> Q {
        Q::wrap(self.u)
    }
    /// The effective degrees of freedom.
    pub fn dof(&self) -> f64 {
        self.dof
    }
    /// The expanded uncertainty with a coverage factor of one's own.
    pub fn expanded(&self, factor: f64) -> Q {
        Q::wrap(factor * self.u)
    }
    /// This less another that shares none of its errors.
    #[must_use]
    pub fn less(&self, other: &Self) -> Self {
        let value = Q::wrap(self.value.bare() - other.value.bare());
        let dof = effective_dof(&[(self.u, self.dof), (other.u, other.dof)]);
        Self { value, u: self.u.hypot(other.u), dof }
    }
    /// The expanded uncertainty at 95 %: Student's t for these degrees of freedom times u
    /// (JCGM 100:2008, G.3 and G.4).
    pub fn u95(&self) -> Q {
        Q::wrap(coverage_factor(self.dof) * self.u)
    }
}

/// Student's t for a two-sided 95 % interval (JCGM 100:2008, table G.2; there 1.96 at infinity).
#[must_use]
pub fn coverage_factor(dof: f64) -> f64 {
    const NORMAL_95: f64 = 1.959_963_984_540_054;
    if dof.is_finite() && dof < 1e6 {
        StudentsT::new(0.0, 1.0, dof.max(1e-3)).map_or(NORMAL_95, |t| t.inverse_cdf(0.975))
    } else {
        NORMAL_95
    }
}

/// Effective degrees of freedom of a sum of independent parts, each a standard uncertainty and its
/// degrees of freedom (Welch-Satterthwaite, JCGM 100:2008, G.4.1, eq. G.2b).
#[must_use]
pub fn effective_dof(parts: &[(f64, f64)]) -> f64 {
    let total: f64 = parts.iter().map(|(u, _)| u * u).sum();
    let spread: f64 = parts.iter().map(|(u, dof)| u.powi(4) / dof).sum();
    if spread > 0.0 { total * total / spread } else { f64::INFINITY }
}
