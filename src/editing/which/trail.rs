//! Accounts of a group as they grow: what was in front of the lens, and the light that this would mean; and
//! the likeliest steps, which are kept.

use super::states::State;
use super::track::Followed;
use std::cmp::Ordering;

/// One account: states of the photographs so far, and the light.
#[derive(Clone, Default)]
pub(super) struct Trail {
    /// Log of how likely it is.
    pub log: f64,
    /// States by place in the group.
    pub states: Vec<u16>,
    /// How often something was put on, taken off or turned; how often nothing was on then, how often
    /// something that is not in the kit.
    pub entered: Entered,
    /// Light as seen (level, cooler, tint) by place.
    pub seen: Vec<[f64; 3]>,
    /// Views followed: level and colours, the state and the place last seen.
    pub tracks: Vec<Track>,
    /// By how much its brightest light is brighter than the earth knows, in stops.
    pub beyond: f64,
}

/// How often a new state was entered.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Entered {
    pub bare: u16,
    pub unknown: u16,
    pub other: u16,
}

impl Entered {
    pub fn with(mut self, state: &State) -> Self {
        let count = match (state.is_bare(), state.unknown) {
            (true, _) => &mut self.bare,
            (_, true) => &mut self.unknown,
            _ => &mut self.other,
        };
        *count += 1;
        self
    }
}

/// The light of one view as an account follows it.
#[derive(Clone, Copy)]
pub(super) struct Track {
    pub of: [Followed; 3],
    /// The light before the last step of a cloud, which comes back when the cloud has passed.
    pub before: Option<[Followed; 3]>,
    pub state: u16,
    /// Minutes at which it was last seen, from the first photograph of all.
    pub minute: f64,
}

/// One step of an account.
pub(super) struct Step {
    pub log: f64,
    /// Place of the account that it goes on from.
    pub from: usize,
    pub state: u16,
    pub track: Track,
    pub seen: [f64; 3],
    pub beyond: f64,
}

/// Accounts that are kept from frame to frame, and how unlikely they may be against the best.
pub(super) const KEPT: usize = 250;
pub(super) const WORTH_KEEPING: f64 = 16.0;
/// Steps are held until there are so many times more than can be kept.
const ROOM: usize = 2;

/// Steps that may be kept.
pub(super) struct Kept {
    steps: Vec<Step>,
    best: f64,
    /// A step that is less likely than this is not kept, whatever follows.
    pub least: f64,
}

impl Kept {
    pub fn new() -> Self {
        Self { steps: Vec::new(), best: f64::NEG_INFINITY, least: f64::NEG_INFINITY }
    }

    pub fn take(&mut self, step: Option<Step>) {
        let Some(step) = step.filter(|s| s.log >= self.least) else { return };
        self.best = self.best.max(step.log);
        self.least = self.least.max(self.best - WORTH_KEEPING);
        self.steps.push(step);
        if self.steps.len() == ROOM * KEPT {
            self.steps.select_nth_unstable_by(KEPT - 1, likelier);
            self.steps.truncate(KEPT);
            self.least = self.least.max(self.steps[KEPT - 1].log);
        }
    }

    /// Those that are kept, the likeliest first.
    pub fn likeliest(mut self) -> Vec<Step> {
        let least = self.best - WORTH_KEEPING;
        self.steps.retain(|s| s.log >= least);
        self.steps.sort_by(likelier);
        self.steps.truncate(KEPT);
        self.steps
    }
}

/// Of two that are as likely the one that the likelier account leads to, then the earlier state.
pub(super) fn likelier(a: &Step, b: &Step) -> Ordering {
    b.log.total_cmp(&a.log).then(a.from.cmp(&b.from)).then(a.state.cmp(&b.state))
}
