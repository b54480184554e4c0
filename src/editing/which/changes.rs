//! How likely a filter is after another, for every pair of states.

use super::links::{QUICK_SECONDS, SOON_SECONDS};
use super::states::States;

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
/// How likely a filter is at the head of a scene whose first frame is said to be bare (ours).
const NOT_METERED: f64 = 0.005;
/// Pauses that are told apart: whether there was time to turn a ring, and how often a filter stays.
const PAUSES: [(bool, f64); 4] =
    [(false, STAYS_QUICK), (true, STAYS_SOON), (true, STAYS_A_WHILE), (true, STAYS)];

/// Logs of how likely each state is after each, by pause; a filter that is seen elsewhere changes
/// nothing of it.
pub(super) struct Changes {
    count: usize,
    /// By pause, state before and state after.
    logs: [Vec<f64>; PAUSES.len()],
    /// By pause and state before: the states after it, the likeliest first.
    order: [Vec<u16>; PAUSES.len()],
}

impl Changes {
    pub fn of(states: &States) -> Self {
        let count = states.all.len();
        let mut logs = PAUSES.map(|_| Vec::with_capacity(count * count));
        for (before, state) in states.all.iter().enumerate() {
            let one_stays = states.where_one_stays(state);
            for (logs, (time, stays)) in logs.iter_mut().zip(PAUSES) {
                let pause = Pause { time, stays, one_stays: &one_stays };
                logs.extend((0..count).map(|here| logged(change(states, &pause, before, here))));
            }
        }
        let order = std::array::from_fn(|pause| {
            let likeliest = |row: &[f64]| {
                let mut order: Vec<u16> = (0..count as u16).collect();
                let log = |state: u16| row[usize::from(state)];
                order.sort_by(|&a, &b| log(b).total_cmp(&log(a)));
                order
            };
            logs[pause].chunks(count.max(1)).flat_map(likeliest).collect()
        });
        Self { count, logs, order }
    }

    /// After so many seconds and this state: the log of how likely each is, and all of them, the
    /// likeliest first.
    pub fn after(&self, seconds: f64, before: u16) -> (&[f64], &[u16]) {
        let limits = [QUICK_SECONDS, SOON_SECONDS, WHILE_SECONDS];
        let pause = limits.iter().filter(|&&limit| seconds >= limit).count();
        let row = usize::from(before) * self.count..(usize::from(before) + 1) * self.count;
        (&self.logs[pause][row.clone()], &self.order[pause][row])
    }
}

/// Log of how likely a state is at the head of a scene.
pub(super) fn first(states: &States, metered_first: bool, state: usize) -> f64 {
    let own = &states.all[state];
    logged(match (metered_first, own.is_bare()) {
        (true, true) => 1.0,
        (true, false) => own.prior * NOT_METERED,
        (false, _) => own.prior,
    })
}

/// Between a state and the next.
struct Pause<'a> {
    /// There was time to turn a ring.
    time: bool,
    /// Probability that the same filter stays on.
    stays: f64,
    /// How likely each state is where one filter stays on.
    one_stays: &'a [f64],
}

fn change(states: &States, pause: &Pause<'_>, before: usize, here: usize) -> f64 {
    let all = &states.all;
    let &Pause { time, stays, one_stays } = pause;
    let ring = all[before].ring.is_some() && time;
    let turns = if ring { TURNS * stays } else { 0.0 };
    let kin = states.marks(before) as f64;
    let turned = before != here && ring && states.same_filters(before, here);
    let stays = if kin > 1.0 { stays - turns } else { stays };
    f64::from(u8::from(before == here)) * stays
        + if turned { turns / (kin - 1.0) } else { 0.0 }
        + (1.0 - stays - if kin > 1.0 { turns } else { 0.0 })
            * ((1.0 - ONE_STAYS) * all[here].prior + ONE_STAYS * one_stays[here])
}

fn logged(probability: f64) -> f64 {
    probability.max(f64::MIN_POSITIVE).ln()
}
