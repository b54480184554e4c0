//! The change of one quantity from the first measurement to the newest: by a straight line through
//! all of them where one fits, else by a step between two of them; with what they share cancelled.
//! Where neither explains how they lie, the newest less the first, as sure as they agree.
//!
//! Generalised least squares with a known covariance (JCGM 102:2011, 6 and 7 for the propagation;
//! A. C. Aitken 1935 for the estimate), degrees of freedom by Welch and Satterthwaite (JCGM
//! 100:2008, G.4.1).

use crate::measured::{chance_beyond, coverage_factor, effective_dof, excess};
use nalgebra::{DMatrix, DVector};

/// A line through points that it misses by more than chance does once in so many times is none.
const NO_LINE: f64 = 0.02;
/// Readings that a line and a step miss by more than chance does once in so many times contradict each
/// other (ours: a loud word, so it wants more).
const CONTRADICTED: f64 = 0.002;
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
    /// All from one on less all before it.
    Step,
    /// None: the readings contradict each other. The newest less the first, as unsure as that.
    Contradiction,
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
    /// Of readings that contradict each other the one without which all others agree, where there is
    /// one such.
    pub odd: Option<usize>,
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
    let mut ends = vec![0.0; n];
    (ends[0], ends[n - 1]) = (-1.0, 1.0);
    if n == 2 {
        return Some(estimate(readings, &ends, Course::Ends));
    }
    if let Some(weights) = line(readings) {
        return Some(estimate(readings, &weights, Course::Line));
    }
    let constant = fitted(readings, |_| 0.0);
    let step = step(readings);
    let steady = constant.as_ref().is_some_and(|fit| fit.is_believed());
    if let Some(step) = step.as_ref().filter(|fit| !steady && fit.is_believed()) {
        return Some(estimate(readings, &step.weights, Course::Step));
    }
    Some(if constant.iter().chain(&step).all(Fitted::is_refuted) {
        contradiction(readings)
    } else {
        estimate(readings, &ends, Course::Ends)
    })
}

/// The newest less the first, as sure as the scatter of all about their mean lets it be.
fn contradiction(readings: &[Reading]) -> Trend {
    let n = readings.len();
    let dof = n as f64 - 1.0;
    let mean = readings.iter().map(|r| r.value).sum::<f64>() / n as f64;
    let variance = readings.iter().map(|r| (r.value - mean).powi(2)).sum::<f64>() / dof;
    let change = readings[n - 1].value - readings[0].value;
    let (u, course) = ((2.0 * variance).sqrt(), Course::Contradiction);
    Trend { change, u, dof, course, odd: odd_one(readings) }
}

/// The one reading without which all others agree on one value; `None` where that is true of none, or of
/// more than one.
fn odd_one(readings: &[Reading]) -> Option<usize> {
    let agree_without = |odd: &usize| {
        let others: Vec<Reading> =
            readings.iter().enumerate().filter(|(i, _)| i != odd).map(|(_, r)| r.clone()).collect();
        fitted(&others, |_| 0.0).is_some_and(|fit| fit.is_believed())
    };
    let mut odd = (0..readings.len()).filter(agree_without);
    odd.next().filter(|_| odd.next().is_none())
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
    Trend { change, u, dof: effective_dof(&parts), course, odd: None }
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
    let share = |i: usize| (times[i] - first) / (last - first);
    fitted(readings, share).filter(Fitted::is_believed).map(|fit| fit.weights)
}

/// The best step between two times.
fn step(readings: &[Reading]) -> Option<Fitted> {
    let later =
        |k: &usize| readings[*k].time.zip(readings[*k - 1].time).is_some_and(|(b, a)| b > a);
    let steps = (1..readings.len()).filter(later);
    let fits = steps.filter_map(|k| fitted(readings, |i| if i < k { 0.0 } else { 1.0 }));
    fits.min_by(|a, b| a.missed.total_cmp(&b.missed))
}

/// A constant and a multiple of some course through the readings.
struct Fitted {
    /// Weight of each reading in the multiple.
    weights: Vec<f64>,
    /// Square sum of what it misses, in units of the variance.
    missed: f64,
    /// Readings that are free.
    freedom: f64,
    /// The largest factor by which few degrees of freedom widen an interval.
    widest: f64,
}

impl Fitted {
    fn is_believed(&self) -> bool {
        excess(self.missed, self.freedom) > NO_LINE
    }
    fn is_refuted(&self) -> bool {
        excess(self.missed / self.widest.powi(2), self.freedom) < CONTRADICTED
    }
}

/// Fits a constant and a multiple of `course`; of a course that is zero everywhere the constant alone.
fn fitted(readings: &[Reading], course: impl Fn(usize) -> f64) -> Option<Fitted> {
    let n = readings.len();
    let columns = if (0..n).all(|i| course(i) == 0.0) { 1 } else { 2 };
    let design = DMatrix::from_fn(n, columns, |i, k| if k == 0 { 1.0 } else { course(i) });
    let inverse = covariance(readings).cholesky()?.inverse();
    let gram = (design.transpose() * &inverse * &design).try_inverse()?;
    let solve = gram * design.transpose() * &inverse;
    let values = DVector::from_iterator(n, readings.iter().map(|r| r.value));
    let off = &values - &design * (&solve * &values);
    let missed = (off.transpose() * inverse * &off)[(0, 0)];
    let least = readings.iter().map(|r| r.dof).fold(f64::INFINITY, f64::min);
    Some(Fitted {
        weights: solve.row(columns - 1).iter().copied().collect(),
        missed,
        freedom: (n - columns) as f64,
        widest: coverage_factor(least) / coverage_factor(f64::INFINITY),
    })
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
    fn what_is_no_line_is_a_step_or_has_ends() {
        let mut six: Vec<Reading> = (0..6).map(|i| reading(f64::from(i), 0.0, 0.01)).collect();
        six[5].value = 0.3;
        let found = trend(&six).expect("a change");
        assert_eq!(found.course, Course::Step);
        // Five before it, one after: their means apart.
        assert!((found.change - 0.3).abs() < 1e-12);
        assert!((found.u - 0.01 * 1.2_f64.sqrt()).abs() < 1e-12, "{}", found.u);
        // Nor is there one without dates, or on one day.
        six[5].value = 0.01;
        six.iter_mut().for_each(|r| r.time = Some(3.0));
        assert_eq!(trend(&six).expect("a change").course, Course::Ends);
        six[2].time = None;
        assert_eq!(trend(&six).expect("a change").course, Course::Ends);
        assert!(trend(&six[..1]).is_none());
    }

    /// Up and back again is neither a line nor a step: something is wrong with the measurements, and
    /// the ends alone would look surer than they are.
    #[test]
    fn readings_that_contradict_each_other_make_nothing_sure() {
        let three = [(0.0, 10.37), (1.0, 10.87), (2.0, 10.37)].map(|(t, v)| reading(t, v, 0.035));
        let found = trend(&three).expect("a change");
        assert_eq!(found.course, Course::Contradiction);
        // Deviation about the mean 0.2887, two degrees of freedom: t = 4.303 (JCGM 100, table G.2).
        let by_hand = 4.303 * std::f64::consts::SQRT_2 * 0.2887;
        assert!((found.u95() / by_hand - 1.0).abs() < 1e-3, "{}", found.u95());
        assert_eq!(found.odd, Some(1), "without the second the others are the same");
        // Three that lie far apart: none of them is the odd one.
        let apart = [(0.0, 10.37), (1.0, 10.87), (2.0, 10.0)].map(|(t, v)| reading(t, v, 0.035));
        let found = trend(&apart).expect("a change");
        assert_eq!((found.course, found.odd), (Course::Contradiction, None));
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
