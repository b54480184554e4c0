//! One posterior for every photograph over the states of the kit.
//!
//! A photograph hangs on an earlier one ([`super::links`]), so all of them make a tree, and sums of
//! products over it are exact (Pearl, "Probabilistic reasoning in intelligent systems", 1988, chapter
//! 4). The heads of scenes hang on the light of the hour, which is a chain of its own.

use super::links::{Placed, QUICK_SECONDS, SOON_SECONDS, Tie};
use super::states::{State, States, steps};
use crate::editing::scene::Difference;
use crate::numerics::robust::median;

/// Probability that the same state stays on, by the time there was to change it (ours).
const STAYS_QUICK: f64 = 0.995;
const STAYS_SOON: f64 = 0.97;
const STAYS: f64 = 0.5;
/// Probability that a ring or a polariser that stays on is turned, given time (ours).
const TURNS: f64 = 0.2;
/// Doubt of a difference in level between two frames of one scene, in stops (ours).
const LEVEL_STOPS: f64 = 0.05;
/// How fast daylight may change around sunset, in stops a minute, before and after the evening's own
/// drift was learnt (common practice, no source: from sunset to the end of civil twilight it falls by
/// seven stops in half an hour or more).
const DRIFT_STOPS: [f64; 2] = [0.07, 0.03];
/// A cloud before the sun, or off it: how likely at once and in each minute, and how deep (ours).
const CLOUD_AT_ONCE: f64 = 0.02;
const CLOUD_A_MINUTE: f64 = 0.03;
const CLOUD_AT_MOST: f64 = 0.4;
const CLOUD_STOPS: f64 = 0.7;
/// Doubts of a difference in colour: at once, a minute, and with a cloud, in stops (ours).
const COLOUR_STOPS: f64 = 0.012;
const COLOUR_A_MINUTE: f64 = 0.008;
const COLOUR_OF_CLOUD: f64 = 0.12;
/// Two views of one series, and one scene against the light of the hour, in stops (ours).
const VIEW_STOPS: f64 = 0.8;
const SCENE_STOPS: f64 = 0.9;
/// How the light of the hour changes from scene to scene (ours).
const HOUR_STOPS: f64 = 0.4;
const HOUR_A_MINUTE: f64 = 0.1;
const HOUR_AT_MOST: f64 = 3.0;
/// The brightest light on earth as an exposure value at ISO 100, and how sharp that bound is
/// (common practice, no source: sunlit ground is 15, snow 16 and more).
pub(super) const BRIGHTEST_EV: f64 = 16.0;
const BRIGHTEST_SOFT: f64 = 0.6;
/// Light of the hour, in steps of a quarter stop.
const DARKEST_EV: f64 = -8.0;
const STEP_EV: f64 = 0.25;
const STEPS: usize = 108;
/// Independent places in a ratio map of two frames, clouds and water being what they are (ours).
const PLACES: f64 = 24.0;
const PLACE_STOPS: f64 = 0.1;
/// A pattern may be carried to another lens or mount, so it never counts for less than this against
/// the best; and how well it is known what it does to the middle, as a share (ours).
const PATTERN_FLOOR: f64 = 0.02;
const SHIFT_SHARE: f64 = 0.5;
/// No account is impossible: photographs hold what no model does.
const FLOOR: f64 = 1e-9;
/// All evidence counts a little less than it says, since none of it is quite independent (ours, drawn
/// from simulated evenings).
const TEMPER: f64 = 0.8;

/// Posterior per placed photograph over the states.
pub(super) type Beliefs = Vec<Vec<f64>>;

/// What is judged.
pub(super) struct Evening<'a> {
    pub placed: &'a [Placed],
    pub states: &'a States,
    /// What words and the user say, per placed photograph and state: a factor.
    pub told: Vec<Vec<f64>>,
    /// Grid of a ratio map, orientation and focal length per placed photograph.
    pub views: Vec<((usize, usize), u8, Option<f64>)>,
    /// The first frame of each scene is bare.
    pub metered_first: bool,
}

impl Evening<'_> {
    /// Judges all photographs, first with any drift of light, then with the drift that was learnt.
    pub fn beliefs(&self) -> Beliefs {
        let first = self.pass(&vec![0.0; self.placed.len()], DRIFT_STOPS[0]);
        let drifts = self.drifts(&first);
        self.pass(&drifts, DRIFT_STOPS[1])
    }

    fn pass(&self, drifts: &[f64], doubt: f64) -> Beliefs {
        let n = self.placed.len();
        let own: Vec<Vec<f64>> = (0..n).map(|i| self.own(i)).collect();
        let ties: Vec<Option<Vec<Vec<f64>>>> =
            (0..n).map(|i| self.tie(i, drifts[i], doubt)).collect();
        // From the leaves to the heads.
        let mut up = own;
        let mut sent: Vec<Vec<f64>> = vec![Vec::new(); n];
        for i in (0..n).rev() {
            scaled(&mut up[i]);
            if let (Some(on), Some(tie)) = (self.placed[i].on(), &ties[i]) {
                let mut message: Vec<f64> = tie
                    .iter()
                    .map(|row| row.iter().zip(&up[i]).map(|(t, u)| t * u).sum())
                    .collect();
                scaled(&mut message);
                up[on].iter_mut().zip(&message).for_each(|(u, m)| *u *= m);
                sent[i] = message;
            }
        }
        let heads: Vec<usize> = (0..n).filter(|&i| self.placed[i].on().is_none()).collect();
        let mut beliefs = vec![Vec::new(); n];
        for (&head, light) in heads.iter().zip(self.by_light(&heads, &up)) {
            beliefs[head] = up[head].iter().zip(light).map(|(u, l)| u * l).collect();
        }
        // And back.
        for i in 0..n {
            if let (Some(on), Some(tie)) = (self.placed[i].on(), &ties[i]) {
                let rest: Vec<f64> = beliefs[on]
                    .iter()
                    .zip(&sent[i])
                    .map(|(b, m)| b / m.max(f64::MIN_POSITIVE))
                    .collect();
                let mut down = vec![0.0; up[i].len()];
                for (row, rest) in tie.iter().zip(&rest) {
                    down.iter_mut().zip(row).for_each(|(d, t)| *d += t * rest);
                }
                beliefs[i] = down.iter().zip(&up[i]).map(|(d, u)| d * u).collect();
            }
            normalised(&mut beliefs[i]);
        }
        beliefs
    }

    /// What one photograph says alone: words, the user, and that no scene is brighter than the earth
    /// knows.
    fn own(&self, i: usize) -> Vec<f64> {
        let light = self.placed[i].light;
        let head = self.placed[i].on().is_none();
        let states = self.states.all.iter().zip(&self.told[i]);
        states
            .map(|(state, told)| {
                let over =
                    light.map_or(0.0, |l| (l + state.loss - state.u[0] - BRIGHTEST_EV).max(0.0));
                let dark = (-0.5 * (over / BRIGHTEST_SOFT).powi(2)).exp();
                let first = match (head, self.metered_first) {
                    (false, _) => 1.0,
                    (true, false) => state.prior,
                    (true, true) if state.is_bare() => 1.0,
                    (true, true) => state.prior * 0.005,
                };
                (told * dark * first).max(FLOOR * FLOOR)
            })
            .collect()
    }

    /// Rows by the state of the frame that it hangs on, columns by its own.
    fn tie(&self, i: usize, drift: f64, doubt: f64) -> Option<Vec<Vec<f64>>> {
        let placed = &self.placed[i];
        let all = &self.states.all;
        let on = &self.placed[placed.on()?];
        let patterns = match &placed.tie {
            Tie::Scene { difference, .. } => self.patterns(i, difference),
            _ => Vec::new(),
        };
        let rows = all.iter().map(|before| {
            let stays = stays(before, placed.pause);
            let turned = all.iter().filter(|s| s.filters() == before.filters()).count() as f64;
            let row = all.iter().map(|here| {
                let evidence = match &placed.tie {
                    Tie::Scene { difference, .. } => {
                        let count = self.states.patterns.len();
                        let (pattern, shift) = patterns[before.pattern * count + here.pattern];
                        let change = Change { before, here, shift, drift, doubt };
                        let one = scene(difference, &change, placed.minutes) * pattern;
                        let other = view(on, placed, before, here);
                        difference.same * one + (1.0 - difference.same) * other
                    }
                    _ => view(on, placed, before, here),
                };
                let same = before.used == here.used && (before.loss - here.loss).abs() < 1e-9;
                let turn = !same && before.ring.is_some() && before.filters() == here.filters();
                let change = stays.0 * f64::from(u8::from(same))
                    + if turn { stays.1 / turned } else { 0.0 }
                    + (1.0 - stays.0 - stays.1) * here.prior;
                evidence.max(FLOOR).powf(TEMPER) * change
            });
            row.collect()
        });
        Some(rows.collect())
    }

    /// For each pair of patterns how well the ratio map agrees with it, and by how much it moves the
    /// median.
    fn patterns(&self, i: usize, difference: &Difference) -> Vec<(f64, f64)> {
        let (size, orientation, focal) = self.views[i];
        let patterns = &self.states.patterns;
        let known: Vec<usize> =
            (0..difference.map.len()).filter(|&c| difference.map[c].is_finite()).collect();
        let fit = |step: &[f32]| {
            let left: Vec<f64> = known
                .iter()
                .filter(|&&c| step[c].is_finite())
                .map(|&c| f64::from(difference.map[c] + step[c]))
                .collect();
            let middle = median(left.clone())?;
            // One bright boat must not decide.
            let scatter = left.iter().map(|l| (l - middle).abs().min(2.0).powi(2)).sum::<f64>();
            Some(scatter / left.len() as f64)
        };
        let mut found = Vec::with_capacity(patterns.len().pow(2));
        for (a, one) in patterns.iter().enumerate() {
            for (b, two) in patterns.iter().enumerate() {
                let accounts = if a == b {
                    vec![vec![0.0; difference.map.len()]]
                } else {
                    steps(one, two, size, orientation, focal)
                };
                let mut sum = 0.0;
                for step in &accounts {
                    let scatter = fit(step).unwrap_or(1.0);
                    sum += (-0.5 * PLACES * (scatter + PLACE_STOPS.powi(2)).ln()).exp();
                }
                let middle = accounts.first().and_then(|step| {
                    median(step.iter().filter(|s| s.is_finite()).map(|&s| f64::from(s)))
                });
                // A graduation says in its own loss how much of the middle it covers.
                let shift = if accounts.len() == 1 { middle.unwrap_or(0.0) } else { 0.0 };
                found.push((sum / accounts.len() as f64, shift));
            }
        }
        let best = found.iter().map(|f| f.0).fold(f64::MIN_POSITIVE, f64::max);
        found.iter_mut().for_each(|f| f.0 = (f.0 / best).max(PATTERN_FLOOR));
        found
    }

    /// What the light of the hour says of the heads of scenes.
    fn by_light(&self, heads: &[usize], up: &[Vec<f64>]) -> Vec<Vec<f64>> {
        let ev = |step: usize| DARKEST_EV + STEP_EV * step as f64;
        let all = &self.states.all;
        let of_scene = |head: usize, step: usize, state: &State| {
            self.placed[head].light.map_or(1.0, |light| {
                student(light + state.loss - ev(step), SCENE_STOPS.hypot(state.u[0]))
                    .max(FLOOR)
                    .powf(TEMPER)
            })
        };
        let mut says: Vec<Vec<f64>> = Vec::new();
        for &head in heads {
            let weigh =
                |step| all.iter().zip(&up[head]).map(|(s, u)| u * of_scene(head, step, s)).sum();
            let mut one: Vec<f64> = (0..STEPS).map(weigh).collect();
            scaled(&mut one);
            says.push(one);
        }
        let first: Vec<f64> = (0..STEPS)
            .map(|step| {
                (-0.5 * ((ev(step) - BRIGHTEST_EV + 1.0).max(0.0) / BRIGHTEST_SOFT).powi(2)).exp()
            })
            .collect();
        let walk = |from: &[f64], minutes: f64| {
            let sd = (HOUR_STOPS + HOUR_A_MINUTE * minutes).min(HOUR_AT_MOST);
            let mut to: Vec<f64> = (0..STEPS)
                .map(|t| {
                    (0..STEPS).map(|f| from[f] * student(ev(t) - ev(f), sd)).sum::<f64>() * first[t]
                })
                .collect();
            scaled(&mut to);
            to
        };
        let apart = |k: usize| self.placed[heads[k]].minutes;
        let mut forward = vec![first.clone()];
        for k in 1..heads.len() {
            let known: Vec<f64> =
                forward[k - 1].iter().zip(&says[k - 1]).map(|(f, s)| f * s).collect();
            forward.push(walk(&known, apart(k)));
        }
        let mut backward = vec![vec![1.0; STEPS]; heads.len()];
        for k in (1..heads.len()).rev() {
            let known: Vec<f64> = backward[k].iter().zip(&says[k]).map(|(b, s)| b * s).collect();
            backward[k - 1] = walk(&known, apart(k));
        }
        let light = |k: usize, state: &State| {
            (0..STEPS).map(|s| forward[k][s] * backward[k][s] * of_scene(heads[k], s, state)).sum()
        };
        (0..heads.len())
            .map(|k| {
                let mut by_state: Vec<f64> = all.iter().map(|state| light(k, state)).collect();
                scaled(&mut by_state);
                by_state
            })
            .collect()
    }

    /// The drift of light along each tie of one scene, in stops a minute: the weighted median over
    /// the evening of what settled pairs show.
    fn drifts(&self, beliefs: &Beliefs) -> Vec<f64> {
        const SETTLED: f64 = 0.9;
        const FASTEST: f64 = 0.3;
        const LEAST_MINUTES: f64 = 0.5;
        let best = |i: usize| {
            let found =
                (0..beliefs[i].len()).max_by(|&a, &b| beliefs[i][a].total_cmp(&beliefs[i][b]));
            found.filter(|&s| beliefs[i][s] >= SETTLED).map(|s| self.states.all[s].loss)
        };
        let mut rates: Vec<(f64, f64)> = Vec::new();
        for (i, placed) in self.placed.iter().enumerate() {
            let Tie::Scene { on, difference } = &placed.tie else { continue };
            let (Some(before), Some(here), Some(seen)) = (best(*on), best(i), difference.stops[1])
            else {
                continue;
            };
            if placed.minutes >= LEAST_MINUTES {
                rates.push(((seen + here - before) / placed.minutes, placed.minutes));
            }
        }
        rates.retain(|(rate, _)| rate.abs() <= FASTEST);
        rates.sort_by(|a, b| a.0.total_cmp(&b.0));
        let half = rates.iter().map(|r| r.1).sum::<f64>() / 2.0;
        let mut sum = 0.0;
        let middle = rates.iter().find(|r| {
            sum += r.1;
            sum >= half
        });
        // Two pairs at least: one may be a cloud.
        let rate = if rates.len() > 1 { middle.map_or(0.0, |r| r.0) } else { 0.0 };
        vec![rate; self.placed.len()]
    }
}

struct Change<'a> {
    before: &'a State,
    here: &'a State,
    /// What the patterns do to the median.
    shift: f64,
    /// Stops a minute.
    drift: f64,
    doubt: f64,
}

fn stays(before: &State, pause: f64) -> (f64, f64) {
    let turns = if before.ring.is_some() && pause >= QUICK_SECONDS { TURNS } else { 0.0 };
    if pause < QUICK_SECONDS {
        (STAYS_QUICK, 0.0)
    } else if pause < SOON_SECONDS {
        (STAYS_SOON - turns, turns)
    } else {
        (STAYS, turns)
    }
}

/// How likely the two states make the difference that is seen between two frames of one scene.
fn scene(difference: &Difference, change: &Change<'_>, minutes: f64) -> f64 {
    let Some(seen) = difference.stops[1] else { return 1.0 };
    let (before, here) = (change.before, change.here);
    let same = before.used == here.used && (before.loss - here.loss).abs() < 1e-9;
    let u = |k: usize| if same { 0.0 } else { before.u[k].hypot(here.u[k]) };
    let light = seen + here.loss - before.loss + change.shift - change.drift * minutes;
    let shifted = SHIFT_SHARE * change.shift;
    let level =
        (shifted.powi(2) + LEVEL_STOPS.powi(2) + (change.doubt * minutes).powi(2) + u(0).powi(2))
            .sqrt();
    let colours = [0, 1].map(|c| {
        let channel = difference.stops[2 * c]?;
        Some(channel - seen + here.colour[c] - before.colour[c])
    });
    let colour = |doubt: f64| {
        let sd = (doubt.powi(2) + (COLOUR_A_MINUTE * minutes).powi(2) + u(1).powi(2)).sqrt();
        colours.iter().flatten().map(|c| student(*c, sd)).product::<f64>()
    };
    let cloud = (CLOUD_AT_ONCE + CLOUD_A_MINUTE * minutes).min(CLOUD_AT_MOST);
    let deep = CLOUD_STOPS + u(0);
    let clouded = (-light.abs() / deep).exp() / (2.0 * deep);
    (1.0 - cloud) * student(light, level.hypot(difference.u)) * colour(COLOUR_STOPS)
        + cloud * clouded * colour(COLOUR_OF_CLOUD)
}

/// The same for two views that need not show one scene.
fn view(on: &Placed, placed: &Placed, before: &State, here: &State) -> f64 {
    match (on.light, placed.light) {
        (Some(a), Some(b)) => {
            let change = b + here.loss - a - before.loss;
            student(change, VIEW_STOPS.hypot(before.u[0]).hypot(here.u[0]))
        }
        _ => 1.0,
    }
}

/// Student's density with four degrees of freedom: light has heavy tails.
fn student(value: f64, scale: f64) -> f64 {
    // Gamma(5/2) / (Gamma(2) sqrt(4 pi)) = 3/8.
    0.375 / scale * (1.0 + (value / scale).powi(2) / 4.0).powf(-2.5)
}

fn scaled(values: &mut [f64]) {
    let most = values.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    values.iter_mut().for_each(|v| *v /= most);
}

fn normalised(values: &mut [f64]) {
    let sum: f64 = values.iter().sum();
    if sum > 0.0 {
        values.iter_mut().for_each(|v| *v /= sum);
    }
}
