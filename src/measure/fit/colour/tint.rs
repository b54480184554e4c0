//! How the light's colour may change over a shoot: red or blue against green, in stops.
//!
//! Daylight turns bluer under a cloud and warmer in the evening, within minutes by more than frames
//! are noisy. It is taken as a walk (covariance v min(s, t) of two moments), as a curve whose slope
//! walks (v m^2 (3 M - m) / 6 with m the earlier and M the later, C. E. Rasmussen and C. K. I.
//! Williams, Gaussian Processes for Machine Learning, 2006, section 6.3.1), or as what changes while
//! nobody shoots (a walk from run to run), each of several sizes, and along with the light's level, as
//! clouds do; how well the frames support each decides.

use super::Reading;
use nalgebra::{Cholesky, DMatrix};

/// Moments at which the colour is told, at most.
const MOMENTS: usize = 32;
/// Walks, stops per square root of a minute (ours: from lamps to broken clouds; a mired is 0.007 stop of
/// blue against green).
const WALKS: [f64; 5] = [2e-4, 8e-4, 2.4e-3, 7e-3, 2.1e-2];
/// Walks of the slope, stops per minute and square root of a minute (ours).
const TURNS: [f64; 5] = [2.5e-4, 1e-3, 4e-3, 1.6e-2, 6.4e-2];
/// Changes from one run to the next, stops (ours).
const JUMPS: [f64; 4] = [5e-4, 2e-3, 8e-3, 3.2e-2];
/// A slope comes from so many minutes of that (ours).
const SLOPE_FROM: f64 = 10.0;
/// Keeps equal moments apart, squared stops.
const APART: f64 = 1e-12;

/// Stops of colour for each stop that the light changes by (ours: of blue, from haze to a sun that goes
/// and leaves the sky; common practice, no source, that shade is some tens of mired cooler).
const ALONG: [f64; 2] = [0.04, 0.16];
/// Walks that may go with it: a light that changes both ways by itself says nothing of that.
const WALKS_BESIDE: usize = 3;
/// Light that moves by less tells nothing of that, stops (ours).
const LEAST_MOVED: f64 = 0.02;

/// One way in which the light's colour may change.
pub(super) struct Way {
    /// By itself; see [`Moments::ways`].
    pub own: DMatrix<f64>,
    /// With the light's level, so many stops of colour for a stop of light; 0 where it does not.
    pub along: f64,
}

/// Moments of the readings.
pub(super) struct Moments {
    /// Which of them each reading belongs to.
    of: Vec<usize>,
    /// Minutes from the first.
    minutes: Vec<f64>,
    /// Changes of run before each.
    runs: Vec<f64>,
    /// Share of the bare readings that each holds.
    bare: Vec<f64>,
}

impl Moments {
    pub fn of(readings: &[Reading]) -> Self {
        let mut order: Vec<usize> = (0..readings.len()).collect();
        order.sort_by(|a, b| readings[*a].minutes.total_cmp(&readings[*b].minutes));
        let (n, moments) = (readings.len(), readings.len().min(MOMENTS));
        let mut of = vec![0; n];
        order.iter().enumerate().for_each(|(place, i)| of[*i] = place * moments / n);
        let (mut sums, mut bare) = (vec![(0.0, 0.0); moments], vec![0.0; moments]);
        for (reading, moment) in readings.iter().zip(&of) {
            sums[*moment].0 += reading.minutes;
            sums[*moment].1 += 1.0;
            bare[*moment] += if reading.setting.is_none() && !reading.doubtful { 1.0 } else { 0.0 };
        }
        let means: Vec<f64> = sums.into_iter().map(|(sum, count)| sum / count).collect();
        let first = means.first().copied().unwrap_or(0.0);
        let mut runs = vec![0.0; moments];
        let mut changes = 0.0;
        for pair in order.windows(2) {
            changes += if readings[pair[0]].run == readings[pair[1]].run { 0.0 } else { 1.0 };
            runs[of[pair[1]]] = changes;
        }
        let minutes = means.into_iter().map(|m| m - first).collect();
        let all: f64 = bare.iter().sum::<f64>().max(1.0);
        Self { of, minutes, runs, bare: bare.into_iter().map(|b| b / all).collect() }
    }
    /// How many.
    pub fn len(&self) -> usize {
        self.minutes.len()
    }
    /// Which one a reading belongs to.
    pub fn at(&self, reading: usize) -> usize {
        self.of[reading]
    }
    /// Each way in which the colour may change, as a factor: its row of a moment, times independent
    /// numbers of variance 1, is the colour then against the mean of the bare frames, in stops.
    /// Where the light moved by so many stops, its colour may have moved along with it.
    pub fn ways(&self, moved: f64) -> Vec<Way> {
        let walk = |size: &f64| self.factor(&self.minutes, |early, _| size * size * early);
        let turn = |size: &f64| {
            self.factor(&self.minutes, |early, late| {
                let curve = early * early * (3.0 * late - early) / 6.0;
                size * size * (curve + SLOPE_FROM * early * late)
            })
        };
        let jump = |size: &f64| self.factor(&self.runs, |early, _| size * size * early);
        let alone = WALKS.iter().map(walk).chain(TURNS.iter().map(turn));
        let alone = alone.chain(JUMPS.iter().map(jump)).flatten();
        let mut ways: Vec<Way> = alone.map(|own| Way { own, along: 0.0 }).collect();
        if moved > LEAST_MOVED {
            for own in WALKS[..WALKS_BESIDE].iter().filter_map(walk) {
                ways.extend(ALONG.map(|along| Way { own: own.clone(), along }));
            }
        }
        ways
    }
    /// From the covariance of an earlier and a later moment, by the clock or by the runs.
    fn factor(&self, when: &[f64], of: impl Fn(f64, f64) -> f64) -> Option<DMatrix<f64>> {
        let n = self.len();
        let whole = DMatrix::from_fn(n, n, |i, j| {
            let (a, b) = (when[i], when[j]);
            of(a.min(b), a.max(b)) + if i == j { APART } else { 0.0 }
        });
        let mut factor = Cholesky::new(whole)?.l();
        for mut column in factor.column_iter_mut() {
            let mean: f64 = column.iter().zip(&self.bare).map(|(v, share)| v * share).sum();
            column.iter_mut().for_each(|v| *v -= mean);
        }
        Some(factor)
    }
}
