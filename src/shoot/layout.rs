//! Runs of a reading in their order, and what that order tells: several filters in one sitting, a lone
//! frame with a card in the filter's place, frames that carry times from one state to another.

use super::error::SortError;
use super::evidence::FOREIGN;
use super::frames::Observed;
use super::hypotheses::{Reading, Shown};
use super::look::Look;
use super::runs::{self, Runs};
use super::verdict::Judgement;
use super::verdicts::{Judgements, Place, Role};
use super::wish::Wish;
use crate::caution::{Caution, LevelDoubt};
use crate::quantity::Stops;
use std::collections::BTreeMap;

/// A leak frame is darker than the filter by this much at least, stops (ours): taken so by mistake
/// it changes the strength by 0.2 stop at most.
const LEAK_BELOW: f64 = 3.0;
/// From here a leak frame is worth making, stops (ours).
const LEAK_FROM: f64 = 6.0;
/// A sixth of the blocks of another picture lie further from the state's own pattern than this at
/// least, stops (ours: a ring set again by hand changes the corners by less).
const OTHER_SHAPE: f64 = 0.3;
/// Noise of the maps is allowed for by this many standard deviations.
const SHAPE_SIGMAS: f64 = 3.0;
/// Times are the same from this ratio on.
const SAME_TIME: f64 = 0.99;

/// Runs in capture order, each in the group of those that show the same state: bare is group 0.
pub struct Layout {
    /// Frames of each run.
    pub runs: Runs,
    /// Group per run.
    pub groups: Vec<usize>,
    /// Level per group against bare, stops.
    levels: Vec<f64>,
    /// Frames that belong to no group.
    pub odd: Judgements,
}

/// The group of the bare light.
pub const BARE: usize = 0;

impl Layout {
    /// Runs and groups of a reading.
    #[must_use]
    pub fn of(frames: &[Observed], good: &[usize], reading: &Reading) -> Self {
        let levels: Vec<f64> =
            [0.0].into_iter().chain(reading.strengths.iter().map(|s| -s)).collect();
        let group = |role: &Role| match role {
            Role::Bare => BARE,
            Role::Setting(state) => state + 1,
        };
        let (mut kept, mut odd) = (BTreeMap::new(), Judgements::new());
        for (&i, shown) in good.iter().zip(&reading.frames) {
            match shown {
                Shown::Role(role) => _ = kept.insert(i, group(role)),
                Shown::Odd(..) => {
                    odd.push((i, odd_one(reading.stops_against_bare(shown), &levels)))
                }
            }
        }
        let (mut runs, mut groups) = (Runs::new(), Vec::new());
        for run in runs::split(frames, &kept.keys().copied().collect::<Vec<_>>()) {
            let mut before = None;
            for i in run {
                let own = kept[&i];
                match runs.last_mut() {
                    Some(last) if before == Some(own) => last.push(i),
                    _ => {
                        runs.push(vec![i]);
                        groups.push(own);
                    }
                }
                before = Some(own);
            }
        }
        Self { runs, groups, levels, odd }
    }

    pub fn frames_of(&self, group: usize) -> impl Iterator<Item = usize> {
        let runs = self.runs.iter().zip(&self.groups).filter(move |(_, g)| **g == group);
        runs.flat_map(|(run, _)| run.iter().copied())
    }

    /// What a group takes off the bare light, stops.
    pub fn below_bare(&self, group: usize) -> f64 {
        -self.levels[group]
    }

    /// Groups of the filter's states that hold frames, as they first appear.
    pub fn filtered(&self) -> Vec<usize> {
        (1..self.levels.len()).filter(|g| self.groups.contains(g)).collect()
    }

    /// Run and role of every frame that belongs to a group.
    pub fn places(&self, setting_of: impl Fn(usize) -> Option<usize>) -> Vec<(usize, Place)> {
        let mut places = Vec::new();
        for (number, (frames, &group)) in self.runs.iter().zip(&self.groups).enumerate() {
            let setting = setting_of(number).map(Role::Setting);
            let role = if group == BARE { Some(Role::Bare) } else { setting };
            let place = Place { run: u32::try_from(number + 1).ok(), role };
            places.extend(frames.iter().map(|&i| (i, place)));
        }
        places
    }

    /// Frames of a weaker state at the bare time and at another one that the filter has too: they
    /// carry the ratio of those times and are no setting.
    pub fn bridges(&self, frames: &[Observed]) -> Judgements {
        let time = |i: usize| frames[i].exposure.as_ref().map_or(0.0, |e| e.recorded.get());
        let times = |group: usize| -> Vec<f64> { self.frames_of(group).map(time).collect() };
        let has = |of: &[f64], t: f64| of.iter().any(|o| o.min(t) > SAME_TIME * o.max(t));
        let bare = times(BARE);
        let filtered = self.filtered();
        let carries = |&weak: &usize| {
            let own = times(weak);
            let other = |t: &&f64| !has(&bare, **t);
            let to_filter = |strong: &usize| {
                let its = times(*strong);
                self.below_bare(*strong) > self.below_bare(weak)
                    && own.iter().filter(other).any(|t| has(&its, *t))
            };
            own.iter().any(|t| has(&bare, *t)) && filtered.iter().any(to_filter)
        };
        let mut found = Judgements::new();
        for group in filtered.iter().copied().filter(carries) {
            found.extend(self.frames_of(group).map(|i| (i, Judgement::Bridge)));
        }
        found
    }

    /// Bare runs that separate unlike filtered groups: one ready command per filter.
    pub fn several_filters(&self, frames: &[Observed], wish: &Wish) -> Option<SortError> {
        let filtered = self.filtered();
        let mut blocks: Vec<(usize, usize, Vec<usize>)> = Vec::new();
        let mut open = false;
        for (run, group) in self.groups.iter().enumerate() {
            if *group == BARE {
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
        frames: &[Observed],
        filters: &[(usize, usize, Vec<usize>)],
        wish: &Wish,
    ) -> SortError {
        let name = |i: Option<&usize>| i.map_or("", |&i| frames[i].file());
        let commands = filters
            .iter()
            .map(|&(first, last, _)| {
                let before = (0..first).rev().take_while(|&r| self.groups[r] == BARE).last();
                let after =
                    (last + 1..self.runs.len()).take_while(|&r| self.groups[r] == BARE).last();
                let from = &self.runs[before.unwrap_or(first)];
                let to = &self.runs[after.unwrap_or(last)];
                wish.from_to(name(from.first()), name(to.last()))
            })
            .collect();
        SortError::SeveralFilters {
            reason: "bare frames lie between unlike filtered ones (marks of one variable filter: \
                     add --kind variable)"
                .to_owned(),
            commands,
            whole: None,
        }
    }
}

impl Layout {
    /// Whether a ring was turned up to a state and back, or down to it: two states before it come again
    /// behind it the other way round, each nearer to it than the one before.
    fn turns_at(&self, group: usize) -> bool {
        let Some(at) = self.groups.iter().position(|g| *g == group) else { return false };
        let (before, after) = (self.groups[..at].iter().rev(), self.groups[at + 1..].iter());
        let mirrored: Vec<usize> =
            before.zip(after).take_while(|(b, a)| b == a && **b != BARE).map(|(b, _)| *b).collect();
        let level = |group: usize| self.levels[group];
        match mirrored[..] {
            [near, far, ..] => {
                let step = level(group) - level(near);
                step.signum() == (level(near) - level(far)).signum()
            }
            _ => false,
        }
    }

    /// The one frame of a state by itself where every other state of the filter has several frames:
    /// a cloud or a picture of something else, and no mark that a person set.
    pub fn lone_state(&self) -> Option<(usize, Judgement)> {
        let filtered = self.filtered();
        let frames_of = |group: usize| {
            let runs = self.runs.iter().zip(&self.groups);
            runs.filter(move |(_, g)| **g == group).flat_map(|(run, _)| run.iter().copied())
        };
        let mut alone = filtered.iter().copied().filter(|g| frames_of(*g).count() == 1);
        let group = alone.next()?;
        if alone.next().is_some() || filtered.len() < 2 || self.turns_at(group) {
            return None;
        }
        let others: Vec<f64> =
            (0..self.levels.len()).filter(|g| *g != group).map(|g| self.levels[g]).collect();
        Some((frames_of(group).next()?, odd_one(self.levels[group], &others)))
    }
}

impl Layout {
    /// Frames alone in their run that share a level with a state but not its picture.
    pub fn other_pictures(&self, frames: &[Observed]) -> Judgements {
        let runs = self.runs.iter().zip(&self.groups);
        let strangers = runs.clone().filter_map(|(run, group)| match run[..] {
            [one] => {
                let same = runs.clone().filter(|(_, g)| *g == group);
                let others = same.flat_map(|(run, _)| run.iter().copied()).filter(|i| *i != one);
                let others: Vec<&Look> = others.map(|i| &frames[i].look).collect();
                let differs = |other: &&Look| {
                    let noise = f64::hypot(frames[one].look.noise, other.noise);
                    runs::shape_distance(&frames[one].look, other)
                        > OTHER_SHAPE + SHAPE_SIGMAS * noise
                };
                (others.len() > 1 && others.iter().all(differs)).then_some(one)
            }
            _ => None,
        });
        strangers.map(|i| (i, Judgement::OtherPicture)).collect()
    }
}

/// The one frame that, beside bare light and a single strong filter and at its time, is so dark that
/// it shows light past an opaque card; with how far below the filter it lies, stops.
pub fn lone_leak(frames: &[Observed], good: &[usize]) -> Option<(usize, f64)> {
    let level = |i: usize| frames[i].look.whole;
    let time = |i: usize| frames[i].exposure.as_ref().map_or(0.0, |e| e.recorded.get());
    let leak = good.iter().copied().min_by(|a, b| level(*a).total_cmp(&level(*b)))?;
    let others = || good.iter().copied().filter(move |i| *i != leak);
    let brightest = others().map(level).fold(f64::NEG_INFINITY, f64::max);
    let filter = others().map(level).fold(f64::INFINITY, f64::min);
    let is_filtered = |i: &usize| level(*i) - filter < FOREIGN;
    let one_filter = others().all(|i| is_filtered(&i) || brightest - level(i) < FOREIGN);
    let longest = others().filter(is_filtered).map(time).fold(0.0, f64::max);
    let below = filter - level(leak);
    (one_filter
        && brightest - filter > LEAK_FROM
        && below > LEAK_BELOW
        && others().filter(is_filtered).count() > 1
        && time(leak) > SAME_TIME * longest)
        .then_some((leak, below))
}

/// What taking a frame as a leak frame does.
pub fn leak_assumed(frame: &Observed, below: f64) -> Caution {
    let change = Stops::new(-(-(-below).exp2()).ln_1p() / std::f64::consts::LN_2);
    Caution::Level(LevelDoubt::LeakAssumed { file: frame.file().to_owned(), change })
}

/// What is held against a frame so many stops from the bare light that fits no group.
fn odd_one(from_bare: f64, levels: &[f64]) -> Judgement {
    let apart = levels.iter().map(|level| from_bare - level);
    let nearest = apart.min_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(0.0);
    if nearest.abs() < FOREIGN {
        Judgement::Outlier { stops: nearest }
    } else {
        Judgement::OtherLevel { stops: -from_bare }
    }
}
