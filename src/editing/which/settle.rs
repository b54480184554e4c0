//! What all photographs say together: every state that some photograph of the same scene cannot
//! be reconciled with is struck out, until nothing changes (arc consistency: Mackworth, "Consistency
//! in networks of relations", Artificial Intelligence 8, 1977). Striking out never removes a state
//! that some consistent account of the scene needs, so what is left alone needs no guess.

use super::beside::{Seen, light, same_exposure, same_series, same_view};
use super::{Evening, How, KnownBare, Said};
use crate::kit::states::Reading;

/// How far the middle brightness of neighbours in one series may differ, in stops (ours).
const SERIES_STOPS: f64 = 1.5;

/// What was settled about one photograph.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Settled {
    /// Index into the readings.
    pub(super) reading: usize,
    pub(super) how: How,
    pub(super) sure: bool,
}

impl Evening<'_> {
    /// Settles what can be settled: first from what is certain, then from what is likely, then
    /// along series.
    pub(super) fn settle(&mut self) {
        self.states = vec![Vec::new(); self.pictures.len()];
        // A kit of graduated filters alone says nothing by levels.
        if self.readings.len() == 1 {
            return;
        }
        let links: Vec<Vec<Seen>> = (0..self.pictures.len()).map(|i| self.links(i)).collect();
        self.states = self.first_states(false);
        self.strike_out(&links);
        self.note_settled(How::Difference, true);
        self.spread_bare();
        self.states = self.first_states(true);
        self.strike_out(&links);
        self.note_settled(How::Difference, false);
        self.along_series();
        self.note_settled(How::Series, false);
    }

    pub(super) fn links(&self, i: usize) -> Vec<Seen> {
        (0..self.pictures.len()).filter(|&j| j != i).filter_map(|j| self.beside(i, j)).collect()
    }

    /// States by words and brightness alone; empty where nothing is to be said at all.
    fn first_states(&self, likely: bool) -> Vec<Vec<usize>> {
        let state = |i: usize| {
            if let Some(settled) = self.settled[i] {
                return vec![settled.reading];
            }
            let bare = match self.bare[i] {
                KnownBare::Sure(_) => true,
                KnownBare::Likely(_) => likely,
                KnownBare::No => false,
            };
            if bare {
                return vec![0];
            }
            let ev = super::exposure_value(&self.pictures[i].info.exposure);
            let possible = |r: &Reading| ev.is_none_or(|ev| r.possible_at(ev));
            let named: Option<Vec<usize>> = match &self.said[i] {
                Said::Through(used) => Some(used.iter().map(|u| u.filter).collect()),
                Said::Bare | Said::Nothing => None,
            };
            let fits = |r: &Reading| named.as_ref().is_none_or(|n| r.filters == *n) && possible(r);
            (0..self.readings.len()).filter(|&s| fits(&self.readings[s])).collect()
        };
        (0..self.pictures.len()).map(state).collect()
    }

    /// A photograph that nothing of the kit fits (a filter that was never measured) must not speak
    /// about others: it is set aside, and the rest begins anew.
    fn strike_out(&mut self, links: &[Vec<Seen>]) {
        let first = self.states.clone();
        let mut aside: Vec<usize> = (0..first.len()).filter(|&i| first[i].is_empty()).collect();
        while let Err(empty) = self.strike_out_once(links, &aside) {
            aside.push(empty);
            self.states.clone_from(&first);
        }
        for i in aside {
            self.states[i] = Vec::new();
        }
    }

    fn strike_out_once(&mut self, links: &[Vec<Seen>], aside: &[usize]) -> Result<(), usize> {
        loop {
            let mut changed = false;
            for i in (0..self.states.len()).filter(|i| !aside.contains(i)) {
                let speak = |seen: &&Seen| !aside.contains(&seen.bare) && self.may_speak(seen);
                let mut own: Vec<&Seen> = links[i].iter().filter(speak).collect();
                // Certain neighbours first: they tell an outsider before it misleads others.
                own.sort_by_key(|seen| self.states[seen.bare].len());
                let between = self.between_bare(i);
                let fits = |&s: &usize| {
                    own.iter().all(|seen| self.reconciled(s, seen))
                        && between.iter().all(|seen| {
                            Reading::bare().explains(&self.readings[s], seen.stops, seen.tolerance)
                        })
                };
                let left: Vec<usize> = self.states[i].iter().copied().filter(fits).collect();
                if left.is_empty() {
                    return Err(i);
                }
                changed |= left.len() < self.states[i].len();
                self.states[i] = left;
            }
            if !changed {
                return Ok(());
            }
        }
    }

    /// Two frames through one graduated filter look as alike as two bare ones.
    fn may_speak(&self, seen: &Seen) -> bool {
        !self.graduated() || self.bare[seen.bare] != KnownBare::No
    }

    fn reconciled(&self, state: usize, seen: &Seen) -> bool {
        let two = &self.readings[state];
        self.states[seen.bare]
            .iter()
            .any(|&s| self.readings[s].explains(two, seen.stops, seen.tolerance))
    }

    fn note_settled(&mut self, how: How, sure: bool) {
        for i in 0..self.states.len() {
            if let (&[reading], None) = (self.states[i].as_slice(), self.settled[i]) {
                self.settled[i] = Some(Settled { reading, how, sure });
                self.bare[i] = match (reading, self.bare[i]) {
                    (0, KnownBare::No | KnownBare::Likely(_)) if sure && !self.graduated() => {
                        KnownBare::Sure(how)
                    }
                    (0, KnownBare::No) => KnownBare::Likely(how),
                    (_, known) => known,
                };
            }
        }
    }

    /// Pictures of a panorama follow each other within seconds and with one exposure: a state in
    /// which this one would be much brighter or darker than its neighbour is struck out.
    fn along_series(&mut self) {
        if self.graduated() {
            return;
        }
        loop {
            let mut changed = false;
            for i in 0..self.states.len() {
                for j in 0..self.states.len() {
                    if !self.neighbours(i, j) {
                        continue;
                    }
                    let ([_], Some(darker)) = (self.states[j].as_slice(), self.darker(i, j)) else {
                        continue;
                    };
                    let one = &self.readings[self.states[j][0]];
                    let alike = |&s: &usize| {
                        let two = &self.readings[s];
                        darker >= two.weakest[1] - one.strongest[1] - SERIES_STOPS
                            && darker <= two.strongest[1] - one.weakest[1] + SERIES_STOPS
                    };
                    let left: Vec<usize> = self.states[i].iter().copied().filter(alike).collect();
                    changed |= left.len() < self.states[i].len();
                    self.states[i] = left;
                }
            }
            if !changed {
                return;
            }
        }
    }

    fn neighbours(&self, i: usize, j: usize) -> bool {
        i != j
            && same_view(self.pictures, i, j)
            && same_exposure(&self.pictures[i], &self.pictures[j])
            && same_series(&self.pictures[i], &self.pictures[j])
    }

    fn darker(&self, i: usize, j: usize) -> Option<f64> {
        Some(light(&self.pictures[j])? - light(&self.pictures[i])?)
    }

    /// A bare frame of the scene that is reached over others: those of a panorama overlap or follow
    /// each other, and stand in one light with the metering before them.
    pub(super) fn bare_along(&self, i: usize) -> Option<usize> {
        let mut seen = vec![i];
        let mut at = 0;
        while let Some(&here) = seen.get(at) {
            if let Some(near) = self.compared(here).filter(|s| self.bare[s.bare] != KnownBare::No) {
                return Some(near.bare);
            }
            for j in (0..self.pictures.len()).filter(|&j| self.neighbours(here, j)) {
                if !seen.contains(&j) {
                    seen.push(j);
                }
            }
            at += 1;
        }
        None
    }

    /// The settled neighbour in a series, by which a photograph was settled.
    pub(super) fn series_neighbour(&self, i: usize) -> Option<usize> {
        (0..self.pictures.len())
            .filter(|&j| self.neighbours(i, j) && self.settled[j].is_some())
            .min_by_key(|&j| (self.settled[j].is_some_and(|s| s.how == How::Series), i.abs_diff(j)))
    }
}
