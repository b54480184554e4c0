//! The change of one quantity from the first measurement to the newest: by a straight line through
//! all of them where one fits, else the newest less the first; with what they share cancelled.
//!
//! Generalised least squares with a known covariance (JCGM 102:2011, 6 and 7 for the propagation;
//! A. C. Aitken 1935 for the estimate), degrees of freedom by Welch and Satterthwaite (JCGM
//! 100:2008, G.4.1).

use crate::measured::{chance_beyond, coverage_factor, effective_dof, excess};
use nalgebra::{DMatrix, DVector};

/// A line through points that it misses by more than chance does once in so many times is none.
const NO_LINE: f64 = 0.02;
/// Times closer than this share of the whole span are one time.
const SPAN: f64 = 1e-6;

/// One measured value with what its uncertainty is made of, in the unit of the value.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Reading {
    /// When, in any unit; `None` where that is not known.
    pub time: Option<f64>,
    /// The value.
    pub value: f64,
    /// Standard uncertainty that is its own.
    pub own: f64,
    /// Its degrees of freedom.
    pub dof: f64,
    /// Errors that others have too: a number for the cause, and what one standard deviation of it
    /// does to this value.
    pub shared: Vec<(usize, f64)>,
}

/// How a change was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Course {
    /// The newest less the first.
    Ends,
    /// A straight line through all.
    Line,
}

/// A change with what can be believed of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// From the first to the newest, in the unit of the values.
    pub change: f64,
    /// Its standard uncertainty, in the same unit.
    pub u: f64,
    /// Effective degrees of freedom.
    pub dof: f64,
    /// How it was found.
    pub course: Course,
}

impl Trend {
    /// Expanded uncertainty at 95 %.
    #[must_use]
    pub fn u95(&self) -> f64 {
        coverage_factor(self.dof) * self.u
    }
    /// How often chance alone makes so large a change of a filter that never changed, as a share of 1.
    #[must_use]
    pub fn chance(&self) -> f64 {
        if self.u > 0.0 { chance_beyond((self.change / self.u).abs(), self.dof) } else { 1.0 }
    }
}

/// The change over these readings, oldest first; `None` for fewer than two.
#[must_use]
pub fn trend(readings: &[Reading]) -> Option<Trend> {
    let n = readings.len();
    if n < 2 {
        return None;
    }
    let line = (n > 2).then(|| line(readings)).flatten();
    if let Some(weights) = line {
        return Some(estimate(readings, &weights, Course::Line));
    }
    let mut ends = vec![0.0; n];
    (ends[0], ends[n - 1]) = (-1.0, 1.0);
    Some(estimate(readings, &ends, Course::Ends))
}

/// A sum of the readings with these weights, and its uncertainty.
fn estimate(readings: &[Reading], weights: &[f64], course: Course) -> Trend {
    let both = || readings.iter().zip(weights);
    let mut parts: Vec<(f64, f64)> = both().map(|(r, w)| (w * r.own, r.dof)).collect();
    let causes = readings.iter().flat_map(|r| &r.shared).map(|(cause, _)| cause + 1).max();
    for cause in 0..causes.unwrap_or(0) {
        let of = |r: &Reading| r.shared.iter().filter(|s| s.0 == cause).map(|s| s.1).sum::<f64>();
        let having = readings.iter().filter(|r| r.shared.iter().any(|s| s.0 == cause));
        let dof = having.map(|r| r.dof).fold(f64::INFINITY, f64::min);
        parts.push((both().map(|(r, w)| w * of(r)).sum(), dof));
    }
    let u = parts.iter().map(|(u, _)| u * u).sum::<f64>().sqrt();
    let change = both().map(|(r, w)| w * r.value).sum();
    Trend { change, u, dof: effective_dof(&parts), course }
}

/// Weights of the readings in the rise of the best line from the first time to the last; `None`
/// where the times allow none, or the line misses the readings by more than chance would.
fn line(readings: &[Reading]) -> Option<Vec<f64>> {
    let times: Vec<f64> = readings.iter().map(|r| r.time).collect::<Option<_>>()?;
    let (first, last) = (times[0], times[times.len() - 1]);
    let inside = times.iter().filter(|t| (*t - first) > SPAN * (last - first));
    if last <= first || inside.count() < 2 {
        return None;
    }
    let n = readings.len();
    let design = DMatrix::from_fn(n, 2, |i, k| match k {
        0 => 1.0,
        _ => (times[i] - first) / (last - first),
    });
    let inverse = covariance(readings).cholesky()?.inverse();
    let gram = (design.transpose() * &inverse * &design).try_inverse()?;
    let solve = gram * design.transpose() * &inverse;
    let values = DVector::from_iterator(n, readings.iter().map(|r| r.value));
    let missed = &values - &design * (&solve * &values);
    let size = (missed.transpose() * inverse * &missed)[(0, 0)];
    (excess(size, (n - 2) as f64) > NO_LINE).then(|| solve.row(1).iter().copied().collect())
}

fn covariance(readings: &[Reading]) -> DMatrix<f64> {
    let n = readings.len();
    DMatrix::from_fn(n, n, |i, j| {
        let (a, b) = (&readings[i], &readings[j]);
        let pairs = a.shared.iter().flat_map(|x| b.shared.iter().map(move |y| (x, y)));
        let common: f64 = pairs.filter(|(x, y)| x.0 == y.0).map(|(x, y)| x.1 * y.1).sum();
        common + if i == j { a.own * a.own } else { 0.0 }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(time: f64, value: f64, own: f64) -> Reading {
        Reading { time: Some(time), value, own, dof: f64::INFINITY, shared: Vec::new() }
    }

    #[test]
    fn two_are_subtracted_and_what_they_share_cancels() {
        let mut both = [reading(0.0, 10.0, 0.03), reading(1.0, 10.1, 0.04)];
        let found = trend(&both).expect("a change");
        // 3, 4, 5.
        assert!((found.change - 0.1).abs() < 1e-12 && (found.u - 0.05).abs() < 1e-12);
        // Twice its uncertainty: 4.55 % (Abramowitz and Stegun, table 26.1).
        assert!((found.chance() - 0.0455).abs() < 1e-4, "{}", found.chance());
        both.iter_mut().for_each(|r| r.shared = vec![(0, 0.3)]);
        assert!((trend(&both).expect("a change").u - 0.05).abs() < 1e-12);
        // Two cameras: 0.3 each.
        both[1].shared = vec![(1, 0.3)];
        let apart = (0.05_f64.powi(2) + 2.0 * 0.3_f64.powi(2)).sqrt();
        assert!((trend(&both).expect("a change").u - apart).abs() < 1e-12);
    }

    /// Slope of ordinary least squares: sigma over the root of the sum of squares of the times
    /// about their mean, which for 0, 1/5, ... 1 is 0.7 (closed form).
    #[test]
    fn a_line_through_all_is_surer_than_its_ends() {
        let six: Vec<Reading> =
            (0..6).map(|i| reading(f64::from(i), 0.01 * f64::from(i), 0.02)).collect();
        let found = trend(&six).expect("a change");
        assert_eq!(found.course, Course::Line);
        assert!((found.change - 0.05).abs() < 1e-12);
        assert!((found.u - 0.02 / 0.7_f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn what_is_no_line_is_told_by_its_ends() {
        let mut six: Vec<Reading> = (0..6).map(|i| reading(f64::from(i), 0.0, 0.01)).collect();
        six[5].value = 0.3;
        let found = trend(&six).expect("a change");
        assert_eq!((found.course, found.change), (Course::Ends, 0.3));
        // Nor is there one without dates, or on one day.
        six[5].value = 0.01;
        six.iter_mut().for_each(|r| r.time = Some(3.0));
        assert_eq!(trend(&six).expect("a change").course, Course::Ends);
        six[2].time = None;
        assert_eq!(trend(&six).expect("a change").course, Course::Ends);
        assert!(trend(&six[..1]).is_none());
    }

    /// A camera of its own error for the first half and another for the second: the line holds to
    /// the rise within each, not to the step between them.
    #[test]
    fn a_change_of_camera_is_no_change_of_the_filter() {
        let mut six: Vec<Reading> = (0..6).map(|i| reading(f64::from(i), 0.0, 0.002)).collect();
        for (i, r) in six.iter_mut().enumerate() {
            let camera = usize::from(i > 2);
            r.value = if camera == 1 { 0.05 } else { 0.0 };
            r.shared = vec![(camera, 0.05)];
        }
        let found = trend(&six).expect("a change");
        assert!(found.chance() > 0.5, "{found:?}");
    }
}
