//! A value with its standard uncertainty and degrees of freedom, to the end.

use crate::quantity::Quantity;
use statrs::distribution::{ChiSquared, ContinuousCDF, StudentsT};

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

/// Factor of a normal distribution for a two-sided 95 % interval: a factor.
pub const NORMAL_95: f64 = 1.959_963_984_540_054;

/// Student's t for a two-sided 95 % interval (JCGM 100:2008, table G.2; there 1.96 at infinity).
#[must_use]
pub fn coverage_factor(dof: f64) -> f64 {
    if dof.is_finite() && dof < 1e6 {
        StudentsT::new(0.0, 1.0, dof.max(1e-3)).map_or(NORMAL_95, |t| t.inverse_cdf(0.975))
    } else {
        NORMAL_95
    }
}

/// Degrees of freedom for which Student's t gives this factor: [`coverage_factor`] turned round;
/// infinite for factors of the normal distribution and below.
#[must_use]
pub fn dof_of_factor(factor: f64) -> f64 {
    // Beyond these the factor changes by less than a thousandth.
    let (mut low, mut high) = (1.0, 3000.0);
    if !factor.is_finite() || factor <= coverage_factor(high) {
        return f64::INFINITY;
    }
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if coverage_factor(middle) > factor { low = middle } else { high = middle }
    }
    f64::midpoint(low, high)
}

/// Degrees of freedom of a value to whose variance, of so many degrees, something known for sure is
/// added. Expanded uncertainties are added as squares: those of Welch and Satterthwaite (JCGM 100:2008,
/// G.4.1) let the factor fall by more than the standard uncertainty grows where they are few, so that
/// more doubt would make a value look surer.
#[must_use]
pub fn dof_with_sure(dof: f64, variance: f64, added: f64) -> f64 {
    let square = |dof: f64| coverage_factor(dof).powi(2);
    let expanded = square(dof) * variance + square(f64::INFINITY) * added;
    dof_of_factor((expanded / (variance + added)).sqrt())
}

/// How often chance makes a value as far from zero as so many of its standard uncertainties, either
/// way, as a share of 1.
#[must_use]
pub fn chance_beyond(uncertainties: f64, dof: f64) -> f64 {
    let dof = if dof.is_finite() { dof.clamp(1e-3, 1e6) } else { 1e6 };
    let t = StudentsT::new(0.0, 1.0, dof);
    t.map_or(1.0, |t| 2.0 * t.sf(uncertainties.abs()))
}

/// How often chance makes a sum of squares, each in units of its variance, as large as this, as a share
/// of 1.
#[must_use]
pub fn excess(sum_of_squares: f64, dof: f64) -> f64 {
    ChiSquared::new(dof).map_or(1.0, |chi| chi.sf(sum_of_squares))
}

/// Effective degrees of freedom of a sum of independent parts, each a standard uncertainty and its
/// degrees of freedom (Welch-Satterthwaite, JCGM 100:2008, G.4.1, eq. G.2b).
#[must_use]
pub fn effective_dof(parts: &[(f64, f64)]) -> f64 {
    let total: f64 = parts.iter().map(|(u, _)| u * u).sum();
    let spread: f64 = parts.iter().map(|(u, dof)| u.powi(4) / dof).sum();
    if spread > 0.0 { total * total / spread } else { f64::INFINITY }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// JCGM 100:2008, table G.2: 2.78 at four degrees of freedom, 2.23 at ten.
    #[test]
    fn a_factor_tells_its_degrees_of_freedom() {
        for (factor, dof) in [(12.71, 1.0), (2.78, 4.0), (2.23, 10.0)] {
            let found = dof_of_factor(factor);
            assert!((found / dof - 1.0).abs() < 0.02, "{factor}: {found}");
        }
        assert!(dof_of_factor(1.96).is_infinite() && dof_of_factor(1.5).is_infinite());
    }

    /// With two degrees of freedom a factor of 4.303 (JCGM 100:2008, table G.2) makes 4.303 of a standard
    /// uncertainty of 1; as much doubt again that is known for sure, 1.960 of it, makes 4.728.
    #[test]
    fn more_doubt_never_makes_a_value_surer() {
        let expanded =
            |added: f64| coverage_factor(dof_with_sure(2.0, 1.0, added)) * (1.0 + added).sqrt();
        let found = [0.0, 1.0].map(expanded);
        let published = [4.303, 4.728];
        assert!(found.iter().zip(published).all(|(f, p)| (f - p).abs() < 2e-3), "{found:?}");
        let steps: Vec<f64> = (0..40).map(|i| expanded(f64::from(i) / 4.0)).collect();
        assert!(steps.windows(2).all(|pair| pair[0] <= pair[1]), "{steps:?}");
    }

    /// Abramowitz and Stegun: 2.571 leaves 5 % at five degrees of freedom (table 26.10), 11.07 of
    /// chi-squared as much (table 26.8), 1.96 of the normal distribution (table 26.1).
    #[test]
    fn chances_are_the_handbooks() {
        for found in [chance_beyond(2.571, 5.0), excess(11.07, 5.0), chance_beyond(1.96, 1e9)] {
            assert!((found - 0.05).abs() < 1e-4, "{found}");
        }
        assert!((chance_beyond(-2.571, 5.0) - 0.05).abs() < 1e-4);
    }
}
