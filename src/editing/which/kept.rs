//! The likeliest steps of a group's accounts, and how likely a step must be to be among them.

use super::trail::Step;
use std::cmp::Ordering;

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
