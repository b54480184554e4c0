//! One posterior for every photograph over the states of the kit: the accounts of every group, weighed
//! by the light of the hour, averaged over what the evening may be like.

use super::group::{Entered, Evidence, Group, Habits, Trail};
use super::guest::{seen_in, worth};
use super::hour::{SCENE_STOPS, Says, by_hour};
use super::links::{Placed, Tie};
use super::patterns::{Drawn, Fit, Outlook, fits};
use super::states::{Guest, State, States};
use rayon::prelude::*;

/// Stops a minute by which light changes, and how likely that is (ours; from sunset to the end of civil
/// twilight it falls by seven stops in half an hour or more: common practice, no source).
const DRIFTS: [(f64, f64); 7] = [
    (0.0, 0.34),
    (-0.02, 0.16),
    (-0.045, 0.14),
    (-0.08, 0.12),
    (-0.14, 0.06),
    (0.02, 0.1),
    (0.05, 0.08),
];
/// Clouds before the sun at once and in each minute, and how likely such an evening is (ours).
const CLOUDS: [([f64; 2], f64); 2] = [([0.003, 0.006], 0.55), ([0.02, 0.08], 0.45)];

/// How often this photographer meters without a filter or photographs without, and how often through
/// one that is not in the kit, as shares of all that is put on; and how likely such a one is (ours).
const USAGES: [(Usage, f64); 6] = [
    (Usage { bare: 0.08, unknown: 0.005 }, 0.26),
    (Usage { bare: 0.3, unknown: 0.005 }, 0.26),
    (Usage { bare: 0.6, unknown: 0.005 }, 0.2),
    (Usage { bare: 0.08, unknown: 0.25 }, 0.1),
    (Usage { bare: 0.3, unknown: 0.25 }, 0.1),
    (Usage { bare: 0.6, unknown: 0.2 }, 0.08),
];

/// Of them one with a filter that is not in the kit, by which such a filter is sought.
const GUEST_USAGE: usize = 4;
/// How often such a filter is the same all evening (ours: few people bring two).
const ONE_GUEST: f64 = 0.8;
/// From this share on such filters are at home.
const GUESTS: f64 = 0.1;

/// Shares of all that is put on.
#[derive(Clone, Copy, Debug)]
struct Usage {
    bare: f64,
    unknown: f64,
}

impl Usage {
    fn has_guests(self) -> bool {
        self.unknown >= GUESTS
    }

    /// Log of how much likelier an account is with these shares than with those of the states.
    fn beside(self, states: &States, entered: Entered) -> f64 {
        let share = |of: &dyn Fn(&State) -> bool| -> f64 {
            states.all.iter().filter(|s| of(s)).map(|s| s.prior).sum()
        };
        let (bare, unknown) = (share(&State::is_bare), share(&|s| s.unknown));
        let times = |count: u16, own: f64, usual: f64| f64::from(count) * (own / usual).ln();
        times(entered.bare, self.bare, bare)
            + times(entered.unknown, self.unknown, unknown)
            + times(
                entered.other,
                1.0 - self.bare - self.unknown,
                (1.0 - bare - unknown).max(f64::MIN_POSITIVE),
            )
    }
}

/// Posterior per placed photograph over the states.
pub(super) type Beliefs = Vec<Vec<f64>>;

/// What an evening is judged to be.
pub(super) struct Judgement {
    /// What is believed of each photograph.
    pub usual: Beliefs,
    /// The same for somebody with whom filters that are not in the kit are at home.
    pub wary: Beliefs,
    /// How likely the light was calm.
    pub calm: f64,
}

/// What is judged.
pub(super) struct Evening<'a> {
    pub placed: &'a [Placed],
    pub states: &'a States,
    /// What keywords and the user say, per placed photograph and state: factors.
    pub words: Vec<Vec<f64>>,
    pub told: Vec<Vec<f64>>,
    /// Whether a photograph's keywords are those of the one before.
    pub repeats: Vec<bool>,
    pub views: Vec<Outlook>,
    /// The first frame of each scene is bare.
    pub metered_first: bool,
    /// The brightest light that there may be, as an exposure value.
    pub brightest: f64,
}

/// What is the same under all accounts of an evening.
struct Common {
    /// The patterns as each way of looking sees them, and which way each photograph looks.
    drawn: Vec<Drawn>,
    of: Vec<usize>,
    fits: Vec<Vec<Fit>>,
    groups: Vec<Members>,
    /// Minutes of each photograph from the first.
    minutes: Vec<f64>,
}

/// Photographs that hang together.
#[derive(Default)]
struct Members {
    all: Vec<usize>,
    on: Vec<Option<usize>>,
    view: Vec<usize>,
}

impl Evening<'_> {
    /// Judges all photographs under everything that the evening may be like.
    pub fn beliefs(&self) -> Judgement {
        let common = self.common();
        let habits: Vec<(Habits, f64)> = DRIFTS
            .iter()
            .flat_map(|&(drift, a)| {
                CLOUDS
                    .iter()
                    .zip(SCENE_STOPS)
                    .map(move |(&(clouds, b), scene)| (Habits { drift, clouds, scene }, a * b))
            })
            .collect();
        let all = |states: &States, share: &(dyn Fn(Usage) -> f64 + Sync)| -> Vec<Weighed> {
            let judged = habits
                .par_iter()
                .map(|(habits, prior)| self.judged(&common, states, *habits, *prior, share));
            judged.collect::<Vec<_>>().into_iter().flatten().collect()
        };
        let guests = self.guests(&common, &habits);
        // A guest that is seen once is any filter; what follows only adds those that come again.
        let mut judged = all(self.states, &|_| 1.0);
        for guest in guests {
            let (states, before) = self.states.with_guest(&guest);
            judged.extend(all(&states, &|usage| {
                if usage.has_guests() { ONE_GUEST * before } else { 0.0 }
            }));
        }
        let guests: Vec<&Weighed> = judged.iter().filter(|j| j.guests).collect();
        let (wary, _) = averaged(&guests);
        let (usual, calm) = averaged(&judged.iter().collect::<Vec<_>>());
        Judgement { usual, wary, calm }
    }

    /// Filters that are not in the kit, as the likeliest habits show them.
    fn guests(&self, common: &Common, habits: &[(Habits, f64)]) -> Vec<Guest> {
        let usual = habits.iter().max_by(|a, b| a.1.total_cmp(&b.1));
        let Some((habits, _)) = usual else { return Vec::new() };
        let mut found = Vec::new();
        for members in &common.groups {
            let accounts = self.accounts(common, self.states, *habits, members);
            let usage = USAGES[GUEST_USAGE].0;
            let logs: Vec<f64> =
                accounts.iter().map(|a| a.log + usage.beside(self.states, a.entered)).collect();
            let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let whole: f64 = logs.iter().map(|log| (log - best).exp()).sum();
            let weighed: Vec<(&Trail, f64)> = accounts
                .iter()
                .zip(&logs)
                .map(|(a, log)| (a, (log - best).exp() / whole))
                .collect();
            let minute: Vec<f64> = members.all.iter().map(|&i| common.minutes[i]).collect();
            found.extend(seen_in(self.states, &weighed, &members.view, &minute));
        }
        worth(found)
    }

    fn common(&self) -> Common {
        let (drawn, of) = self.drawn();
        let fits = (0..self.placed.len())
            .into_par_iter()
            .map(|i| match &self.placed[i].tie {
                Tie::Scene { difference, .. } => fits(difference, &drawn[of[i]]),
                _ => Vec::new(),
            })
            .collect();
        Common { drawn, of, fits, groups: self.groups(), minutes: self.minutes() }
    }

    /// What each usage makes of the evening with these habits; `share` of a usage is how likely it is
    /// beside what the usages say.
    fn judged(
        &self,
        common: &Common,
        states: &States,
        habits: Habits,
        prior: f64,
        share: &dyn Fn(Usage) -> f64,
    ) -> Vec<Weighed> {
        let accounts: Vec<Vec<Trail>> =
            common.groups.iter().map(|m| self.accounts(common, states, habits, m)).collect();
        let calm = habits.clouds == CLOUDS[0].0;
        let of = |&(usage, own): &(Usage, f64)| {
            let (beliefs, log) = self.weighed(common, &accounts, states, habits, usage);
            Weighed {
                beliefs,
                log: log + (prior * own * share(usage)).ln(),
                calm,
                guests: usage.has_guests(),
            }
        };
        USAGES.iter().filter(|(usage, _)| share(*usage) > 0.0).map(of).collect()
    }

    fn accounts(
        &self,
        common: &Common,
        states: &States,
        habits: Habits,
        members: &Members,
    ) -> Vec<Trail> {
        let evidence = |&i: &usize| Evidence {
            placed: &self.placed[i],
            words: &self.words[i],
            told: &self.told[i],
            repeats: self.repeats[i],
            drawn: &common.drawn[common.of[i]],
            fits: &common.fits[i],
        };
        let group = Group {
            states,
            habits,
            metered_first: self.metered_first,
            brightest: self.brightest,
            frames: members.all.iter().map(evidence).collect(),
            on: members.on.clone(),
            view: members.view.clone(),
            minute: members.all.iter().map(|&i| common.minutes[i]).collect(),
        };
        group.accounts()
    }

    /// The patterns as each way of looking sees them, and which way each photograph looks.
    fn drawn(&self) -> (Vec<Drawn>, Vec<usize>) {
        let mut drawn: Vec<Drawn> = Vec::new();
        let mut of = Vec::new();
        for view in &self.views {
            let known = drawn.iter().position(|d| d.view == *view);
            of.push(known.unwrap_or_else(|| {
                drawn.push(Drawn::of(&self.states.patterns, *view));
                drawn.len() - 1
            }));
        }
        (drawn, of)
    }

    fn groups(&self) -> Vec<Members> {
        let mut groups: Vec<Members> = Vec::new();
        // Of each photograph: its group, place there, and view.
        let mut lies: Vec<(usize, usize, usize)> = Vec::new();
        for (i, placed) in self.placed.iter().enumerate() {
            let (group, on, view) = match &placed.tie {
                Tie::Scene { on, .. } => (lies[*on].0, Some(lies[*on].1), Some(lies[*on].2)),
                Tie::Series { on } => (lies[*on].0, None, None),
                Tie::Head => (groups.len(), None, None),
            };
            if group == groups.len() {
                groups.push(Members::default());
            }
            let members = &mut groups[group];
            let view =
                view.unwrap_or_else(|| members.view.iter().max().map_or(0, |&last| last + 1));
            lies.push((group, members.all.len(), view));
            members.all.push(i);
            members.on.push(on);
            members.view.push(view);
        }
        groups
    }

    /// Minutes of each photograph from the first.
    fn minutes(&self) -> Vec<f64> {
        let mut minutes: Vec<f64> = Vec::new();
        for placed in self.placed {
            let from = placed.on().map_or_else(|| minutes.last().copied(), |on| Some(minutes[on]));
            minutes.push(from.unwrap_or(0.0) + placed.minutes);
        }
        minutes
    }

    /// Accounts of all groups, weighed by the light of the hour.
    fn weighed(
        &self,
        common: &Common,
        accounts: &[Vec<Trail>],
        states: &States,
        habits: Habits,
        usage: Usage,
    ) -> (Beliefs, f64) {
        let (groups, minutes) = (&common.groups, &common.minutes);
        let count = states.all.len();
        let mut log = 0.0;
        let mut says = Vec::new();
        let mut weights: Vec<Vec<f64>> = Vec::new();
        let mut earlier: Option<usize> = None;
        for (members, accounts) in groups.iter().zip(accounts) {
            let head = members.all[0];
            let logs: Vec<f64> =
                accounts.iter().map(|a| a.log + usage.beside(states, a.entered)).collect();
            let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let own: Vec<f64> = logs.iter().map(|log| (log - best).exp()).collect();
            let mut by_state = vec![0.0; count];
            accounts.iter().zip(&own).for_each(|(a, w)| by_state[usize::from(a.states[0])] += w);
            let light = |s: usize| {
                let state = &states.all[s];
                let here = &self.placed[head];
                here.light.map(|l| (l + state.loss, state.u[0].hypot(here.bound)))
            };
            let one = (0..count).map(|s| Says { light: light(s), weight: by_state[s] }).collect();
            says.push((earlier.map_or(0.0, |e| (minutes[head] - minutes[e]).max(0.0)), one));
            earlier = Some(head);
            weights.push(own);
            log += best;
        }
        let (hour, of_hour) = by_hour(&says, habits.scene, self.brightest, habits.drift);
        let mut beliefs = vec![vec![0.0; count]; self.placed.len()];
        for (k, members) in groups.iter().enumerate() {
            for (account, own) in accounts[k].iter().zip(&weights[k]) {
                let weight = own * hour[k][usize::from(account.states[0])];
                for (&i, &state) in members.all.iter().zip(&account.states) {
                    beliefs[i][usize::from(state)] += weight;
                }
            }
            members.all.iter().for_each(|&i| normalised(&mut beliefs[i]));
        }
        (beliefs, log + of_hour)
    }
}

/// What is believed under one account of the evening, and how likely that is.
struct Weighed {
    beliefs: Beliefs,
    log: f64,
    calm: bool,
    guests: bool,
}

fn averaged(judged: &[&Weighed]) -> (Beliefs, f64) {
    let best = judged.iter().map(|j| j.log).fold(f64::NEG_INFINITY, f64::max);
    let (mut calm, mut whole) = (0.0, 0.0);
    let mut beliefs: Beliefs = Vec::new();
    for one in judged {
        let weight = (one.log - best).exp();
        whole += weight;
        calm += if one.calm { weight } else { 0.0 };
        if beliefs.is_empty() {
            beliefs = one.beliefs.iter().map(|b| vec![0.0; b.len()]).collect();
        }
        for (sum, own) in beliefs.iter_mut().zip(&one.beliefs) {
            sum.iter_mut().zip(own).for_each(|(s, o)| *s += weight * o);
        }
    }
    beliefs.iter_mut().for_each(|b| normalised(b));
    (beliefs, calm / whole)
}

fn normalised(values: &mut [f64]) {
    let sum: f64 = values.iter().sum();
    if sum > 0.0 {
        values.iter_mut().for_each(|v| *v /= sum);
    }
}
