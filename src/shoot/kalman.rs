//! What is known of the light and of the strengths of a filter after some frames of a shoot: a Kalman
//! filter (A. C. Harvey, Forecasting, Structural Time Series Models and the Kalman Filter, 1989, 3.2)
//! over light, its slope, the truth of the dial, what each setting of the camera is off by, and a
//! strength for each state.

use super::verdicts::Role;
use std::f64::consts::PI;

/// What was seen of one frame, in capture order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    /// Middle of the exposure, minutes.
    pub minutes: f64,
    /// log2 of light per exposure, stops.
    pub stops: f64,
    /// Its standard uncertainty from noise, stops.
    pub noise: f64,
    /// What the level is off by if the dial tells the truth, stops.
    pub dial: f64,
    /// Shows what the frame before shows: no jump between them.
    pub joins: bool,
    /// Number of the exposure settings; equal settings, equal number.
    pub exposure: usize,
    /// Numbers of its shutter time, and of its ISO and aperture, in one list of both; `None` of what
    /// few frames share, which is as good as a scatter of their own.
    pub settings: [Option<usize>; 2],
}

/// How the light may change.
#[derive(Clone, Copy, Debug)]
pub struct Light {
    /// Prior probability.
    pub share: f64,
    /// Slope at the start, stops per minute.
    slope: f64,
    /// How the slope wanders, stops per minute per root of a minute.
    bend: f64,
    /// How long a slope lasts, minutes.
    pub lasts: f64,
    /// How the light wanders, stops per root of a minute.
    walk: f64,
}

/// Overcast or lamps; a morning that brightens; thin cloud; cloud that moves fast (ours).
pub const LIGHTS: [Light; 4] = [
    Light { share: 0.5, slope: 0.01, bend: 0.002, lasts: 30.0, walk: 0.005 },
    Light { share: 0.3, slope: 0.08, bend: 0.02, lasts: 30.0, walk: 0.015 },
    Light { share: 0.15, slope: 0.03, bend: 0.01, lasts: 10.0, walk: 0.06 },
    Light { share: 0.05, slope: 0.3, bend: 0.3, lasts: 1.0, walk: 0.1 },
];
/// The light at the start lies this near to the brightest frame, stops (ours).
const START_STOPS: f64 = 1.0;
/// Scatter of one frame beyond its noise, stops: aperture and shutter (ours).
pub const FRAME_SCATTER: f64 = 0.015;
/// What a shutter time, or an ISO with an aperture, is off by, stops (ours, 1 to 3 % each): the same in
/// all frames that are set so, of whatever they are.
const OFF: f64 = 0.03;
/// Strengths of filters: middle, stops (ours).
pub const STRENGTH: f64 = 6.0;
/// Their spread, stops (ours).
pub const STRENGTH_SPREAD: f64 = 5.0;

/// Light, slope, truth of the dial, and from here on what each setting is off by; then the strengths.
const LIGHT: usize = 0;
const SLOPE: usize = 1;
const DIAL: usize = 2;
const SETTINGS: usize = 3;

/// What is known after some frames.
#[derive(Clone, Debug)]
pub struct Belief {
    /// Estimates: light, slope, dial, settings, strengths.
    mean: Vec<f64>,
    /// Where the strengths begin.
    first: usize,
    /// Their covariance, row-major.
    covariance: Vec<f64>,
}

impl Belief {
    /// Before the first frame of a series with so many settings whose brightest frame, stops, is
    /// known.
    pub fn start(brightest: f64, light: Light, settings: usize) -> Self {
        let first = SETTINGS + settings;
        let mut covariance = vec![0.0; first * first];
        covariance[LIGHT * first + LIGHT] = START_STOPS * START_STOPS;
        covariance[SLOPE * first + SLOPE] = light.slope * light.slope;
        // Powers of two behind the dial or the dial itself: 0 or 1.
        covariance[DIAL * first + DIAL] = 0.25;
        for setting in SETTINGS..first {
            covariance[setting * first + setting] = OFF * OFF;
        }
        let mut mean = vec![0.0; first];
        (mean[LIGHT], mean[DIAL]) = (brightest, 0.5);
        Self { mean, first, covariance }
    }

    fn size(&self) -> usize {
        self.mean.len()
    }

    /// Number of states whose strength is asked for.
    pub fn states(&self) -> usize {
        self.size() - self.first
    }

    /// Strengths of all states, stops.
    pub fn into_strengths(mut self) -> Vec<f64> {
        self.mean.split_off(self.first)
    }

    /// Lets the light change for some minutes: its slope wanders and dies away (an Ornstein-Uhlenbeck
    /// process, integrated; C. W. Gardiner, Handbook of Stochastic Methods, 1985, 3.8.4, from memory).
    pub fn wait(&mut self, minutes: f64, light: Light) {
        let n = self.size();
        let lasts = light.lasts;
        let left = (-minutes / lasts).exp();
        let carried = lasts * (1.0 - left);
        self.mean[LIGHT] += carried * self.mean[SLOPE];
        self.mean[SLOPE] *= left;
        for i in 0..n {
            self.covariance[LIGHT * n + i] += carried * self.covariance[SLOPE * n + i];
            self.covariance[SLOPE * n + i] *= left;
        }
        for i in 0..n {
            self.covariance[i * n + LIGHT] += carried * self.covariance[i * n + SLOPE];
            self.covariance[i * n + SLOPE] *= left;
        }
        let bend = light.bend * light.bend;
        let of_slope = bend * lasts / 2.0 * (1.0 - left * left);
        let cross = bend * carried * carried / 2.0;
        let of_light =
            bend * lasts * lasts * (minutes - 2.0 * carried + lasts / 2.0 * (1.0 - left * left));
        self.covariance[LIGHT * n + LIGHT] += light.walk * light.walk * minutes + of_light.max(0.0);
        self.covariance[LIGHT * n + SLOPE] += cross;
        self.covariance[SLOPE * n + LIGHT] += cross;
        self.covariance[SLOPE * n + SLOPE] += of_slope;
    }

    /// Lets the light step by so many stops, up or down.
    pub fn step(&mut self, stops: f64) {
        self.covariance[LIGHT] += stops * stops;
    }

    /// With one more state, of which nothing was seen.
    pub fn with_state(&self) -> Self {
        let n = self.size();
        let mut covariance = vec![0.0; (n + 1) * (n + 1)];
        for i in 0..n {
            for j in 0..n {
                covariance[i * (n + 1) + j] = self.covariance[i * n + j];
            }
        }
        covariance[n * (n + 1) + n] = STRENGTH_SPREAD * STRENGTH_SPREAD;
        let mut mean = self.mean.clone();
        mean.push(STRENGTH);
        Self { mean, covariance, first: self.first }
    }

    /// How far a frame lies from what a role lets expect, stops, and the variance of that where the
    /// frame scatters by so much more.
    pub fn expected(&self, level: &Level, role: Role, extra: f64) -> (f64, f64) {
        let n = self.size();
        let seen = self.seen(level, role);
        let along = |row: &[f64]| seen.iter().map(|(at, by)| by * row[*at]).sum::<f64>();
        let row = |at: usize| &self.covariance[at * n..(at + 1) * n];
        let variance: f64 = seen.iter().map(|(at, by)| by * along(row(*at))).sum();
        (level.stops - along(&self.mean), variance + own(level, extra))
    }

    /// What a frame would tell of a state that was not met yet: its strength, stops, and ln of the
    /// probability that the frame had.
    pub fn of_new_state(&self, level: &Level) -> (f64, f64) {
        let (from_bare, variance) = self.expected(level, Role::Bare, STRENGTH_SPREAD);
        let error = from_bare + STRENGTH;
        let strength = STRENGTH - STRENGTH_SPREAD * STRENGTH_SPREAD * error / variance;
        (strength, log_normal(error, variance))
    }

    /// What a level is made of: which parts of the belief, and how many times each.
    fn seen(&self, level: &Level, role: Role) -> [(usize, f64); 5] {
        let state = match role {
            Role::Bare => (LIGHT, 0.0),
            Role::Setting(state) => (self.first + state, -1.0),
        };
        let [time, other] = level
            .settings
            .map(|number| number.map_or((LIGHT, 0.0), |number| (SETTINGS + number, 1.0)));
        [(LIGHT, 1.0), (DIAL, level.dial), time, other, state]
    }

    /// Learns from a frame of a role; gives ln of the probability that it had.
    pub fn learn(&mut self, level: &Level, role: Role, extra: f64) -> f64 {
        let n = self.size();
        let seen = self.seen(level, role);
        let along = |row: &[f64]| seen.iter().map(|(at, by)| by * row[*at]).sum::<f64>();
        let gain: Vec<f64> = self.covariance.chunks_exact(n).map(along).collect();
        let (error, variance) = (level.stops - along(&self.mean), along(&gain) + own(level, extra));
        for (i, row) in self.covariance.chunks_exact_mut(n).enumerate() {
            self.mean[i] += gain[i] * error / variance;
            let by = gain[i] / variance;
            row.iter_mut().zip(&gain).for_each(|(cell, gain)| *cell -= by * gain);
        }
        log_normal(error, variance)
    }
}

/// Variance of a frame by itself: noise, what the shutter and its settings are off by where nothing is
/// shared, and so much more, stops.
fn own(level: &Level, extra: f64) -> f64 {
    let apart = level.settings.iter().filter(|number| number.is_none()).count() as f64;
    level.noise * level.noise + FRAME_SCATTER * FRAME_SCATTER + extra * extra + apart * OFF * OFF
}

/// ln of the density of an error, by its variance.
pub fn log_normal(error: f64, variance: f64) -> f64 {
    -0.5 * (error * error / variance + (2.0 * PI * variance).ln())
}
