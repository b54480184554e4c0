//! Doubt of a pattern's amplitudes: noise of the cells, and light whose own pattern changes from one
//! run to the next.
//!
//! The change of a coefficient between two bare runs, one before and one after the filter, is a
//! draw of variance V. Where the light's pattern wanders as a random walk, the mean of the two bare
//! runs misses the pattern that stood behind the filter by V/4, wherever between them that was:
//! with W the walk and b the length of the gap, var(W(a) - W(b)/2) = a - a + b/4. Without a closing
//! run the filter stands in the middle of a gap that was not closed: V/2. V is known beforehand
//! only roughly; the changes that were seen correct it (Gaussian sample, scaled inverse chi-squared
//! belief), and coverage factors follow from effective degrees of freedom (JCGM 100, G.4).

use crate::measure::map::RatioMap;
use crate::measured::coverage_factor;
use crate::numerics::harmonics::{SMOOTH_TERMS, smooth_terms};
use crate::numerics::least_squares::{LinearFit, robust_fit};
use crate::quantity::Stops;
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// Standard deviation of what changes from bare run to bare run beforehand, in stops of one
/// coefficient (ours): light changes slowly across a frame, so higher orders change less.
pub const FALLOFF_CHANGE: f64 = 0.005;
/// The same for order 1, in stops.
pub const TILT_CHANGE: f64 = 0.005;
/// The same for order 2, in stops.
pub const SADDLE_CHANGE: f64 = 0.003;
/// The same for order 4, in stops.
pub const CROSS_CHANGE: f64 = 0.001;
/// Degrees of freedom of that belief (ours).
pub const BELIEF_DOF: f64 = 5.0;
/// Amplitudes below this many standard uncertainties may be none at all.
const MAYBE_NONE: f64 = 4.0;

/// Fits of what changed between bare runs.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Doubt {
    changes: Vec<LinearFit>,
    noise: f64,
}

impl Doubt {
    /// From a map's bare changes and the noise of one of its cells, in stops.
    pub fn of(map: &RatioMap, noise: f64) -> Self {
        let fitted = |change: &Vec<Option<f64>>| {
            let (rows, values) = map.rows(change, |_, _| true, smooth_terms);
            (values.len() >= 2 * SMOOTH_TERMS).then(|| robust_fit(&rows, &values, noise)).flatten()
        };
        Self { changes: map.bare_changes.iter().filter_map(fitted).collect(), noise }
    }

    /// Expanded uncertainty of the falloff from centre to corner.
    pub fn of_sum(&self, fit: &LinearFit, which: &[usize], prior: f64) -> Stops {
        let variance = |fit: &LinearFit| {
            which
                .iter()
                .flat_map(|&i| which.iter().map(move |&j| (i, j)))
                .map(|(i, j)| fit.covariance[(i, j)])
                .sum::<f64>()
        };
        let seen = self.changes.iter().map(|c| {
            let sum: f64 = which.iter().map(|&i| c.coefficients[i]).sum();
            sum * sum - c.rms().powi(2) * variance(c)
        });
        let (u, dof) = self.combined(self.noise.powi(2) * variance(fit), prior, seen.collect());
        Stops::new(coverage_factor(dof) * u)
    }

    /// Expanded uncertainty of an amplitude 2 sqrt(a^2 + b^2), from the places of a and b.
    pub fn of_amplitude(&self, fit: &LinearFit, [a, b]: [usize; 2], prior: f64) -> Stops {
        let larger = |fit: &LinearFit| fit.covariance[(a, a)].max(fit.covariance[(b, b)]);
        let seen = self.changes.iter().flat_map(|c| {
            let noise = c.rms().powi(2) * larger(c);
            [c.coefficients[a], c.coefficients[b]].map(|d| d * d - noise)
        });
        let (u, dof) = self.combined(self.noise.powi(2) * larger(fit), prior, seen.collect());
        let radius = fit.coefficients[a].hypot(fit.coefficients[b]);
        let factor = if radius < MAYBE_NONE * u { plane_factor(dof) } else { coverage_factor(dof) };
        Stops::new(2.0 * factor * u)
    }

    /// Standard uncertainty of a coefficient and its effective degrees of freedom.
    fn combined(&self, noise: f64, prior: f64, seen: Vec<f64>) -> (f64, f64) {
        let dof = BELIEF_DOF + seen.len() as f64;
        let squares: f64 = seen.iter().map(|s| s.max(0.0)).sum();
        let change = (BELIEF_DOF * prior * prior + squares) / dof;
        let light = change * if self.changes.is_empty() { 0.5 } else { 0.25 };
        let variance = noise + light;
        let effective = dof * (variance / light).powi(2);
        (variance.sqrt(), effective)
    }
}

/// 95 % of the radii of two equally doubtful coordinates lie within this many standard
/// uncertainties: half of the squared radius follows F with 2 and nu degrees of freedom (Hotelling);
/// 2.448 for many.
fn plane_factor(dof: f64) -> f64 {
    FisherSnedecor::new(2.0, dof.clamp(1.0, 1e6))
        .map_or(f64::NAN, |f| (2.0 * f.inverse_cdf(0.95)).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn radii_in_the_plane_have_their_published_quantile() {
        // F(0.95; 2, 5) = 5.786 and F(0.95; 2, inf) = 2.996, tables of the F distribution, from
        // memory; the second is chi-squared's 5.991 over 2.
        assert!((plane_factor(5.0) - (2.0_f64 * 5.786).sqrt()).abs() < 1e-3);
        assert!((plane_factor(1e9) - 5.991_f64.sqrt()).abs() < 1e-3);
    }
}
