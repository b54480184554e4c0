//! Accounts that were made before: a word on one photograph changes those of its own group alone.

use super::Told;
use super::states::Guest;
use super::trail::{Entered, Trail};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// All that the accounts of a group follow from, beside what is always the same.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) struct Key {
    /// Places among the groups and the habits.
    pub group: usize,
    pub habits: usize,
    /// What a filter that is not in the kit takes, as bits of the numbers.
    pub guest: Option<(u64, Option<[u64; 2]>)>,
    /// What is said of the group's photographs.
    pub told: Vec<Told>,
    pub metered_first: bool,
    /// The brightest light that there may be, as bits of the number.
    pub brightest: u64,
}

/// As much of an account as beliefs need.
pub(super) struct Way {
    pub log: f64,
    pub states: Vec<u16>,
    pub entered: Entered,
}

/// What is known of a group.
pub(super) struct Accounts {
    pub accounts: Vec<Way>,
    /// Filters that are not in the kit and may show in it; sought under the likeliest habits alone.
    pub guests: Vec<Guest>,
}

type Shelf = HashMap<Key, Arc<Accounts>>;

/// What is known of all groups, as the last judgement and the one before it asked for it, so that a word
/// can be taken back as quickly.
#[derive(Default)]
pub(super) struct Memo {
    shelves: Mutex<[Shelf; 2]>,
}

impl From<Trail> for Way {
    fn from(trail: Trail) -> Self {
        Self { log: trail.log, states: trail.states, entered: trail.entered }
    }
}

impl Memo {
    /// A new judgement begins: what neither it nor the last one asks for is forgotten.
    pub fn begin(&self) {
        let mut shelves = self.shelves();
        shelves.swap(0, 1);
        shelves[0].clear();
    }

    /// What is known under a key, made where it is not known yet.
    pub fn known(&self, key: Key, make: impl FnOnce() -> Accounts) -> Arc<Accounts> {
        let kept = {
            let shelves = self.shelves();
            shelves.iter().find_map(|shelf| shelf.get(&key).cloned())
        };
        let known = kept.unwrap_or_else(|| Arc::new(make()));
        self.shelves()[0].insert(key, Arc::clone(&known));
        known
    }

    fn shelves(&self) -> MutexGuard<'_, [Shelf; 2]> {
        // What was kept when somebody else failed is whole.
        self.shelves.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
