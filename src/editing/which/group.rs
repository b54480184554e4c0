//! Photographs that hang together, judged by accounts: each account says of every photograph what was
//! in front of the lens, and follows the light that this would mean. The likeliest are kept.

use super::daylight::along_daylight;
use super::hour::BRIGHTEST_SOFT;
use super::links::{Placed, QUICK_SECONDS, SOON_SECONDS, Tie};
use super::patterns::{Drawn, Fit};
use super::states::{State, States};
use super::track::Followed;

/// Accounts that are kept from frame to frame, and how unlikely they may be against the best.
const KEPT: usize = 250;
const WORTH_KEEPING: f64 = 16.0;
/// Probability that the same filter stays on, by the time there was to change it (ours).
const STAYS_QUICK: f64 = 0.997;
const STAYS_SOON: f64 = 0.97;
const STAYS_A_WHILE: f64 = 0.75;
const WHILE_SECONDS: f64 = 20.0;
const STAYS: f64 = 0.5;
/// Where filters change, the share of cases in which one of them stays on (ours).
const ONE_STAYS: f64 = 0.28;
/// Probability that a ring that stays on is turned, given time (ours).
const TURNS: f64 = 0.15;
/// Doubt of a difference in level and in colour between two frames of one scene, in stops (ours).
const LEVEL_STOPS: f64 = 0.05;
const COLOUR_STOPS: f64 = 0.012;
/// How light wanders beside its drift: at once and each minute, level and colour, in stops (ours).
const LEVEL_WANDERS: [f64; 2] = [0.02, 0.02];
const COLOUR_WANDERS: [f64; 2] = [0.004, 0.008];
/// What a cloud before the sun, or off it, does to level and colour, in stops: colour moves along the
/// locus of daylight, and little across it (ours).
const CLOUD_STOPS: f64 = 1.3;
const CLOUD_COOLER: f64 = 0.14;
const CLOUD_TINT: f64 = 0.03;
const CLOUD_AT_MOST: f64 = 0.5;
/// How likely light that was clouded comes back, against a further step; how exactly it does, level and
/// colour, in stops (ours).
const COMES_BACK: f64 = 0.6;
const BACK_STOPS: f64 = 0.1;
const BACK_COLOUR: f64 = 0.015;
/// How well a measured pattern is known to move the median, as a share (ours).
const SHIFT_SHARE: f64 = 0.5;
/// Pictures of a panorama overlap in part only (ours).
const TURNED_STOPS: f64 = 0.15;
const TURNED_COLOUR: f64 = 0.02;
/// Two views of one series, in stops (ours).
const VIEW_STOPS: f64 = 0.8;
/// What shows no light may have had any: from moonlight to snow in the sun, as an exposure value and its
/// doubt (ours).
const UNSEEN_EV: [f64; 2] = [6.0, 10.0];
/// No account is impossible: photographs hold what no model does. Against densities in stops.
const LEAST: f64 = 1e-5;

/// What an evening is like.
#[derive(Clone, Copy, Debug)]
pub(super) struct Habits {
    /// Stops a minute by which the light changes.
    pub drift: f64,
    /// Probability of a cloud at once and in each minute.
    pub clouds: [f64; 2],
    /// How far the light of a place lies from that of the hour, in stops.
    pub scene: f64,
}

/// What is known of one photograph beside its ties.
pub(super) struct Evidence<'a> {
    pub placed: &'a Placed,
    /// Factors by state: keywords, and the user's word.
    pub words: &'a [f64],
    pub told: &'a [f64],
    /// Whether its keywords are those of the photograph before.
    pub repeats: bool,
    /// How the patterns of the kit look in it.
    pub drawn: &'a Drawn,
    /// How pairs of them agree with the ratio to the frame that it hangs on.
    pub fits: &'a [Fit],
}

/// One account: states of the photographs so far, and the light.
#[derive(Clone)]
pub(super) struct Trail {
    /// Log of how likely it is.
    pub log: f64,
    /// States by place in the group.
    pub states: Vec<u16>,
    /// How often something was put on, taken off or turned; how often nothing was on then, how often
    /// something that is not in the kit.
    pub entered: Entered,
    /// Light as seen (level, cooler, tint) by place.
    pub(super) seen: Vec<[f64; 3]>,
    /// Views followed: level and colours, the state and the place last seen.
    tracks: Vec<Track>,
    /// By how much its brightest light is brighter than the earth knows, in stops.
    beyond: f64,
}

/// How often a new state was entered.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Entered {
    pub bare: u16,
    pub unknown: u16,
    pub other: u16,
}

impl Entered {
    fn with(mut self, state: &State) -> Self {
        let count = match (state.is_bare(), state.unknown) {
            (true, _) => &mut self.bare,
            (_, true) => &mut self.unknown,
            _ => &mut self.other,
        };
        *count += 1;
        self
    }
}

#[derive(Clone, Copy)]
struct Track {
    of: [Followed; 3],
    /// The light before the last step of a cloud, which comes back when the cloud has passed.
    before: Option<[Followed; 3]>,
    state: u16,
    /// Minutes at which it was last seen, from the first photograph of all.
    minute: f64,
}

/// One step of an account.
struct Step {
    log: f64,
    from: usize,
    state: u16,
    track: Track,
    seen: [f64; 3],
    beyond: f64,
}

/// A group as its accounts are made.
pub(super) struct Group<'a> {
    pub states: &'a States,
    pub habits: Habits,
    /// Only a bare first photograph is expected.
    pub metered_first: bool,
    /// The brightest light that there may be, as an exposure value.
    pub brightest: f64,
    /// Photographs in order.
    pub frames: Vec<Evidence<'a>>,
    /// Place of the photograph that each hangs on, and its view.
    pub on: Vec<Option<usize>>,
    pub view: Vec<usize>,
    /// Minutes of each from the first photograph of all.
    pub minute: Vec<f64>,
}

impl Group<'_> {
    /// The likeliest accounts of the whole group.
    pub fn accounts(&self) -> Vec<Trail> {
        let mut accounts = vec![Trail {
            log: 0.0,
            states: Vec::new(),
            entered: Entered::default(),
            seen: Vec::new(),
            tracks: Vec::new(),
            beyond: 0.0,
        }];
        for at in 0..self.frames.len() {
            let mut steps: Vec<Step> = Vec::new();
            let mut best = f64::NEG_INFINITY;
            for (from, account) in accounts.iter().enumerate() {
                for state in 0..self.states.all.len() {
                    let step = self.step(account, from, at, state);
                    if let Some(step) = step.filter(|s| s.log >= best - WORTH_KEEPING) {
                        best = best.max(step.log);
                        steps.push(step);
                    }
                }
            }
            steps.retain(|s| s.log >= best - WORTH_KEEPING);
            steps.sort_by(|a, b| b.log.total_cmp(&a.log));
            steps.truncate(KEPT);
            accounts = steps.into_iter().map(|s| self.taken(&accounts, at, s)).collect();
        }
        accounts
    }

    fn taken(&self, accounts: &[Trail], at: usize, step: Step) -> Trail {
        let mut account = accounts[step.from].clone();
        account.log = step.log;
        account.beyond = step.beyond;
        let expected = self.metered_first && at == 0;
        if account.states.last() != Some(&step.state) && !expected {
            account.entered = account.entered.with(&self.states.all[usize::from(step.state)]);
        }
        account.states.push(step.state);
        account.seen.push(step.seen);
        match account.tracks.get_mut(self.view[at]) {
            Some(track) => *track = step.track,
            None => account.tracks.push(step.track),
        }
        account
    }

    fn step(&self, account: &Trail, from: usize, at: usize, index: usize) -> Option<Step> {
        let (frame, state) = (&self.frames[at], &self.states.all[index]);
        let before = account.states.last().map(|&s| usize::from(s));
        let same = before == Some(index);
        // Keywords are written to many photographs at once.
        let words = if same && frame.repeats { 1.0 } else { frame.words[index] };
        // A light that lasts is as unlikely as it is once.
        let beyond = self.beyond(at, state).max(account.beyond);
        let bright = unearthly(beyond) - unearthly(account.beyond);
        let own = words * frame.told[index] * self.change(at, before, index);
        let log = account.log + own.max(f64::MIN_POSITIVE).ln() + bright;
        let (track, seen, density) = self.sight(account, at, index);
        let log = log + density.max(LEAST).ln();
        log.is_finite().then_some(Step { log, from, state: index as u16, track, seen, beyond })
    }

    /// How likely a filter is after another.
    fn change(&self, at: usize, before: Option<usize>, here: usize) -> f64 {
        let all = &self.states.all;
        let Some(before) = before else {
            let bare = all[here].is_bare();
            return match (self.metered_first, bare) {
                (true, true) => 1.0,
                (true, false) => all[here].prior * 0.005,
                (false, _) => all[here].prior,
            };
        };
        let pause = self.frames[at].placed.since;
        let stays = if pause < QUICK_SECONDS {
            STAYS_QUICK
        } else if pause < SOON_SECONDS {
            STAYS_SOON
        } else if pause < WHILE_SECONDS {
            STAYS_A_WHILE
        } else {
            STAYS
        };
        let ring = all[before].ring.is_some() && pause >= QUICK_SECONDS;
        let turns = if ring { TURNS * stays } else { 0.0 };
        let kin = self.states.marks(before) as f64;
        let turned = before != here && ring && self.states.same_filters(before, here);
        let stays = if kin > 1.0 { stays - turns } else { stays };
        f64::from(u8::from(before == here)) * stays
            + if turned { turns / (kin - 1.0) } else { 0.0 }
            + (1.0 - stays - if kin > 1.0 { turns } else { 0.0 })
                * ((1.0 - ONE_STAYS) * all[here].prior
                    + ONE_STAYS * self.states.one_stays(before, here))
    }

    /// Stops by which the light would be brighter than the earth knows.
    fn beyond(&self, at: usize, state: &State) -> f64 {
        let here = self.frames[at].placed;
        let doubt = state.u[0] + here.bound;
        here.light.map_or(0.0, |light| (light + state.loss - doubt - self.brightest).max(0.0))
    }

    /// What the light of a frame would be, and how likely it is after what is known.
    fn sight(&self, account: &Trail, at: usize, index: usize) -> (Track, [f64; 3], f64) {
        let (frame, state) = (&self.frames[at], &self.states.all[index]);
        let alone = self.alone(at, index);
        let track = account.tracks.get(self.view[at]);
        let (Some(on), Some(track)) = (self.on[at], track) else {
            // The first of a view: from another view of the series, or from nothing. What shows no
            // light says nothing of it.
            let other = account.tracks.last().map(|other| other.of[0].light());
            let guessed = |(light, u)| Followed::guessed(light, VIEW_STOPS.hypot(u), state.u[0]);
            let level = match (other, frame.placed.light) {
                (Some(other), Some(_)) => {
                    guessed(other).sighted(alone[0], LEVEL_STOPS.hypot(frame.placed.bound))
                }
                (Some(other), None) => (guessed(other), 1.0),
                (None, Some(_)) => (Followed::seen(alone[0], state.u[0]), 1.0),
                (None, None) => (guessed((UNSEEN_EV[0], UNSEEN_EV[1])), 1.0),
            };
            let colour = Followed::seen(0.0, state.u[1]);
            let of = [level.0, colour, colour];
            let track = Track { of, before: None, state: index as u16, minute: self.minute[at] };
            return (track, alone, level.1);
        };
        let Tie::Scene { difference, .. } = &frame.placed.tie else {
            return (*track, alone, 1.0);
        };
        let before = usize::from(account.states[on]);
        let count = self.states.patterns.len();
        let one = &self.states.all[before];
        let fit = &frame.fits[one.pattern * count + state.pattern];
        let turned = difference.turn != 0;
        let colour = |c: usize| {
            difference.colour[c].map_or(f64::NAN, |seen| seen + state.colour[c] - one.colour[c])
        };
        let [cooler, tint] = along_daylight([colour(0), colour(1)]);
        let seen = [
            account.seen[on][0] + fit.middle + state.loss - one.loss,
            account.seen[on][1] + cooler,
            account.seen[on][2] + tint,
        ];
        let u = [
            LEVEL_STOPS.hypot(difference.u).hypot(SHIFT_SHARE * fit.shift).hypot(if turned {
                TURNED_STOPS
            } else {
                0.0
            }),
            if turned { TURNED_COLOUR } else { COLOUR_STOPS },
        ];
        let (next, density) = self.followed(track, at, index, seen, u);
        let (light, known) = track.of[0].light();
        let elsewhere = Followed::guessed(light, VIEW_STOPS.hypot(known), state.u[0]);
        let other = elsewhere.sighted(alone[0], LEVEL_STOPS.hypot(frame.placed.bound)).1;
        let same = difference.same;
        (next, seen, same * density * fit.log.exp() + (1.0 - same) * other)
    }

    /// The light of a frame by itself, colour unknown.
    fn alone(&self, at: usize, index: usize) -> [f64; 3] {
        let (frame, state) = (&self.frames[at], &self.states.all[index]);
        let light = frame.placed.light.unwrap_or(0.0);
        [light + state.loss + frame.drawn.mean(state.pattern), 0.0, 0.0]
    }

    /// Follows the light to a sight of it, with a cloud and without.
    fn followed(
        &self,
        track: &Track,
        at: usize,
        index: usize,
        seen: [f64; 3],
        u: [f64; 2],
    ) -> (Track, f64) {
        let state = &self.states.all[index];
        let minutes = (self.minute[at] - track.minute).max(0.0);
        let last = usize::from(track.state);
        let same = last == index;
        let stays = self.states.stays_on(last, index);
        let clouds = self.habits.clouds;
        let cloud = (clouds[0] + clouds[1] * minutes).min(CLOUD_AT_MOST);
        let back = if track.before.is_some() { COMES_BACK * cloud } else { 0.0 };
        // As it was, with a step of a cloud, or back to the light before the last one.
        let mut weights = [1.0 - cloud - back, cloud, back];
        let mut of = [track.of; 3];
        for c in 0..3 {
            let kind = usize::from(c > 0);
            let put = match (same, kind) {
                (true, 0) => track.of[c].kept(state.wanders),
                (true, _) => track.of[c],
                (false, _) => {
                    let before = self.states.all[last].u[kind].powi(2);
                    let put = track.of[c].changed(state.u[kind], before, stays[kind]);
                    let wanders = if kind == 0 && stays[0] > 0.0 { state.wanders } else { 0.0 };
                    put.kept(wanders)
                }
            };
            let wanders = [LEVEL_WANDERS, COLOUR_WANDERS][kind];
            let drift = if kind == 0 { self.habits.drift * minutes } else { 0.0 };
            let calm = put.moved(drift, wanders[0] + wanders[1] * minutes);
            let stormy = calm.moved(0.0, [CLOUD_STOPS, CLOUD_COOLER, CLOUD_TINT][c]);
            let earlier = track
                .before
                .map_or(calm, |b| calm.lit_as(b[c]).moved(0.0, [BACK_STOPS, BACK_COLOUR][kind]));
            for (way, light) in [calm, stormy, earlier].into_iter().enumerate() {
                of[way][c] = light;
                if seen[c].is_finite() {
                    let (sighted, density) = light.sighted(seen[c], u[kind]);
                    of[way][c] = sighted;
                    weights[way] *= density;
                }
            }
        }
        let whole = weights.iter().sum::<f64>();
        let share = |way: usize| weights[way] / whole.max(f64::MIN_POSITIVE);
        let late = share(2) / (share(1) + share(2)).max(f64::MIN_POSITIVE);
        let mixed = std::array::from_fn(|c| {
            of[0][c].mixed(of[1][c].mixed(of[2][c], late), share(1) + share(2))
        });
        let stepped = share(1) + share(2) > 0.5;
        let before = if stepped { Some(track.of) } else { track.before };
        let track = Track { of: mixed, before, state: index as u16, minute: self.minute[at] };
        (track, whole)
    }
}

/// Log of how likely a light is that is so many stops brighter than the earth knows, against one that
/// is not.
fn unearthly(beyond: f64) -> f64 {
    -0.5 * (beyond / BRIGHTEST_SOFT).powi(2)
}
