//! A result as a mixture: one normal distribution per hypothesis, weighted by how well the frames
//! support it. Its mean and variance are those of the law of total variance (JCGM 100:2008, 4.3,
//! for a discrete unknown); its 95 % interval is taken from the distribution itself (JCGM 101:2008,
//! 7.7), since two camps are no bell.

use crate::measured::{NORMAL_95, coverage_factor};
use statrs::distribution::{ContinuousCDF, StudentsT};
use statrs::function::erf::erf;
use std::collections::BTreeMap;

/// What an expanded uncertainty covers.
const COVERED: f64 = 0.95;
/// Share of a normal distribution below one deviation above its mean.
const ABOVE_ONE: f64 = 0.841_344_746_068_543;
/// From so many degrees of freedom on Student's distribution is normal.
const MOST: f64 = 1e4;
/// Hypotheses are merged where means differ by less than this share of the deviation ...
const MEAN_BIN: f64 = 0.05;
/// ... and deviations by less than this factor's logarithm.
const DEVIATION_BIN: f64 = 0.1;

/// One hypothesis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Part {
    pub weight: f64,
    pub mean: f64,
    pub variance: f64,
}

/// What the parts come to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Summary {
    pub mean: f64,
    /// Variance of the whole.
    pub variance: f64,
    /// Half the width of the interval about the mean that holds 95 %.
    pub half_width: f64,
    /// The same for what a normal distribution holds within one deviation.
    pub one_deviation: f64,
}

impl Summary {
    /// Standard uncertainty and degrees of freedom of the Student distribution that holds as much
    /// as the mixture within both of its half-widths, that of one deviation and that of 95 %. Tails
    /// shorter than normal ones (two camps) get a smaller standard uncertainty instead.
    pub fn as_student(&self) -> (f64, f64) {
        let ratio = self.half_width / self.one_deviation.max(f64::MIN_POSITIVE);
        let of = |dof: f64| {
            let one = StudentsT::new(0.0, 1.0, dof).map_or(1.0, |t| t.inverse_cdf(ABOVE_ONE));
            coverage_factor(dof) / one
        };
        if !ratio.is_finite() || ratio <= of(MOST) {
            return (self.half_width / NORMAL_95, f64::INFINITY);
        }
        let (mut low, mut high) = (1.0_f64, MOST);
        for _ in 0..30 {
            let middle = (low * high).sqrt();
            if of(middle) > ratio { low = middle } else { high = middle }
        }
        (self.half_width / coverage_factor(low), low)
    }
}

/// Sums up parts whose weights need not add up to 1.
pub(super) fn summary(parts: &[Part]) -> Summary {
    let total: f64 = parts.iter().map(|p| p.weight).sum();
    let mean = parts.iter().map(|p| p.weight * p.mean).sum::<f64>() / total;
    let variance =
        parts.iter().map(|p| p.weight * (p.variance + (p.mean - mean).powi(2))).sum::<f64>()
            / total;
    let deviation = variance.sqrt();
    if deviation.is_nan() || deviation <= 0.0 {
        return Summary { mean, variance: 0.0, half_width: 0.0, one_deviation: 0.0 };
    }
    let merged = merge(parts, mean, deviation);
    let held = |half: f64| {
        merged
            .iter()
            .map(|p| p.weight / total * held_by(p.mean - mean, p.variance.sqrt(), half))
            .sum::<f64>()
    };
    // Chebyshev's bound: 95 % lie within sqrt(20) deviations.
    let within = |share: f64| {
        let (mut low, mut high) = (0.0, 4.5 * deviation);
        for _ in 0..30 {
            let middle = f64::midpoint(low, high);
            if held(middle) < share { low = middle } else { high = middle }
        }
        high
    };
    Summary {
        mean,
        variance,
        half_width: within(COVERED),
        one_deviation: within(2.0 * ABOVE_ONE - 1.0),
    }
}

fn held_by(off: f64, deviation: f64, half: f64) -> f64 {
    let below = |x: f64| 0.5 * (1.0 + erf(x / deviation / std::f64::consts::SQRT_2));
    below(half - off) - below(-half - off)
}

fn merge(parts: &[Part], mean: f64, deviation: f64) -> Vec<Part> {
    let mut bins: BTreeMap<(i64, i64), Part> = BTreeMap::new();
    for p in parts {
        let variance = p.variance.max(1e-6 * deviation * deviation);
        let key = (
            ((p.mean - mean) / (MEAN_BIN * deviation)).round() as i64,
            (variance.sqrt().ln() / DEVIATION_BIN).round() as i64,
        );
        let bin = bins.entry(key).or_insert(Part { weight: 0.0, mean: 0.0, variance: 0.0 });
        bin.weight += p.weight;
        bin.mean += p.weight * p.mean;
        bin.variance += p.weight * variance;
    }
    bins.into_values()
        .map(|b| Part {
            weight: b.weight,
            mean: b.mean / b.weight,
            variance: b.variance / b.weight,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_bell_has_the_normal_factor() {
        let whole = summary(&[Part { weight: 3.0, mean: 2.0, variance: 0.04 }]);
        assert!((whole.half_width / 0.2 - 1.96).abs() < 0.001, "{whole:?}");
        let (u, _) = whole.as_student();
        assert!((u - 0.2).abs() < 0.002, "{u}");
    }

    #[test]
    fn two_camps_far_apart_reach_to_the_outer_tenth_of_each() {
        // Each camp may miss 5 % on its outer side: 1.645 deviations (one-sided 95 %).
        let camp = |mean| Part { weight: 0.5, mean, variance: 1e-4 };
        let whole = summary(&[camp(-0.1), camp(0.1)]);
        assert!((whole.half_width - (0.1 + 1.645 * 0.01)).abs() < 1e-4, "{whole:?}");
        // Law of total variance.
        assert!((whole.variance - (1e-4 + 0.01)).abs() < 1e-9, "{whole:?}");
        let (u, dof) = whole.as_student();
        assert!((coverage_factor(dof) * u - whole.half_width).abs() < 1e-6);
    }

    #[test]
    fn heavy_tails_become_students_degrees_of_freedom() {
        // Variances drawn from a scaled inverse chi-squared law make Student's t: with 5 degrees of
        // freedom its factor is 2.571 (JCGM 100:2008, table G.2) and its deviation sqrt(5/3).
        const DOF: f64 = 5.0;
        let density = |v: f64| v.powf(-DOF / 2.0) * (-DOF / (2.0 * v)).exp();
        let parts: Vec<Part> = (-800..1600)
            .map(|i| {
                let v = (f64::from(i) * 0.005).exp();
                Part { weight: density(v), mean: 0.0, variance: v }
            })
            .collect();
        let whole = summary(&parts);
        assert!((whole.half_width - 2.571).abs() < 0.02, "{whole:?}");
        let (u, dof) = whole.as_student();
        assert!((u - 1.0).abs() < 0.02 && (dof - DOF).abs() < 0.5, "{u} with {dof}");
    }
}
