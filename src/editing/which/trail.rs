//! Accounts of a group as they grow: what was in front of the lens, and the light that this would mean.

use super::states::State;
use super::track::Followed;

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
