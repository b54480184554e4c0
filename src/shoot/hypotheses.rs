//! What a series of levels may be a picture of: readings of a whole shoot, held against each other.
//!
//! A reading says of every frame whether it shows the bare light, a state of the filter, or nothing
//! that belongs there. The light is a curve with slope, curvature, a random walk and sudden steps;
//! states of the filter take a constant off it. Each reading is weighed by the probability that it
//! gives to the levels (marginal likelihood by the prediction errors of a Kalman filter: A. C.
//! Harvey, Forecasting, Structural Time Series Models and the Kalman Filter, 1989, 3.4), which
//! charges by itself for every state, step and outlier that is not needed (R. E. Kass and A. E.
//! Raftery, Bayes Factors, 1995).

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
}

/// What a frame is taken as.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shown {
    /// The bare light, or a state of the filter, numbered as they appear.
    Role(Role),
    /// Spoilt: it should show this, as far as is known, and lies so many stops away.
    Odd(Option<Role>, f64),
}

/// What is known of the filter beforehand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Terms {
    /// Most states.
    pub most_states: usize,
    /// ln of the prior odds of a second state against none.
    pub second_state: f64,
    /// Equal settings of the camera speak for equal states.
    pub by_settings: bool,
}

/// What a series shows before it is read.
#[derive(Clone, Copy, Debug)]
struct Habit {
    terms: Terms,
    /// Most frames were repeated.
    repeated: bool,
}

/// A reading of the shoot.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// What each frame is taken as.
    pub frames: Vec<Shown>,
    /// ln of the probability of the levels, and of the reading itself.
    pub evidence: f64,
    /// What each state of the filter takes, stops.
    pub strengths: Vec<f64>,
    /// Sudden steps of the light.
    pub steps: usize,
}

/// How the light may change.
#[derive(Clone, Copy, Debug)]
struct Light {
    /// Prior probability.
    share: f64,
    /// Slope at the start, stops per minute.
    slope: f64,
    /// How the slope wanders, stops per minute per root of a minute.
    bend: f64,
    /// How the light wanders, stops per root of a minute.
    walk: f64,
}

/// Overcast or lamps; a morning that brightens; thin cloud; cloud that moves fast (ours).
const LIGHTS: [Light; 4] = [
    Light { share: 0.5, slope: 0.01, bend: 0.002, walk: 0.005 },
    Light { share: 0.3, slope: 0.08, bend: 0.02, walk: 0.015 },
    Light { share: 0.15, slope: 0.03, bend: 0.01, walk: 0.06 },
    Light { share: 0.05, slope: 0.3, bend: 0.3, walk: 0.1 },
];
/// The light at the start lies this near to the brightest frame, stops (ours).
const START_STOPS: f64 = 1.0;
/// Probability that the light steps between two runs, and by how much, stops (ours).
const STEP_SHARE: f64 = 0.02;
const STEP_STOPS: f64 = 0.4;
/// Probability that a run is spoilt, by how much, stops, and at settings that no other frame has
/// (ours).
const ODD_SHARE: f64 = 0.03;
const ODD_STOPS: f64 = 0.7;
const ODD_ALONE: f64 = 0.15;
/// Probability that a spoilt run goes on to one more frame (ours).
const ODD_GOES_ON: f64 = 0.5;
const NAMED_ODD_GOES_ON: f64 = 0.1;
/// Strengths of filters: middle and spread, and the least, stops (ours).
const STRENGTH: f64 = 6.0;
const STRENGTH_SPREAD: f64 = 5.0;
const LEAST_STRENGTH: f64 = 0.15;
/// A state that is known at some settings is met there again with this probability (ours).
const KEPT_SETTINGS: f64 = 0.75;
/// Prior odds of one more state where there are two already, as ln (ours).
const ONE_MORE: f64 = -0.5;
/// Scatter of one frame beyond its noise, stops: aperture and shutter (ours).
const FRAME_SCATTER: f64 = 0.015;
/// A role met at other settings than before: what shutter times err by, stops (ours, 1 to 3 % each).
const TIME_SCATTER: f64 = 0.04;
/// A ring set again meets its state within this, stops (ours).
const PLAY: f64 = 0.1;
/// Probability that a state was shot in one frame only where others were repeated (ours).
const SHOT_ONCE: f64 = 0.05;
/// Readings that are followed at a time.
const BEAM: usize = 48;
/// Beyond so many jumps only a few.
const MANY_JUMPS: usize = 150;
const NARROW_BEAM: usize = 8;

/// Light, slope, truth of the dial: what stands before the strengths in a state vector.
const LIGHT: usize = 0;
const SLOPE: usize = 1;
const DIAL: usize = 2;
const FIRST: usize = 3;

/// The readings that the levels support, best first, one for each number of states.
#[must_use]
pub fn readings(levels: &[Level], terms: Terms) -> Vec<Reading> {
    let mut best: Vec<Reading> = Vec::new();
    for light in LIGHTS {
        for reading in follow(levels, light, terms) {
            match best.iter_mut().find(|b| b.strengths.len() == reading.strengths.len()) {
                Some(known) if known.evidence >= reading.evidence => {}
                Some(known) => *known = reading,
                None => best.push(reading),
            }
        }
    }
    best.sort_by(|a, b| b.evidence.total_cmp(&a.evidence));
    best
}

/// One reading as far as it goes.
#[derive(Clone, Debug)]
struct Trail {
    score: f64,
    /// Estimates: light, slope, dial, strengths.
    mean: Vec<f64>,
    /// Their covariance, row-major.
    covariance: Vec<f64>,
    /// What frames are taken as, from the start.
    frames: Vec<Shown>,
    /// What was last met at each exposure setting.
    at_settings: Vec<Option<Role>>,
    by_settings: bool,
    steps: usize,
}

fn follow(levels: &[Level], light: Light, terms: Terms) -> Vec<Reading> {
    let Some(first) = levels.first() else { return Vec::new() };
    let brightest = levels.iter().map(|l| l.stops).fold(f64::NEG_INFINITY, f64::max);
    let settings = levels.iter().map(|l| l.exposure + 1).max().unwrap_or(0);
    let jumps = levels.iter().filter(|l| !l.joins).count();
    let alone = |i: usize| !levels[i].joins && !levels.get(i + 1).is_some_and(|l| l.joins);
    let lone = (0..levels.len()).filter(|&i| alone(i)).count();
    let habit = Habit { terms, repeated: 2 * lone < levels.len() };
    let width = if jumps > MANY_JUMPS { NARROW_BEAM } else { BEAM };
    let mut trails = vec![Trail::start(brightest, light, settings, terms.by_settings)];
    let mut before = *first;
    for (i, level) in levels.iter().enumerate() {
        for trail in &mut trails {
            trail.wait((level.minutes - before.minutes).max(0.0), light);
        }
        if level.joins && i > 0 {
            trails.iter_mut().for_each(|t| t.go_on(level, &before));
        } else {
            let mut next: Vec<Trail> =
                trails.iter().flat_map(|t| t.branches(level, alone(i), habit)).collect();
            next.sort_by(|a, b| b.score.total_cmp(&a.score));
            next.truncate(width);
            trails = next;
        }
        before = *level;
    }
    trails.into_iter().filter_map(Trail::finished).collect()
}

impl Trail {
    fn start(brightest: f64, light: Light, settings: usize, by_settings: bool) -> Self {
        let mut covariance = vec![0.0; FIRST * FIRST];
        covariance[LIGHT * FIRST + LIGHT] = START_STOPS * START_STOPS;
        covariance[SLOPE * FIRST + SLOPE] = light.slope * light.slope;
        // Powers of two behind the dial or the dial itself: 0 or 1.
        covariance[DIAL * FIRST + DIAL] = 0.25;
        Self {
            score: light.share.ln(),
            mean: vec![brightest, 0.0, 0.5],
            covariance,
            frames: Vec::new(),
            at_settings: vec![None; settings],
            by_settings,
            steps: 0,
        }
    }

    fn size(&self) -> usize {
        self.mean.len()
    }

    fn states(&self) -> usize {
        self.size() - FIRST
    }

    /// Lets the light change for some minutes.
    fn wait(&mut self, minutes: f64, light: Light) {
        let n = self.size();
        self.mean[LIGHT] += minutes * self.mean[SLOPE];
        for i in 0..n {
            self.covariance[LIGHT * n + i] += minutes * self.covariance[SLOPE * n + i];
        }
        for i in 0..n {
            self.covariance[i * n + LIGHT] += minutes * self.covariance[i * n + SLOPE];
        }
        let bend = light.bend * light.bend;
        let cross = bend * minutes * minutes / 2.0;
        self.covariance[LIGHT * n + LIGHT] +=
            light.walk * light.walk * minutes + bend * minutes.powi(3) / 3.0;
        self.covariance[LIGHT * n + SLOPE] += cross;
        self.covariance[SLOPE * n + LIGHT] += cross;
        self.covariance[SLOPE * n + SLOPE] += bend * minutes;
    }

    /// Gain vector before scaling, prediction error and its variance, for a frame of a state.
    fn predicted(&self, level: &Level, role: Role, extra: f64) -> (Vec<f64>, f64, f64) {
        let n = self.size();
        let at = place_of(role);
        let gain: Vec<f64> = (0..n)
            .map(|i| {
                let row = &self.covariance[i * n..(i + 1) * n];
                row[LIGHT] + level.dial * row[DIAL] - at.map_or(0.0, |a| row[a])
            })
            .collect();
        let expected =
            self.mean[LIGHT] + level.dial * self.mean[DIAL] - at.map_or(0.0, |a| self.mean[a]);
        let own = level.noise * level.noise + FRAME_SCATTER * FRAME_SCATTER + extra * extra;
        let variance = gain[LIGHT] + level.dial * gain[DIAL] - at.map_or(0.0, |a| gain[a]) + own;
        (gain, level.stops - expected, variance)
    }

    /// Takes a frame as one of a role.
    fn take(&mut self, level: &Level, role: Role, extra: f64) {
        let (gain, error, variance) = self.predicted(level, role, extra);
        let n = self.size();
        for i in 0..n {
            self.mean[i] += gain[i] * error / variance;
            for j in 0..n {
                self.covariance[i * n + j] -= gain[i] * gain[j] / variance;
            }
        }
        self.score += log_normal(error, variance);
        self.frames.push(Shown::Role(role));
        self.at_settings[level.exposure] = Some(role);
    }

    /// One more frame of a run.
    fn go_on(&mut self, level: &Level, before: &Level) {
        match self.frames.last().copied() {
            Some(Shown::Role(role)) => self.take(level, role, 0.0),
            odd => {
                let own = level.noise * level.noise + FRAME_SCATTER * FRAME_SCATTER;
                let apart = level.stops - before.stops;
                // Where every run may be a mark, a whole spoilt run is rare.
                let goes_on = if self.by_settings { ODD_GOES_ON } else { NAMED_ODD_GOES_ON };
                self.score += goes_on.ln() + log_normal(apart, 2.0 * own + PLAY * PLAY);
                self.frames.extend(odd);
            }
        }
    }

    /// Everything that the first frame of a run may be.
    fn branches(&self, level: &Level, alone: bool, habit: Habit) -> Vec<Self> {
        let states = (0..self.states()).map(Role::Setting);
        let known: Vec<Role> = [Role::Bare].into_iter().chain(states).collect();
        let mut found = Vec::new();
        for steps in 0..=usize::from(!self.frames.is_empty()) {
            let mut base = self.clone();
            if steps > 0 {
                base.covariance[0] += STEP_STOPS * STEP_STOPS;
                base.score += STEP_SHARE.ln();
                base.steps += 1;
            }
            for &role in &known {
                let mut trail = base.clone();
                trail.score += self.settings_prior(level, role);
                let play = if role != Role::Bare && self.states() > 1 { PLAY } else { 0.0 };
                let new_time = self.at_settings[level.exposure] != Some(role);
                let time = if new_time { TIME_SCATTER } else { 0.0 };
                trail.take(level, role, play.hypot(time));
                found.push(trail);
            }
        }
        found.extend(self.new_state(level, alone, habit));
        found.extend(self.odd(level, &known));
        found
    }

    /// ln of the probability of a role before the level is seen.
    fn settings_prior(&self, level: &Level, role: Role) -> f64 {
        // Bare, every known state, and a new one.
        let all = (self.states() + 2) as f64;
        match self.at_settings[level.exposure].filter(|_| self.by_settings) {
            None => -all.ln(),
            Some(known) if known == role => KEPT_SETTINGS.ln(),
            Some(_) => ((1.0 - KEPT_SETTINGS) / (all - 1.0)).ln(),
        }
    }

    fn new_state(&self, level: &Level, alone: bool, habit: Habit) -> Option<Self> {
        let states = self.states();
        if states >= habit.terms.most_states {
            return None;
        }
        let (n, mut trail) = (self.size(), self.clone());
        trail.covariance = vec![0.0; (n + 1) * (n + 1)];
        for i in 0..n {
            for j in 0..n {
                trail.covariance[i * (n + 1) + j] = self.covariance[i * n + j];
            }
        }
        trail.covariance[n * (n + 1) + n] = STRENGTH_SPREAD * STRENGTH_SPREAD;
        trail.mean.push(STRENGTH);
        trail.score += match states {
            0 => 0.0,
            1 => habit.terms.second_state,
            _ => ONE_MORE,
        };
        trail.score += self.settings_prior(level, Role::Setting(states));
        trail.score += if alone && habit.repeated { SHOT_ONCE.ln() } else { 0.0 };
        trail.take(level, Role::Setting(states), 0.0);
        (trail.mean[FIRST + states] > LEAST_STRENGTH).then_some(trail)
    }

    /// A spoilt run, of what is known or of a state that is yet to come.
    fn odd(&self, level: &Level, known: &[Role]) -> [Self; 2] {
        let density = |role: Role| {
            let (_, error, variance) = self.predicted(level, role, ODD_STOPS);
            (log_normal(error, variance), error)
        };
        let of = |prior: f64, density: f64, shown: Shown| {
            let mut trail = self.clone();
            trail.score += ODD_SHARE.ln() + prior + density;
            trail.frames.push(shown);
            trail
        };
        let best = |a: &&Role, b: &&Role| density(**a).0.total_cmp(&density(**b).0);
        let nearest = known.iter().max_by(best).copied().unwrap_or(Role::Bare);
        let ((near, error), prior) = (density(nearest), self.settings_prior(level, nearest));
        let alone = self.at_settings[level.exposure].is_none() && !self.frames.is_empty();
        let prior = prior + if alone { ODD_ALONE.ln() } else { 0.0 };
        let (_, from_bare, variance) = self.predicted(level, Role::Bare, STRENGTH_SPREAD);
        let coming = self.settings_prior(level, Role::Setting(self.states()));
        let unknown = Shown::Odd(None, from_bare);
        [
            of(prior, near, Shown::Odd(Some(nearest), error)),
            of(coming, log_normal(from_bare + STRENGTH, variance), unknown),
        ]
    }

    /// The reading, where it holds bare light.
    fn finished(mut self) -> Option<Reading> {
        let strengths = self.mean.split_off(FIRST);
        let bare = self.frames.contains(&Shown::Role(Role::Bare));
        let Self { frames, score, steps, .. } = self;
        bare.then_some(Reading { frames, evidence: score, strengths, steps })
    }
}

/// Where the strength of a role stands in a state vector.
fn place_of(role: Role) -> Option<usize> {
    match role {
        Role::Bare => None,
        Role::Setting(state) => Some(FIRST + state),
    }
}

fn log_normal(error: f64, variance: f64) -> f64 {
    -0.5 * (error * error / variance + (2.0 * PI * variance).ln())
}
