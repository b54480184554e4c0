//! Photographs that hang together, judged by accounts: each account says of every photograph what was
//! in front of the lens, and follows the light that this would mean. The likeliest are kept.

use super::changes::{Changes, first};
use super::daylight::along_daylight;
use super::hour::BRIGHTEST_SOFT;
use super::kept::Kept;
use super::links::{Placed, Tie};
use super::patterns::{Drawn, Fit};
use super::states::{State, States};
use super::track::Followed;
use super::trail::{Step, Track, Trail};
use crate::editing::scene::SceneDifference;

/// Doubt of a difference in level and in colour between two frames of one scene, in stops (ours).
const LEVEL_STOPS: f64 = 0.05;
const COLOUR_STOPS: f64 = 0.012;
/// How light wanders beside its drift: at once and each minute, level and colour, in stops (ours).
const LEVEL_WANDERS: [f64; 2] = [0.02, 0.02];
const COLOUR_WANDERS: [f64; 2] = [0.004, 0.008];
/// What a cloud before the sun, or off it, does to level and colour, in stops: colour moves along the
/// locus of daylight, and little across it (ours).
const CLOUD_STOPS: f64 = 1.3;
const CLOUD_TINT: f64 = 0.03;
/// What is left where the sun is gone is the light of sky and cloud: for each stop that it is darker it is
/// so much cooler, give or take, and to so many stops besides. From sunlight at 5500 K to an overcast sky
/// at 6500 K are 0.3 stop along the locus and two or three stops of light (common practice, no source); a
/// low sun is warmer, a high cloud whiter than that.
const COOLER_A_STOP: [f64; 2] = [0.11, 0.07];
const CLOUD_COOLER: f64 = 0.04;
const CLOUD_AT_MOST: f64 = 0.5;
/// How likely light that was clouded comes back, against a further step; how exactly it does, level and
/// colour, in stops (ours).
const COMES_BACK: f64 = 0.6;
const BACK_STOPS: f64 = 0.1;
const BACK_COLOUR: f64 = 0.015;
/// How well a measured pattern is known to move the median, as a share (ours).
const SHIFT_SHARE: f64 = 0.5;
/// How well a step across the picture must agree with a polariser that is put on or taken off, at least: it
/// darkens the sky by up to a stop or more where that is polarised, and the land by as much as that shines
/// (common practice, no source), which looks like a graduation that has moved (ours).
const SKY_DARKENS: f64 = 0.4;
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
/// Logs are rounded by less than this.
const ROUNDED: f64 = 1e-9;

/// What an evening is like.
#[derive(Clone, Copy, Debug)]
pub(super) struct Habits {
    /// Stops a minute by which the light changes.
    pub drift: f64,
    /// Probability of a cloud at once and in each minute.
    pub clouds: [f64; 2],
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

/// A group as its accounts are made.
pub(super) struct Group<'a> {
    pub states: &'a States,
    pub changes: &'a Changes,
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
        let mut accounts = vec![Trail::default()];
        for at in 0..self.frames.len() {
            let steps = self.steps(&accounts, at);
            accounts = steps.into_iter().map(|s| self.taken(&accounts, at, s)).collect();
        }
        accounts
    }

    /// The likeliest ways on from the accounts so far, which stand the likeliest first. A way is not
    /// followed that cannot be among them: its sight is at most as likely as `most`, and words only make a
    /// state less likely.
    fn steps(&self, accounts: &[Trail], at: usize) -> Vec<Step> {
        let frame = &self.frames[at];
        let most = self.most(at).ln() + ROUNDED;
        let words: Vec<[f64; 2]> = frame
            .words
            .iter()
            .zip(frame.told)
            .map(|(&words, &told)| [words * told, told].map(|f| f.max(f64::MIN_POSITIVE).ln()))
            .collect();
        let mut kept = Kept::new();
        for (from, account) in accounts.iter().enumerate() {
            let before = account.states.last();
            let (logs, order) = match before {
                Some(&before) => self.changes.after(frame.placed.since, before),
                None => (&[][..], &[][..]),
            };
            for way in 0..self.states.all.len() {
                let state = order.get(way).map_or(way, |&s| usize::from(s));
                let change = logs.get(state).copied();
                let change =
                    change.unwrap_or_else(|| first(self.states, self.metered_first, state));
                if before.is_some() && account.log + change + most < kept.least {
                    break;
                }
                // Keywords are written to many photographs at once.
                let same = before.is_some_and(|&b| usize::from(b) == state);
                let words = words[state][usize::from(same && frame.repeats)];
                let log = account.log + change + words;
                if log + most >= kept.least {
                    kept.take(self.step(account, [from, at, state], log, kept.least));
                }
            }
        }
        kept.likeliest()
    }

    /// The most that the density of any sight of a frame can be. A sight is a product of normal densities,
    /// each at most 1 / sqrt(2 pi variance) high, and its variance is at least that of the difference and
    /// of what light wanders at once; from view to view it is one such density, from nothing 1.
    fn most(&self, at: usize) -> f64 {
        let Tie::Scene { difference, .. } = &self.frames[at].placed.tie else { return 1.0 };
        let level = difference_doubt(difference).hypot(LEVEL_WANDERS[0].min(BACK_STOPS));
        let colour = colour_doubt(difference).hypot(COLOUR_WANDERS[0].min(BACK_COLOUR));
        let colours = if seen_colours(difference) { highest(colour).powi(2) } else { 1.0 };
        let same = difference.same;
        (same * highest(level) * colours + (1.0 - same) * highest(VIEW_STOPS)).max(LEAST)
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

    /// One way on, unless it is less likely than `least`; `log` is how likely it is before it is seen.
    fn step(&self, account: &Trail, way: [usize; 3], log: f64, least: f64) -> Option<Step> {
        let [from, at, index] = way;
        // A light that lasts is as unlikely as it is once.
        let beyond = self.beyond(at, &self.states.all[index]).max(account.beyond);
        let log = log + unearthly(beyond) - unearthly(account.beyond);
        let enough = (least - log - ROUNDED).exp();
        let enough = if enough > LEAST { enough } else { 0.0 };
        let (track, seen, density) = self.sight(account, at, index, enough)?;
        let log = log + density.max(LEAST).ln();
        log.is_finite().then_some(Step { log, from, state: index as u16, track, seen, beyond })
    }

    /// Stops by which the light would be brighter than the earth knows.
    fn beyond(&self, at: usize, state: &State) -> f64 {
        let here = self.frames[at].placed;
        let doubt = state.u[0] + here.bound;
        here.light.map_or(0.0, |light| (light + state.loss - doubt - self.brightest).max(0.0))
    }

    /// What the light of a frame would be, and how likely it is after what is known; `None` where that
    /// is less than `enough`.
    fn sight(
        &self,
        account: &Trail,
        at: usize,
        index: usize,
        enough: f64,
    ) -> Option<(Track, [f64; 3], f64)> {
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
            return Some((track, alone, level.1));
        };
        let Tie::Scene { difference, .. } = &frame.placed.tie else {
            return Some((*track, alone, 1.0));
        };
        let before = usize::from(account.states[on]);
        let count = self.states.patterns.len();
        let one = &self.states.all[before];
        let fit = &frame.fits[one.pattern * count + state.pattern];
        let colour = |c: usize| {
            difference.colour[c]
                .map_or(f64::NAN, |seen| seen + state.colour[c] - one.colour[c] + fit.colour[c])
        };
        let [cooler, tint] = along_daylight([colour(0), colour(1)]);
        let seen = [
            account.seen[on][0] + fit.middle + state.loss - one.loss,
            account.seen[on][1] + cooler,
            account.seen[on][2] + tint,
        ];
        let level = difference_doubt(difference).powi(2) + (SHIFT_SHARE * fit.shift).powi(2);
        let u = [level.sqrt(), colour_doubt(difference)];
        let polariser = one.polarised != state.polarised;
        let like = if polariser { fit.like.max(SKY_DARKENS) } else { fit.like };
        let (of_same, of_another) = (difference.same * like, 1.0 - difference.same);
        let worth = (enough - of_another * highest(VIEW_STOPS)) / of_same;
        let (next, density) = self.followed(track, at, index, (seen, u), worth)?;
        let (light, known) = track.of[0].light();
        let elsewhere = Followed::guessed(light, VIEW_STOPS.hypot(known), state.u[0]);
        let other = elsewhere.sighted(alone[0], LEVEL_STOPS.hypot(frame.placed.bound)).1;
        Some((next, seen, of_same * density + of_another * other))
    }

    /// The light of a frame by itself, colour unknown.
    fn alone(&self, at: usize, index: usize) -> [f64; 3] {
        let (frame, state) = (&self.frames[at], &self.states.all[index]);
        let light = frame.placed.light.unwrap_or(0.0);
        [light + state.loss + frame.drawn.mean(state.pattern), 0.0, 0.0]
    }

    /// Follows the light to a sight of it, with a cloud and without; `None` where that is less likely than
    /// `enough`.
    fn followed(
        &self,
        track: &Track,
        at: usize,
        index: usize,
        (seen, u): ([f64; 3], [f64; 2]),
        enough: f64,
    ) -> Option<(Track, f64)> {
        let (mut of, mut weights) = self.expected(track, at, index);
        let u = [u[0], u[1], u[1]];
        let (cloudy, cooler) = clouded(of[1][1], of[0][0].stepped(seen[0], u[0], CLOUD_STOPS));
        of[1][1] = cloudy;
        let known = |c: usize| seen[c].is_finite();
        if enough > 0.0 {
            // The least spread of each way: that of the sight, or of the step before it.
            let own = u.map(highest);
            let stormy = [CLOUD_STOPS, cooler, CLOUD_TINT].map(highest);
            let most = |way: usize| -> f64 {
                let top = if way == 1 { stormy } else { own };
                let of = |c: usize| of[way][c].sighted_at_most(seen[c], u[c], top[c]);
                weights[way] * (0..3).filter(|&c| known(c)).map(of).product::<f64>()
            };
            if (0..3).map(most).sum::<f64>() < enough {
                return None;
            }
        }
        for (of, weight) in of.iter_mut().zip(&mut weights) {
            for c in (0..3).filter(|&c| known(c)) {
                let (sighted, density) = of[c].sighted(seen[c], u[c]);
                of[c] = sighted;
                *weight *= density;
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
        Some((track, whole))
    }

    /// The light that is expected before it is seen, and how likely each way is: as it was, with a step of
    /// a cloud, or back to the light before the last one.
    fn expected(&self, track: &Track, at: usize, index: usize) -> ([[Followed; 3]; 3], [f64; 3]) {
        let state = &self.states.all[index];
        let minutes = (self.minute[at] - track.minute).max(0.0);
        let last = usize::from(track.state);
        let same = last == index;
        let stays = self.states.stays_on(last, index);
        let clouds = self.habits.clouds;
        let cloud = (clouds[0] + clouds[1] * minutes).min(CLOUD_AT_MOST);
        let back = if track.before.is_some() { COMES_BACK * cloud } else { 0.0 };
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
            // The colour along daylight goes with the level, once that is seen.
            let stormy = calm.moved(0.0, [CLOUD_STOPS, 0.0, CLOUD_TINT][c]);
            let earlier = track
                .before
                .map_or(calm, |b| calm.lit_as(b[c]).moved(0.0, [BACK_STOPS, BACK_COLOUR][kind]));
            (of[0][c], of[1][c], of[2][c]) = (calm, stormy, earlier);
        }
        (of, [1.0 - cloud - back, cloud, back])
    }
}

/// The colour along daylight after a cloud that changed the level by so many stops, to within a variance;
/// and how far it may then be off.
fn clouded(colour: Followed, (stops, var): (f64, f64)) -> (Followed, f64) {
    let [cooler, u] = COOLER_A_STOP;
    let own = CLOUD_COOLER * CLOUD_COOLER;
    let doubt = (own + cooler * cooler * var + u * u * (stops * stops + var)).sqrt();
    (colour.moved(-cooler * stops, doubt), doubt)
}

/// Doubt of a difference in level and in colour, in stops.
fn difference_doubt(difference: &SceneDifference) -> f64 {
    let turned = if difference.turn != 0 { TURNED_STOPS } else { 0.0 };
    (LEVEL_STOPS.powi(2) + difference.u.powi(2) + turned.powi(2)).sqrt()
}

fn colour_doubt(difference: &SceneDifference) -> f64 {
    if difference.turn != 0 { TURNED_COLOUR } else { COLOUR_STOPS }
}

/// Whether both colours are seen, without which there is neither cooler nor tint.
fn seen_colours(difference: &SceneDifference) -> bool {
    difference.colour.iter().all(Option::is_some)
}

/// The density of a normal law at its middle.
fn highest(sd: f64) -> f64 {
    1.0 / (std::f64::consts::TAU.sqrt() * sd)
}

/// Log of how likely a light is that is so many stops brighter than the earth knows, against one that
/// is not.
fn unearthly(beyond: f64) -> f64 {
    -0.5 * (beyond / BRIGHTEST_SOFT).powi(2)
}

#[cfg(test)]
mod tests;
