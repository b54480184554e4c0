//! What a quantity may do over the years: stay, follow a line, step, or bend, fitted to readings that
//! share some of their errors.

use crate::measured::{chance_beyond, coverage_factor, excess};
use nalgebra::{DMatrix, DVector};

/// A shape that readings miss by more than chance does once in so many times is none.
const NO_LINE: f64 = 0.02;
/// Readings that every shape misses by more than chance does once in so many times contradict each
/// other (ours: a loud word, so it wants more).
const CONTRADICTED: f64 = 0.002;
/// Times closer than this share of the whole span are one time.
const SPAN: f64 = 1e-6;
/// The sharpest bend: nine tenths of the change in a quarter of the time; what is sharper is a step.
const SHARPEST: f64 = 9.0;
/// Bends that are tried, either way, before the best is sought between its neighbours; so many steps find
/// it to a hundred thousandth.
const BENDS: i32 = 12;
const THIRDS: usize = 30;
/// A straight line bends by less than this.
const STRAIGHT: f64 = 1e-3;
/// What has as many numbers as readings runs through them: square sums below this are none.
const NOTHING_MISSED: f64 = 1e-3;

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

/// A constant and a multiple of some course through the readings.
pub(super) struct Fitted {
    /// Weight of each reading in the multiple.
    pub weights: Vec<f64>,
    /// Square sum of what it misses, in units of the variance.
    missed: f64,
    /// Readings that are free of it.
    pub freedom: f64,
    /// Numbers that were fitted, places among them.
    numbers: f64,
    /// The largest factor by which few degrees of freedom widen an interval.
    widest: f64,
}

impl Fitted {
    pub fn is_believed(&self) -> bool {
        // What has as many numbers as readings misses none of them, or is no shape of theirs.
        if self.freedom <= 0.0 { self.missed < NOTHING_MISSED } else { self.chance(1.0) > NO_LINE }
    }
    pub fn is_refuted(&self) -> bool {
        !(self.freedom <= 0.0 && self.missed < NOTHING_MISSED)
            && self.chance(self.widest) < CONTRADICTED
    }
    fn chance(&self, wider: f64) -> f64 {
        excess(self.missed / wider.powi(2), self.freedom.max(1.0))
    }
    /// Schwarz's criterion; the smaller, the likelier the shape.
    pub fn schwarz(&self, readings: usize) -> f64 {
        self.missed + self.numbers * (readings as f64).ln()
    }
}

/// The share of a change that is over at a share of its time: slower and slower for positive bends,
/// faster and faster for negative ones, a straight line between.
pub(super) fn bend(share: f64, bend: f64) -> f64 {
    if bend.abs() < STRAIGHT { share } else { (-bend * share).exp_m1() / (-bend).exp_m1() }
}

/// Readings with what their uncertainties share, reckoned once for all shapes.
pub(super) struct Readings<'a> {
    readings: &'a [Reading],
    covariance: DMatrix<f64>,
    /// Of the covariance; `None` where it has none.
    inverse: Option<DMatrix<f64>>,
    /// The largest factor by which few degrees of freedom widen an interval.
    widest: f64,
}

impl<'a> Readings<'a> {
    pub fn of(readings: &'a [Reading]) -> Self {
        let covariance = covariance(readings);
        let inverse = covariance.clone().cholesky().map(|root| root.inverse());
        let least = readings.iter().map(|r| r.dof).fold(f64::INFINITY, f64::min);
        let widest = coverage_factor(least) / coverage_factor(f64::INFINITY);
        Self { readings, covariance, inverse, widest }
    }

    pub fn len(&self) -> usize {
        self.readings.len()
    }

    /// Where a reading's time lies between the first and the last, as a share of 1.
    pub fn share(&self, at: usize) -> Option<f64> {
        let (first, last) = (self.readings.first()?.time?, self.readings.last()?.time?);
        (last > first).then_some((self.readings.get(at)?.time? - first) / (last - first))
    }

    /// Always the same.
    pub fn steady(&self) -> Option<Fitted> {
        self.fitted(None, 0.0)
    }

    /// The best line; `None` where the times allow none.
    pub fn line(&self) -> Option<Fitted> {
        self.fitted(Some(&self.times()?), 0.0)
    }

    /// The shares of all times; `None` where one is not known, or there are fewer than three.
    fn times(&self) -> Option<Vec<f64>> {
        let times: Vec<f64> =
            (0..self.readings.len()).map(|i| self.share(i)).collect::<Option<_>>()?;
        (times.iter().filter(|t| **t > SPAN).count() >= 2).then_some(times)
    }

    /// The best step between two times, and the first reading after it.
    pub fn step(&self) -> Option<(Fitted, usize)> {
        let readings = self.readings;
        let later =
            |k: &usize| readings[*k].time.zip(readings[*k - 1].time).is_some_and(|(b, a)| b > a);
        let after = |k: usize| -> Vec<f64> {
            (0..readings.len()).map(|i| f64::from(u8::from(i >= k))).collect()
        };
        let fits = (1..readings.len())
            .filter(later)
            .filter_map(|k| Some((self.fitted(Some(&after(k)), 1.0)?, k)));
        fits.min_by(|a, b| a.0.missed.total_cmp(&b.0.missed))
    }

    /// The best bend, with how far it bends.
    pub fn bent(&self) -> Option<(Fitted, f64)> {
        let times = self.times()?;
        let course = |by: f64| times.iter().map(|t| bend(*t, by)).collect::<Vec<f64>>();
        let missed = |by: f64| self.fitted(Some(&course(by)), 1.0).map_or(f64::MAX, |f| f.missed);
        let apart = SHARPEST / f64::from(BENDS);
        let tried = (-BENDS..=BENDS).filter(|k| *k != 0).map(|k| apart * f64::from(k));
        let (best, _) = tried.map(|by| (by, missed(by))).min_by(|a, b| a.1.total_cmp(&b.1))?;
        let (mut low, mut high) = (best - apart, best + apart);
        for _ in 0..THIRDS {
            let (a, b) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
            if missed(a) < missed(b) { high = b } else { low = a }
        }
        let by = ((low + high) / 2.0).clamp(-SHARPEST, SHARPEST);
        let fit = self.fitted(Some(&course(by)), 1.0)?;
        // A bend is fitted as a slope is, and a step's place is one of a few.
        Some((Fitted { freedom: fit.freedom - 1.0, ..fit }, by))
    }

    /// Whether none turns back behind an earlier one by more than chance makes it do.
    pub fn goes_one_way(&self) -> bool {
        let readings = self.readings;
        let (Some(first), Some(last)) = (readings.first(), readings.last()) else { return true };
        let way = (last.value - first.value).signum();
        let known = &self.covariance;
        let n = readings.len();
        let mut pairs = (0..n).flat_map(|j| (0..j).map(move |i| (i, j)));
        // Of many pairs one turns back by chance (Bonferroni).
        let limit = CONTRADICTED / (n * n.saturating_sub(1) / 2).max(1) as f64;
        let turns_back = |(i, j): (usize, usize)| {
            let back = way * (readings[i].value - readings[j].value);
            let u = (known[(i, i)] + known[(j, j)] - 2.0 * known[(i, j)]).max(0.0).sqrt();
            let dof = readings[i].dof.min(readings[j].dof);
            back > 0.0 && chance_beyond(back / u, dof) < limit
        };
        !pairs.any(turns_back)
    }

    /// Fits a constant and a multiple of a course, of none the constant alone. `places` counts what was
    /// chosen besides.
    fn fitted(&self, course: Option<&[f64]>, places: f64) -> Option<Fitted> {
        let n = self.readings.len();
        let columns = 1 + usize::from(course.is_some());
        let at = |i: usize| course.map_or(0.0, |course| course[i]);
        let design = DMatrix::from_fn(n, columns, |i, k| if k == 0 { 1.0 } else { at(i) });
        let inverse = self.inverse.as_ref()?;
        let gram = (design.transpose() * inverse * &design).try_inverse()?;
        let solve = gram * design.transpose() * inverse;
        let values = DVector::from_iterator(n, self.readings.iter().map(|r| r.value));
        let off = &values - &design * (&solve * &values);
        let missed = (off.transpose() * inverse * &off)[(0, 0)];
        Some(Fitted {
            weights: solve.row(columns - 1).iter().copied().collect(),
            missed,
            freedom: n as f64 - columns as f64,
            numbers: columns as f64 + places,
            widest: self.widest,
        })
    }
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

    /// Half of an exponential fade is over at ln 2 time constants (closed form).
    #[test]
    fn a_bend_is_an_exponential_fade() {
        let constants = 4.0_f64;
        let whole = 1.0 - f64::exp(-constants);
        let at = 2.0_f64.ln() / constants;
        assert!((bend(at, constants) - 0.5 / whole).abs() < 1e-12);
        // The other way round it is the same from behind.
        assert!((bend(1.0 - at, -constants) - (1.0 - 0.5 / whole)).abs() < 1e-12);
        assert!((bend(0.3, 1e-9) - 0.3).abs() < 1e-12);
    }
}
