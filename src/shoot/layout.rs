//! What the order of runs tells: several filters in one sitting, a lone frame with a card in the
//! filter's place.

use super::verdict::Judgement;
use super::{Judged, SortError, Wish, parts};
use crate::caution::Caution;
use crate::quantity::Stops;

/// A leak frame is darker than the filter by this much at least, stops (ours): taken so by mistake
/// it changes the strength by 0.2 stop at most.
const LEAK_BELOW: f64 = 3.0;
/// From here a leak frame is worth making, stops (ours).
const LEAK_FROM: f64 = 6.0;

/// Runs in capture order with their groups.
pub struct Layout<'a> {
    /// Frame indices per run.
    pub runs: &'a [Vec<usize>],
    /// Group per run.
    pub groups: &'a [usize],
    /// Level per group, stops.
    pub levels: &'a [f64],
    /// The bare group.
    pub bare: usize,
}

impl Layout<'_> {
    fn frames_of(&self, group: usize) -> impl Iterator<Item = usize> + '_ {
        let runs = self.runs.iter().zip(self.groups).filter(move |(_, g)| **g == group);
        runs.flat_map(|(run, _)| run.iter().copied())
    }

    /// The group of one frame that, beside a single strong filter and at its time, is so dark that
    /// it shows light past an opaque card.
    pub fn lone_leak(&self, frames: &[Judged], filtered: &[usize]) -> Option<usize> {
        let [a, b] = *filtered else { return None };
        let (filter, leak) = if self.levels[a] > self.levels[b] { (a, b) } else { (b, a) };
        let time = |i: usize| frames[i].exposure.as_ref().map_or(0.0, |e| e.recorded.get());
        let longest = self.frames_of(filter).map(time).fold(0.0, f64::max);
        let mut lone = self.frames_of(leak);
        let (only, none) = (lone.next()?, lone.next());
        let strong = self.levels[self.bare] - self.levels[filter] > LEAK_FROM;
        let far = self.levels[filter] - self.levels[leak] > LEAK_BELOW;
        let repeated = self.frames_of(filter).count() > 1;
        (none.is_none() && strong && far && repeated && time(only) > 0.99 * longest).then_some(leak)
    }

    /// Sets the leak frame aside and says so.
    pub fn take_as_leak(
        &self,
        frames: &mut [Judged],
        leak: usize,
        filtered: &mut Vec<usize>,
    ) -> Caution {
        filtered.retain(|g| *g != leak);
        let above = filtered.first().map_or(0.0, |&f| self.levels[f] - self.levels[leak]);
        let mut file = String::new();
        for i in self.frames_of(leak) {
            frames[i].judgement = Judgement::Leak;
            file = frames[i].file().to_owned();
        }
        Caution::LeakAssumed {
            file,
            change: Stops::new(-(-(-above).exp2()).ln_1p() / std::f64::consts::LN_2),
        }
    }

    /// Bare runs that separate unlike filtered groups: one ready command per filter.
    pub fn several_filters(
        &self,
        frames: &[Judged],
        filtered: &[usize],
        wish: &Wish,
    ) -> Option<SortError> {
        let mut blocks: Vec<(usize, usize, Vec<usize>)> = Vec::new();
        let mut open = false;
        for (run, group) in self.groups.iter().enumerate() {
            if *group == self.bare {
                open = false;
            } else if filtered.contains(group) {
                match blocks.last_mut().filter(|_| open) {
                    Some((_, last, groups)) => {
                        *last = run;
                        groups.push(*group);
                    }
                    None => blocks.push((run, run, vec![*group])),
                }
                open = true;
            }
        }
        // Blocks that share a state are of one filter, and so is what lies between them.
        let mut filters: Vec<(usize, usize, Vec<usize>)> = Vec::new();
        for (first, last, groups) in blocks {
            let known = filters.iter().position(|(_, _, g)| g.iter().any(|g| groups.contains(g)));
            match known {
                Some(at) => {
                    let merged = filters.split_off(at);
                    let begins = merged.first().map_or(first, |f| f.0);
                    let all = merged.into_iter().flat_map(|(_, _, g)| g).chain(groups).collect();
                    filters.push((begins, last, all));
                }
                None => filters.push((first, last, groups)),
            }
        }
        (filters.len() > 1).then(|| self.refusal(frames, &filters, wish))
    }

    fn refusal(
        &self,
        frames: &[Judged],
        filters: &[(usize, usize, Vec<usize>)],
        wish: &Wish,
    ) -> SortError {
        let name = |i: Option<&usize>| i.map_or_else(String::new, |&i| frames[i].file().to_owned());
        let commands = filters
            .iter()
            .map(|&(first, last, _)| {
                let before = (0..first).rev().take_while(|&r| self.groups[r] == self.bare).last();
                let after =
                    (last + 1..self.runs.len()).take_while(|&r| self.groups[r] == self.bare).last();
                let from = &self.runs[before.unwrap_or(first)];
                let to = &self.runs[after.unwrap_or(last)];
                parts::limits(wish, &name(from.first()), &name(to.last()))
            })
            .collect();
        SortError::SeveralFilters {
            reason: "bare frames lie between unlike filtered ones (marks of one variable filter: \
                     add --kind variable)"
                .to_owned(),
            commands,
        }
    }
}
