//! The change of one quantity from the first measurement to the newest: by a straight line through
//! all of them, by a step between two of them, or by a fade that settles or gets faster, whichever
//! they speak for; with what they share cancelled. Where none explains how they lie, the newest less
//! the first; where they go up and down again, as sure as they agree.
//!
//! Generalised least squares with a known covariance (JCGM 102:2011, 6 and 7 for the propagation;
//! A. C. Aitken 1935 for the estimate), degrees of freedom by Welch and Satterthwaite (JCGM
//! 100:2008, G.4.1). Shapes are weighed by the criterion of G. Schwarz (Annals of Statistics 6/2, 1978):
//! what they miss, and the logarithm of the number of readings for each number that is fitted.

pub use super::shapes::Reading;
use super::shapes::{Fitted, Readings, bend};
use crate::measured::{chance_beyond, coverage_factor, effective_dof};

/// A line that fits is left for another shape where that is better by so much of Schwarz's criterion:
/// "strong" evidence by R. E. Kass and A. E. Raftery (Journal of the American Statistical Association 90,
/// 1995).
const STRONG: f64 = 6.0;
/// Most of a change has been made at this share of it (ours).
const MOST: f64 = 2.0 / 3.0;

/// How a change was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Course {
    /// The newest less the first.
    Ends,
    /// A straight line through all.
    Line,
    /// All from one on less all before it.
    Step,
    /// A fade that gets slower and slower.
    Settling,
    /// A change that gets faster and faster.
    Quickening,
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
    /// Where it was not steady, the reading by which most of it was over, from which on all of it had
    /// happened, or after which most of it came.
    pub turn: Option<usize>,
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
    let all = Readings::of(readings);
    let (steady, line) = (all.steady(), all.line());
    let step = all.step().map(Uneven::step);
    let bent = all.bent().map(|found| Uneven::bent(&all, found));
    let beats = |rival: &Uneven, line: &Fitted| rival.fit.schwarz(n) + STRONG < line.schwarz(n);
    let alike = steady.as_ref().is_some_and(Fitted::is_believed);
    let uneven = if alike { None } else { likelier(step.as_ref(), bent.as_ref(), n) };
    if let Some(line) = line.as_ref().filter(|line| line.is_believed()) {
        return Some(match uneven.filter(|rival| beats(rival, line)) {
            Some(rival) => rival.trend(readings, &ends),
            None => estimate(readings, &line.weights, Course::Line),
        });
    }
    if let Some(uneven) = uneven {
        return Some(uneven.trend(readings, &ends));
    }
    let shape = steady.iter().chain(step.iter().map(|step| &step.fit)).any(|f| !f.is_refuted());
    if !shape && !all.goes_one_way() {
        return Some(contradiction(readings));
    }
    Some(match line.zip(bent).filter(|(line, bent)| beats(bent, line)) {
        Some((_, bent)) => bent.trend(readings, &ends),
        None => estimate(readings, &ends, Course::Ends),
    })
}

/// A shape that is no line, with the reading at its turn.
struct Uneven {
    fit: Fitted,
    course: Course,
    turn: Option<usize>,
}

impl Uneven {
    fn step((fit, at): (Fitted, usize)) -> Self {
        Self { fit, course: Course::Step, turn: Some(at) }
    }

    fn bent(all: &Readings<'_>, (fit, by): (Fitted, f64)) -> Self {
        let share = |i: usize| all.share(i).map(|s| bend(s, by));
        let mut between = 1..all.len() - 1;
        if by > 0.0 {
            let turn = between.find(|i| share(*i).is_some_and(|s| s >= MOST));
            Self { fit, course: Course::Settling, turn }
        } else {
            let turn = between.rev().find(|i| share(*i).is_some_and(|s| s <= 1.0 - MOST));
            Self { fit, course: Course::Quickening, turn }
        }
    }

    /// By a step as it was fitted. How a bend runs between its ends is not known as well as its ends
    /// are, so they make its size.
    fn trend(&self, readings: &[Reading], ends: &[f64]) -> Trend {
        let is_step = self.course == Course::Step;
        let weights = if is_step { &self.fit.weights } else { ends };
        Trend { turn: self.turn, ..estimate(readings, weights, self.course) }
    }
}

/// The step or the bend that so many readings speak for, where one fits.
fn likelier<'a>(
    step: Option<&'a Uneven>,
    bent: Option<&'a Uneven>,
    readings: usize,
) -> Option<&'a Uneven> {
    let step = step.filter(|step| step.fit.is_believed());
    let bent = bent.filter(|bent| bent.fit.is_believed());
    let (Some(one), Some(other)) = (step, bent) else { return step.or(bent) };
    // Through three readings runs a bend whatever they are, which speaks for nothing.
    let says_nothing = other.fit.freedom <= 0.0;
    let as_good = one.fit.schwarz(readings) <= other.fit.schwarz(readings);
    Some(if says_nothing || as_good { one } else { other })
}

/// The newest less the first, as sure as the scatter of all about their mean lets it be.
fn contradiction(readings: &[Reading]) -> Trend {
    let n = readings.len();
    let dof = n as f64 - 1.0;
    let mean = readings.iter().map(|r| r.value).sum::<f64>() / n as f64;
    let variance = readings.iter().map(|r| (r.value - mean).powi(2)).sum::<f64>() / dof;
    let change = readings[n - 1].value - readings[0].value;
    let (u, course) = ((2.0 * variance).sqrt(), Course::Contradiction);
    Trend { change, u, dof, course, turn: None, odd: odd_one(readings) }
}

/// The one reading without which all others agree on one value; `None` where that is true of none, or of
/// more than one.
fn odd_one(readings: &[Reading]) -> Option<usize> {
    let agree_without = |odd: &usize| {
        let others: Vec<Reading> =
            readings.iter().enumerate().filter(|(i, _)| i != odd).map(|(_, r)| r.clone()).collect();
        Readings::of(&others).steady().is_some_and(|fit| fit.is_believed())
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
    Trend { change, u, dof: effective_dof(&parts), course, turn: None, odd: None }
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

    /// So sure readings fit no curve of few numbers; that they never turn back is what holds. Two
    /// stairs neither slow down nor get faster.
    #[test]
    fn what_goes_one_way_is_no_contradiction_whatever_its_shape() {
        let sure = |values: &[f64]| -> Vec<Reading> {
            values.iter().zip(0..).map(|(v, i)| reading(f64::from(i), *v, 0.002)).collect()
        };
        let found = trend(&sure(&[3.0, 2.607, 2.542, 2.515, 2.5])).expect("a change");
        assert_eq!((found.course, found.turn), (Course::Settling, Some(1)), "{found:?}");
        let found = trend(&sure(&[3.0, 3.0, 3.2, 3.2, 3.4, 3.4])).expect("a change");
        assert_eq!(found.course, Course::Ends, "{found:?}");
        assert!((found.change - 0.4).abs() < 1e-12);
        let found = trend(&sure(&[3.0, 3.0, 3.2, 3.1, 3.4, 3.4])).expect("a change");
        assert_eq!(found.course, Course::Contradiction, "{found:?}");
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

    /// Seven readings a year apart of a change by 0.3 along a course.
    fn along(course: impl Fn(f64) -> f64) -> Vec<Reading> {
        (0..7)
            .map(|i| reading(f64::from(i), 10.0 + 0.3 * course(f64::from(i) / 6.0), 0.01))
            .collect()
    }

    /// Neither planted curve is an exponential: a hyperbola, of which two thirds are over at a quarter
    /// of the time, and a fourth power, of which a third is over at three quarters (closed forms).
    #[test]
    fn fades_that_settle_and_that_get_faster_are_told_with_their_turn() {
        let found = trend(&along(|t| t * 1.15 / (t + 0.15))).expect("a change");
        assert_eq!((found.course, found.turn), (Course::Settling, Some(2)), "{found:?}");
        // By its ends: 0.01 twice.
        assert!((found.change - 0.3).abs() < 1e-12 && (found.u - 0.0002_f64.sqrt()).abs() < 1e-9);
        let found = trend(&along(|t| t.powi(4))).expect("a change");
        assert_eq!((found.course, found.turn), (Course::Quickening, Some(4)), "{found:?}");
        assert!((found.change - 0.3).abs() < 1e-12, "{found:?}");
        let found = trend(&along(|t| t)).expect("a change");
        assert_eq!((found.course, found.turn), (Course::Line, None));
        let found = trend(&along(|t| if t > 0.6 { 1.0 } else { 0.0 })).expect("a change");
        assert_eq!((found.course, found.turn), (Course::Step, Some(4)));
    }

    /// Three that rise unevenly are a change, and as sure as its ends: nothing else is known.
    #[test]
    fn three_that_rise_unevenly_do_not_contradict_each_other() {
        let three = [(0.0, 10.0), (1.0, 10.25), (2.0, 10.35)].map(|(t, v)| reading(t, v, 0.02));
        let found = trend(&three).expect("a change");
        assert_eq!(found.course, Course::Settling);
        assert!((found.change - 0.35).abs() < 1e-6, "{found:?}");
        assert!((found.u - 0.02 * std::f64::consts::SQRT_2).abs() < 1e-3, "{found:?}");
    }
}
