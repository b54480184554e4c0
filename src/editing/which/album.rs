//! Photographs that are judged again and again: whatever does not depend on a person's word is reckoned
//! once.

use super::belief::Beliefs;
use super::companion::Apart;
use super::ground::Ground;
use super::memo::Memo;
use super::{Finding, Judged, Picture, Told};
use crate::profile::Profile;
use std::sync::{Arc, Mutex, PoisonError};

/// Photographs and the filters that they may have been made through.
pub struct Album {
    pub(super) kit: Vec<Profile>,
    pub(super) apart: Apart,
    pub(super) ground: Ground,
    pub(super) memo: Memo,
    /// What is believed where nobody says anything, by whether the first frames are bare.
    unprompted: [Mutex<Option<Arc<Beliefs>>>; 2],
}

impl std::fmt::Debug for Album {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mut album = f.debug_struct("Album");
        album.field("judged", &self.apart.pictures.len()).finish_non_exhaustive()
    }
}

impl Album {
    /// Pictures beside raw frames go with these.
    #[must_use]
    pub fn new(pictures: Vec<Picture>, kit: Vec<Profile>) -> Self {
        let apart = Apart::of(pictures, &kit);
        let ground = Ground::new(&apart.pictures, &kit);
        Self { kit, apart, ground, memo: Memo::default(), unprompted: Default::default() }
    }

    /// Judges all photographs together. `told` is what the user says of each; `metered_first` says that
    /// the first frame of every scene is bare.
    #[must_use]
    pub fn find(&self, told: &[Told], metered_first: bool) -> Vec<Finding> {
        let of_judged = self.apart.told(told);
        let judged = Judged::new(self, &of_judged, metered_first);
        let placed = &self.ground.placed;
        let mut found: Vec<(usize, Finding)> =
            (0..placed.len()).map(|at| (placed[at].picture, judged.finding(at))).collect();
        found.sort_by_key(|(picture, _)| *picture);
        let found = found.into_iter().map(|(_, finding)| finding).collect();
        self.apart.whole(found, told, &of_judged)
    }

    /// What is believed where nobody says anything.
    pub(super) fn unprompted(
        &self,
        metered_first: bool,
        judge: impl FnOnce() -> Beliefs,
    ) -> Arc<Beliefs> {
        let kept = &self.unprompted[usize::from(metered_first)];
        let mut kept = kept.lock().unwrap_or_else(PoisonError::into_inner);
        Arc::clone(kept.get_or_insert_with(|| Arc::new(judge())))
    }
}
