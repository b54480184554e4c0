//! What a series of levels may be a picture of: readings of a whole shoot, held against each other.
//!
//! A reading says of every frame whether it shows the bare light, a state of the filter, or nothing
//! that belongs there. The light is a curve with slope, curvature, a random walk and sudden steps;
//! states of the filter take a constant off it. Each reading is weighed by the probability that it
//! gives to the levels (marginal likelihood by the prediction errors of a Kalman filter: A. C.
//! Harvey, Forecasting, Structural Time Series Models and the Kalman Filter, 1989, 3.4), which
//! charges by itself for every state, step and outlier that is not needed (R. E. Kass and A. E.
//! Raftery, Bayes Factors, 1995).

use super::kalman::{
    Belief, FRAME_SCATTER, LIGHTS, Level, Light, STRENGTH, STRENGTH_SPREAD, log_normal,
};
use super::verdicts::Role;

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
    /// The least strength of a state, stops.
    pub least_strength: f64,
}

/// What a series shows before it is read.
#[derive(Clone, Copy, Debug)]
struct Habit {
    terms: Terms,
    /// Most frames that may show a state of the filter were repeated.
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
/// The least strength of a filter of which nobody says that it is weak, stops (ours).
pub const LEAST_STRENGTH: f64 = 0.15;
/// A state that is known at some settings is met there again in so many of so many runs, as if they had
/// been seen (ours); what is seen adds to them by the rule of succession (P. S. Laplace, Essai
/// philosophique sur les probabilités, 1814).
const KEPT_SETTINGS: f64 = 3.0;
const MET_SETTINGS: f64 = 4.0;
/// Part of runs that are bare (ours).
const BARE_SHARE: f64 = 1.0 / 3.0;
/// Prior odds of one more state where there are two already, as ln (ours).
const ONE_MORE: f64 = -0.5;
/// A ring set again meets its state within this, stops (ours).
const PLAY: f64 = 0.1;
/// Probability that a state was shot in one frame only where others were repeated (ours).
const SHOT_ONCE: f64 = 0.05;
/// Frames so far below the brightest may show a state of the filter, stops (ours).
const BELOW_BARE: f64 = 0.5;
/// Readings that are followed at a time.
const BEAM: usize = 48;
/// Beyond so many jumps only a few.
const MANY_JUMPS: usize = 150;
const NARROW_BEAM: usize = 8;

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
    belief: Belief,
    /// What frames are taken as, from the start.
    frames: Vec<Shown>,
    /// What was last met at each exposure setting.
    at_settings: Vec<Option<Role>>,
    by_settings: bool,
    /// Runs at settings that were known, and those of them that showed what was known there.
    met: f64,
    kept: f64,
    /// Runs through the filter.
    through: f64,
    steps: usize,
}

/// One way for a reading to go on.
#[derive(Clone, Copy, Debug)]
struct Branch {
    /// Number of the trail that goes on so, and its score then.
    of: usize,
    score: f64,
    next: Next,
}

/// What the first frame of a run shows.
#[derive(Clone, Copy, Debug)]
enum Next {
    /// Something that was met, perhaps after a step of the light, as well as a hand sets it again.
    Known { role: Role, stepped: bool, play: f64 },
    /// A new state.
    New,
    /// Spoilt.
    Odd(Shown),
}

fn follow(levels: &[Level], light: Light, terms: Terms) -> Vec<Reading> {
    let Some(first) = levels.first() else { return Vec::new() };
    let brightest = levels.iter().map(|l| l.stops).fold(f64::NEG_INFINITY, f64::max);
    let settings = levels.iter().map(|l| l.exposure + 1).max().unwrap_or(0);
    let known = levels.iter().flat_map(|l| l.settings).flatten().max().map_or(0, |last| last + 1);
    let jumps = levels.iter().filter(|l| !l.joins).count();
    let alone = |i: usize| !levels[i].joins && !levels.get(i + 1).is_some_and(|l| l.joins);
    let habit = Habit { terms, repeated: mostly_repeated(levels, alone) };
    let width = if jumps > MANY_JUMPS { NARROW_BEAM } else { BEAM };
    let mut trails =
        vec![Trail::start(Belief::start(brightest, light, known), light, settings, terms)];
    let mut before = *first;
    for (i, level) in levels.iter().enumerate() {
        for trail in &mut trails {
            trail.belief.wait((level.minutes - before.minutes).max(0.0), light);
        }
        if level.joins && i > 0 {
            trails.iter_mut().for_each(|t| t.go_on(level, &before));
        } else {
            // What a frame teaches is reckoned for those alone that are followed.
            let numbered = trails.iter().enumerate();
            let mut next: Vec<Branch> =
                numbered.flat_map(|(of, t)| t.branches(of, level, alone(i), habit)).collect();
            next.sort_by(|a, b| b.score.total_cmp(&a.score));
            next.truncate(width);
            trails = next.iter().map(|b| trails[b.of].grown(level, b)).collect();
        }
        before = *level;
    }
    trails.into_iter().filter_map(|trail| trail.finished(terms.least_strength)).collect()
}

/// Whether most frames that lie below the bare light were repeated; of all, where none lies there.
fn mostly_repeated(levels: &[Level], alone: impl Fn(usize) -> bool) -> bool {
    let brightest = levels.iter().map(|l| l.stops).fold(f64::NEG_INFINITY, f64::max);
    let below = |i: &usize| levels[*i].stops < brightest - BELOW_BARE;
    let mut of: Vec<usize> = (0..levels.len()).filter(below).collect();
    if of.is_empty() {
        of.extend(0..levels.len());
    }
    2 * of.iter().filter(|i| alone(**i)).count() < of.len()
}

impl Trail {
    fn start(belief: Belief, light: Light, settings: usize, terms: Terms) -> Self {
        Self {
            score: light.share.ln(),
            belief,
            frames: Vec::new(),
            at_settings: vec![None; settings],
            by_settings: terms.by_settings,
            met: MET_SETTINGS,
            kept: KEPT_SETTINGS,
            through: 0.0,
            steps: 0,
        }
    }

    /// Takes a frame as one of a role.
    fn take(&mut self, level: &Level, role: Role, extra: f64) {
        self.score += self.belief.learn(level, role, extra);
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

    /// Everything that the first frame of a run may be; `of` is this trail's number.
    fn branches(&self, of: usize, level: &Level, alone: bool, habit: Habit) -> Vec<Branch> {
        let states = (0..self.belief.states()).map(Role::Setting);
        let known: Vec<Role> = [Role::Bare].into_iter().chain(states).collect();
        let mut found = Vec::new();
        for steps in 0..=usize::from(!self.frames.is_empty()) {
            let (stepped, step, share) =
                if steps > 0 { (true, STEP_STOPS, STEP_SHARE.ln()) } else { (false, 0.0, 0.0) };
            for &role in &known {
                let play = if role != Role::Bare && self.belief.states() > 1 { PLAY } else { 0.0 };
                let (error, variance) = self.belief.expected(level, role, play);
                let score = self.score
                    + share
                    + self.settings_prior(level, role)
                    + log_normal(error, variance + step * step);
                found.push(Branch { of, score, next: Next::Known { role, stepped, play } });
            }
        }
        found.extend(self.new_state(of, level, alone, habit));
        found.extend(self.odd(of, level, &known));
        found
    }

    /// The trail with one of its branches.
    fn grown(&self, level: &Level, branch: &Branch) -> Self {
        let mut trail = self.clone();
        match branch.next {
            Next::Known { role, stepped, play } => {
                if stepped {
                    trail.belief.step(STEP_STOPS);
                    trail.steps += 1;
                }
                trail.count_run(level, role);
                trail.take(level, role, play);
            }
            Next::New => {
                let role = Role::Setting(self.belief.states());
                trail.belief = self.belief.with_state();
                trail.count_run(level, role);
                trail.take(level, role, 0.0);
            }
            Next::Odd(shown) => trail.frames.push(shown),
        }
        trail.score = branch.score;
        trail
    }

    /// ln of the probability of a role before the level is seen.
    fn settings_prior(&self, level: &Level, role: Role) -> f64 {
        let others = match self.at_settings[level.exposure].filter(|_| self.by_settings) {
            None => 1.0,
            Some(known) if known == role => return (self.kept / self.met).ln(),
            Some(_) => 1.0 - self.kept / self.met,
        };
        let (states, new) = (self.belief.states(), self.new_share());
        // A shoot has a filter: where all frames are set alike, so are those of its first state.
        let is_bound = states == 0 && role != Role::Bare && self.at_settings.len() == 1;
        let others = if is_bound { 1.0 } else { others };
        let share =
            if role == Role::Setting(states) { new } else { (1.0 - new) / (states + 1) as f64 };
        (others * share).ln()
    }

    /// Probability of a state that was not met yet: as that of each known role, and of a ring as what
    /// was new in it so far lets expect.
    fn new_share(&self) -> f64 {
        let states = self.belief.states();
        let even = 1.0 / (states + 2) as f64;
        if states < 2 {
            return even;
        }
        even.max((1.0 - BARE_SHARE) * (states + 1) as f64 / (self.through + 2.0))
    }

    /// Counts a run of a role, and whether it was known at its settings.
    fn count_run(&mut self, level: &Level, role: Role) {
        self.through += f64::from(u8::from(role != Role::Bare));
        if let Some(known) = self.at_settings[level.exposure] {
            self.met += 1.0;
            self.kept += f64::from(u8::from(known == role));
        }
    }

    fn new_state(&self, of: usize, level: &Level, alone: bool, habit: Habit) -> Option<Branch> {
        let states = self.belief.states();
        if states >= habit.terms.most_states {
            return None;
        }
        let more = match states {
            0 => 0.0,
            1 => habit.terms.second_state,
            _ => ONE_MORE,
        };
        let (strength, ln_density) = self.belief.of_new_state(level);
        let once = if alone && habit.repeated { SHOT_ONCE.ln() } else { 0.0 };
        let prior = self.settings_prior(level, Role::Setting(states));
        let score = self.score + more + prior + once + ln_density;
        (strength > habit.terms.least_strength).then_some(Branch { of, score, next: Next::New })
    }

    /// A spoilt run, of what is known or of a state that is yet to come.
    fn odd(&self, of: usize, level: &Level, known: &[Role]) -> [Branch; 2] {
        let density = |role: Role| {
            let (error, variance) = self.belief.expected(level, role, ODD_STOPS);
            (log_normal(error, variance), error)
        };
        let branch = |prior: f64, density: f64, shown: Shown| {
            let score = self.score + ODD_SHARE.ln() + prior + density;
            Branch { of, score, next: Next::Odd(shown) }
        };
        let all: Vec<(Role, (f64, f64))> =
            known.iter().map(|&role| (role, density(role))).collect();
        let nearest = all.iter().max_by(|a, b| a.1.0.total_cmp(&b.1.0));
        let (nearest, (near, error)) =
            nearest.copied().unwrap_or_else(|| (Role::Bare, density(Role::Bare)));
        let prior = self.settings_prior(level, nearest);
        let alone = self.at_settings[level.exposure].is_none() && !self.frames.is_empty();
        let prior = prior + if alone { ODD_ALONE.ln() } else { 0.0 };
        let (from_bare, variance) = self.belief.expected(level, Role::Bare, STRENGTH_SPREAD);
        let coming = self.settings_prior(level, Role::Setting(self.belief.states()));
        let unknown = Shown::Odd(None, from_bare);
        // No state is brighter than the bare light, which is known to so much.
        let light = variance - STRENGTH_SPREAD * STRENGTH_SPREAD + ODD_STOPS * ODD_STOPS;
        let brighter = -0.5 * from_bare.max(0.0).powi(2) / light;
        [
            branch(prior, near, Shown::Odd(Some(nearest), error)),
            branch(coming, log_normal(from_bare + STRENGTH, variance) + brighter, unknown),
        ]
    }

    /// The reading, where it holds bare light and its only state takes what a filter does: one that was
    /// met before the bare light may come out weaker, or brighter. Of a ring a mark may take nothing.
    fn finished(self, least_strength: f64) -> Option<Reading> {
        let bare = self.frames.contains(&Shown::Role(Role::Bare));
        let Self { frames, score, steps, belief, .. } = self;
        let strengths = belief.into_strengths();
        let is_filter = !matches!(strengths[..], [only] if only <= least_strength);
        (bare && is_filter).then_some(Reading { frames, evidence: score, strengths, steps })
    }
}
