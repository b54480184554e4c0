//! One posterior for every photograph over the states of the kit: the accounts of every group, weighed
//! by the light of the hour, averaged over what the evening may be like.

use super::Told;
use super::ground::{Ground, Members};
use super::group::{Evidence, Group, Habits};
use super::guest::{seen_in, worth};
use super::hour::{Hour, Meant, SCENE_STOPS, Tables, normalised};
use super::memo::{Accounts, Key, Memo, Way};
use super::states::{Guest, State, States};
use super::trail::Entered;
use rayon::prelude::*;
use std::sync::Arc;

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
/// Clouds before the sun at once and in each minute, and how likely such an evening is (ours); by the
/// weather, as [`SCENE_STOPS`] are: the calm one first.
const CLOUDS: [([f64; 2], f64); 2] = [([0.003, 0.006], 0.55), ([0.02, 0.08], 0.45)];
const CALM: usize = 0;

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
/// What is less likely than this against the best is not added up: all of it together is less.
const NEGLIGIBLE: f64 = 1e-12;

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

    fn of(self, states: &States) -> Beside {
        let share = |of: &dyn Fn(&State) -> bool| -> f64 {
            states.all.iter().filter(|s| of(s)).map(|s| s.prior).sum()
        };
        let (bare, unknown) = (share(&State::is_bare), share(&|s| s.unknown));
        let other = (1.0 - bare - unknown).max(f64::MIN_POSITIVE);
        Beside {
            bare: (self.bare / bare).ln(),
            unknown: (self.unknown / unknown).ln(),
            other: ((1.0 - self.bare - self.unknown) / other).ln(),
        }
    }
}

/// Logs of how much likelier it is to enter a state with some shares than with those of the states.
struct Beside {
    bare: f64,
    unknown: f64,
    other: f64,
}

impl Beside {
    fn log(&self, entered: Entered) -> f64 {
        f64::from(entered.bare) * self.bare
            + f64::from(entered.unknown) * self.unknown
            + f64::from(entered.other) * self.other
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
    pub ground: &'a Ground,
    pub memo: &'a Memo,
    /// What the user says of each placed photograph, and what that makes of each state: factors.
    pub words: &'a [Told],
    pub told: Vec<Vec<f64>>,
    /// The first frame of each scene is bare.
    pub metered_first: bool,
    /// The brightest light that there may be, as an exposure value.
    pub brightest: f64,
}

/// Habits, how likely they are, and their place among all.
#[derive(Clone, Copy)]
struct Living {
    habits: Habits,
    /// Place among [`CLOUDS`] and [`SCENE_STOPS`].
    weather: usize,
    prior: f64,
    place: usize,
    /// The likeliest of all, by which guests are sought.
    usual: bool,
}

impl Living {
    fn all() -> Vec<Self> {
        let evening = |(drift, own): (f64, f64), weather: usize| {
            let (clouds, likely) = CLOUDS[weather];
            Self {
                habits: Habits { drift, clouds },
                weather,
                prior: own * likely,
                place: 0,
                usual: false,
            }
        };
        let mut all: Vec<Self> = DRIFTS
            .iter()
            .flat_map(|&drift| (0..CLOUDS.len()).map(move |weather| evening(drift, weather)))
            .collect();
        all.iter_mut().enumerate().for_each(|(place, own)| own.place = place);
        if let Some(usual) = all.iter_mut().max_by(|a, b| a.prior.total_cmp(&b.prior)) {
            usual.usual = true;
        }
        all
    }
}

impl Evening<'_> {
    /// Judges all photographs under everything that the evening may be like.
    pub fn beliefs(&self) -> Judgement {
        let living = Living::all();
        let all = |guest: Option<&Guest>| -> Vec<Weighed> {
            let (states, before) = match guest {
                Some(guest) => self.ground.states.with_guest(guest),
                None => (self.ground.states.clone(), 1.0),
            };
            let share = |usage: Usage| match guest {
                Some(_) if usage.has_guests() => ONE_GUEST * before,
                Some(_) => 0.0,
                None => 1.0,
            };
            let known: Vec<Arc<[Arc<Accounts>]>> =
                living.par_iter().map(|own| self.of_all(&states, guest, own)).collect();
            let tables: Vec<Tables> = SCENE_STOPS
                .par_iter()
                .map(|&scene| Tables::new(&self.meant(&states, &known), scene))
                .collect();
            let judged = living
                .par_iter()
                .zip(&known)
                .map(|(own, known)| self.judged(&states, known, &tables[own.weather], own, &share));
            judged.collect::<Vec<_>>().into_iter().flatten().collect()
        };
        // A guest that is seen once is any filter; what follows only adds those that come again.
        let mut judged = all(None);
        for guest in self.guests(&living) {
            judged.extend(all(Some(&guest)));
        }
        let (wary, _) = self.averaged(judged.iter().filter(|j| j.guests));
        let (usual, calm) = self.averaged(judged.iter());
        Judgement { usual, wary, calm }
    }

    /// Filters that are not in the kit, as the likeliest habits show them.
    fn guests(&self, living: &[Living]) -> Vec<Guest> {
        let Some(usual) = living.iter().find(|l| l.usual) else { return Vec::new() };
        let groups = 0..self.ground.groups.len();
        let known = groups.map(|group| self.known(&self.ground.states, None, usual, group));
        worth(known.flat_map(|known| known.guests.clone()).collect())
    }

    /// What each usage makes of the evening with these habits; `share` of a usage is how likely it is
    /// beside what the usages say.
    fn judged(
        &self,
        states: &States,
        known: &Arc<[Arc<Accounts>]>,
        tables: &Tables,
        own: &Living,
        share: &(dyn Fn(Usage) -> f64 + Sync),
    ) -> Vec<Weighed> {
        let hour = Hour::new(tables, &self.between(), self.brightest, own.habits.drift);
        let calm = own.weather == CALM;
        let of = |&(usage, usual): &(Usage, f64)| {
            let (shares, log) = weighed(known, &hour, states, usage);
            Weighed {
                known: Arc::clone(known),
                shares,
                log: log + (own.prior * usual * share(usage)).ln(),
                calm,
                guests: usage.has_guests(),
            }
        };
        USAGES.iter().filter(|(usage, _)| share(*usage) > 0.0).map(of).collect()
    }

    /// Accounts of all groups.
    fn of_all(&self, states: &States, guest: Option<&Guest>, own: &Living) -> Arc<[Arc<Accounts>]> {
        let groups = 0..self.ground.groups.len();
        groups.map(|group| self.known(states, guest, own, group)).collect()
    }

    /// Accounts of one group.
    fn known(
        &self,
        states: &States,
        guest: Option<&Guest>,
        own: &Living,
        group: usize,
    ) -> Arc<Accounts> {
        let members = &self.ground.groups[group];
        let key = Key {
            group,
            habits: own.place,
            guest: guest.map(Guest::bits),
            told: members.all.iter().map(|&i| self.words[i].clone()).collect(),
            metered_first: self.metered_first,
            brightest: self.brightest.to_bits(),
        };
        self.memo.known(key, || {
            let group = self.group(states, own.habits, members);
            let trails = group.accounts();
            let guests = if own.usual && guest.is_none() {
                let usage = USAGES[GUEST_USAGE].0;
                let beside = usage.of(states);
                let logs = trails.iter().map(|a| a.log + beside.log(a.entered));
                let shares = shares(&logs.collect::<Vec<f64>>()).0;
                let whole: f64 = shares.iter().sum();
                let weighed: Vec<_> =
                    trails.iter().zip(&shares).map(|(a, share)| (a, share / whole)).collect();
                seen_in(states, &weighed, &members.view, &group.minute)
            } else {
                Vec::new()
            };
            Accounts { accounts: trails.into_iter().map(Way::from).collect(), guests }
        })
    }

    fn group<'b>(&'b self, states: &'b States, habits: Habits, members: &Members) -> Group<'b> {
        let ground = self.ground;
        let evidence = |&i: &usize| Evidence {
            placed: &ground.placed[i],
            words: &ground.words[i],
            told: &self.told[i],
            repeats: ground.repeats[i],
            drawn: &ground.drawn[ground.of[i]],
            fits: &ground.fits[i],
        };
        Group {
            states,
            changes: &ground.changes,
            habits,
            metered_first: self.metered_first,
            brightest: self.brightest,
            frames: members.all.iter().map(evidence).collect(),
            on: members.on.clone(),
            view: members.view.clone(),
            minute: members.all.iter().map(|&i| ground.minutes[i]).collect(),
        }
    }

    /// What may be in front of the lens at the first photograph of each group, under any habits.
    fn meant(&self, states: &States, known: &[Arc<[Arc<Accounts>]>]) -> Vec<Meant> {
        let of = |(k, members): (usize, &Members)| {
            let here = &self.ground.placed[members.all[0]];
            let light = |s: &State| here.light.map(|l| (l + s.loss, s.u[0].hypot(here.bound)));
            let mut asked = vec![false; states.all.len()];
            let accounts = known.iter().flat_map(|known| &known[k].accounts);
            accounts.for_each(|a| asked[usize::from(a.states[0])] = true);
            Meant { lights: states.all.iter().map(light).collect(), asked }
        };
        self.ground.groups.iter().enumerate().map(of).collect()
    }

    /// Minutes to the first photograph of each group from that of the group before.
    fn between(&self) -> Vec<f64> {
        let minutes = &self.ground.minutes;
        let heads: Vec<f64> = self.ground.groups.iter().map(|g| minutes[g.all[0]]).collect();
        let since = |at: usize| at.checked_sub(1).map_or(0.0, |b| (heads[at] - heads[b]).max(0.0));
        (0..heads.len()).map(since).collect()
    }

    fn averaged<'b>(&self, judged: impl Iterator<Item = &'b Weighed> + Clone) -> (Beliefs, f64) {
        let best = judged.clone().map(|j| j.log).fold(f64::NEG_INFINITY, f64::max);
        let (mut calm, mut whole) = (0.0, 0.0);
        let mut beliefs = vec![vec![0.0; self.ground.states.all.len()]; self.ground.placed.len()];
        for one in judged {
            let weight = (one.log - best).exp();
            whole += weight;
            calm += if one.calm { weight } else { 0.0 };
            if weight < NEGLIGIBLE {
                continue;
            }
            for (k, members) in self.ground.groups.iter().enumerate() {
                for (account, share) in one.known[k].accounts.iter().zip(&one.shares[k]) {
                    let weight = weight * share;
                    for (&i, &state) in members.all.iter().zip(&account.states) {
                        beliefs[i][usize::from(state)] += weight;
                    }
                }
            }
        }
        beliefs.iter_mut().for_each(|b| normalised(b));
        (beliefs, calm / whole)
    }
}

/// Shares of the accounts of every group, weighed by the light of the hour, and the log of how likely all
/// are together.
fn weighed(
    known: &[Arc<Accounts>],
    hour: &Hour<'_>,
    states: &States,
    usage: Usage,
) -> (Vec<Vec<f64>>, f64) {
    let beside = usage.of(states);
    let mut log = 0.0;
    let mut weights: Vec<Vec<f64>> = Vec::new();
    let mut own: Vec<Vec<f64>> = Vec::new();
    for known in known {
        let logs: Vec<f64> = known.accounts.iter().map(|a| a.log + beside.log(a.entered)).collect();
        let (shares, best) = shares(&logs);
        let mut by_state = vec![0.0; states.all.len()];
        let heads = known.accounts.iter().map(|a| usize::from(a.states[0]));
        heads.zip(&shares).for_each(|(head, share)| by_state[head] += share);
        weights.push(by_state);
        own.push(shares);
        log += best;
    }
    let (hour, of_hour) = hour.says(&weights);
    for ((known, own), hour) in known.iter().zip(&mut own).zip(&hour) {
        let heads = known.accounts.iter().map(|a| usize::from(a.states[0]));
        own.iter_mut().zip(heads).for_each(|(share, head)| *share *= hour[head]);
        normalised(own);
    }
    (own, log + of_hour)
}

/// How likely each is against the best, and the log of that.
fn shares(logs: &[f64]) -> (Vec<f64>, f64) {
    let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    (logs.iter().map(|log| (log - best).exp()).collect(), best)
}

/// What is believed under one account of the evening, and how likely that is.
struct Weighed {
    known: Arc<[Arc<Accounts>]>,
    /// By group and account.
    shares: Vec<Vec<f64>>,
    log: f64,
    calm: bool,
    guests: bool,
}
