//! Which runs are bare, and which are which setting of the filter.

use super::error::{SortError, Spoilt};
use super::frames::{Observed, State};
use super::marks;
use super::runs::{self, Runs, middle};
use super::verdict::Judgement;
use super::verdicts::{Judgements, Place, Role, Verdicts};
use super::wish::{Label, Wish};
use crate::caution::Caution;
use crate::profile::Kind;
use crate::quantity::Stops;

/// A group this close below bare is no setting of any filter, stops (ours).
const LEAST_STRENGTH: f64 = 0.15;
/// A leak frame is darker than the filter by this much at least, stops (ours): taken so by mistake
/// it changes the strength by 0.2 stop at most.
const LEAK_BELOW: f64 = 3.0;
/// From here a leak frame is worth making, stops (ours).
const LEAK_FROM: f64 = 6.0;

/// The states of a filter and its kind.
pub type Roles = (Vec<State>, Kind);

/// What runs were found to be.
pub struct Assigned {
    /// Run and role of each frame.
    pub places: Vec<(usize, Place)>,
    /// What is held against frames.
    pub judgements: Judgements,
    /// Doubts.
    pub cautions: Vec<Caution>,
    /// States and kind, or why there is no one filter.
    pub roles: Result<Roles, SortError>,
}

/// Runs and roles as the user names them.
pub fn by_label(good: &[usize], verdicts: &Verdicts, wish: &Wish) -> Assigned {
    let mut settings: Vec<State> = Vec::new();
    let (mut places, mut run, mut before) = (Vec::new(), 0_u32, None);
    for &i in good {
        let Some(label) = verdicts.label(i) else { continue };
        let now = Some((label, verdicts.rotation(i)));
        run += u32::from(before != now);
        before = now;
        let role = match label {
            Label::Bare => Some(Role::Bare),
            Label::Filtered(mark) => {
                let state = State { mark: mark.clone() };
                Some(Role::Setting(settings.iter().position(|s| *s == state).unwrap_or_else(
                    || {
                        settings.push(state);
                        settings.len() - 1
                    },
                )))
            }
            _ => None,
        };
        places.push((i, Place { run: Some(run), role }));
    }
    let several = settings.len() > 1;
    if !several && wish.kind != Some(Kind::Variable) {
        settings.iter_mut().for_each(|setting| setting.mark = None);
    }
    let kind = wish.kind.unwrap_or(if several { Kind::Variable } else { Kind::Solid });
    let roles = Ok((settings, kind));
    Assigned { places, judgements: Judgements::new(), cautions: Vec::new(), roles }
}

/// Runs and roles by what the frames show; `None` where they show one level only.
pub fn by_level(frames: &[Observed], good: &[usize], wish: &Wish) -> Option<Assigned> {
    let mut layout = Layout::of(frames, runs::split(frames, good));
    let mut filtered = layout.filtered();
    if filtered.is_empty() {
        return None;
    }
    let (mut judgements, mut cautions) = (Judgements::new(), Vec::new());
    if !wish.names_marks()
        && let Some(leak) = layout.lone_leak(frames, &filtered)
    {
        filtered.retain(|g| *g != leak);
        cautions.push(layout.leak_assumed(frames, filtered[0], leak));
        judgements.extend(layout.frames_of(leak).map(|i| (i, Judgement::Leak)));
    }
    let several = (!wish.names_marks() && wish.kind != Some(Kind::Polariser))
        .then(|| layout.several_filters(frames, &filtered, wish))
        .flatten();
    let kind = wish.kind.unwrap_or(if filtered.len() > 1 { Kind::Variable } else { Kind::Solid });
    let one_state = matches!(kind, Kind::Solid | Kind::Graduated | Kind::Stack);
    if several.is_none() && one_state && filtered.len() > 1 {
        let largest = filtered.iter().copied().max_by_key(|&g| layout.frames_of(g).count());
        filtered.retain(|g| Some(*g) == largest);
        cautions.push(Caution::LooksLike {
            kind: "variable",
            reason: "several filtered levels were found".into(),
        });
    }
    if let Some(split) = marks::rotations(&layout.runs, &layout.groups, &filtered, kind, wish) {
        (layout.runs, layout.groups) = split;
    }
    let visits = marks::visits(&layout.groups, &filtered, wish);
    let setting_of = |number: usize| match &visits {
        Some((of_run, _)) => of_run[number],
        None => filtered.iter().position(|g| *g == layout.groups[number]),
    };
    let (places, mut unexplained) = layout.places(setting_of);
    unexplained.retain(|(i, _)| judgements.iter().all(|(known, _)| known != i));
    judgements.extend(unexplained);
    let strengths: Vec<f64> = filtered.iter().map(|&g| layout.below_bare(g)).collect();
    let roles = match (several, visits) {
        (Some(several), _) => Err(several),
        (None, Some((_, marks))) => Ok((marks.into_iter().map(Some).collect(), false)),
        (None, None) => marks::labels_for(&strengths, kind, wish),
    };
    let roles = roles.map(|(marks, backwards)| {
        cautions.extend(backwards.then_some(Caution::ShotBackwards));
        (marks.into_iter().map(|mark| State { mark }).collect(), kind)
    });
    Some(Assigned { places, judgements, cautions, roles })
}

/// Runs in capture order, each in the group of those that show the same state.
struct Layout {
    runs: Runs,
    /// Group per run.
    groups: Vec<usize>,
    /// Level per group, stops.
    levels: Vec<f64>,
    /// The brightest group.
    bare: usize,
}

impl Layout {
    fn of(frames: &[Observed], runs: Runs) -> Self {
        let groups = runs::group(frames, &runs);
        let count = groups.iter().max().map_or(0, |g| g + 1);
        let mut layout = Self { runs, groups, levels: Vec::new(), bare: 0 };
        layout.levels = (0..count)
            .map(|group| middle(frames, &layout.frames_of(group).collect::<Vec<_>>()))
            .collect();
        let brightest = |a: &usize, b: &usize| layout.levels[*a].total_cmp(&layout.levels[*b]);
        layout.bare = (0..count).max_by(brightest).unwrap_or(0);
        layout
    }

    fn frames_of(&self, group: usize) -> impl Iterator<Item = usize> {
        let runs = self.runs.iter().zip(&self.groups).filter(move |(_, g)| **g == group);
        runs.flat_map(|(run, _)| run.iter().copied())
    }

    fn below_bare(&self, group: usize) -> f64 {
        self.levels[self.bare] - self.levels[group]
    }

    /// Groups that may be states of a filter, numbered as they first appear.
    fn filtered(&self) -> Vec<usize> {
        (0..self.levels.len())
            .filter(|&g| g != self.bare && self.below_bare(g) > LEAST_STRENGTH)
            .collect()
    }

    /// Run and role of every frame, and what is neither bare nor a setting.
    fn places(
        &self,
        setting_of: impl Fn(usize) -> Option<usize>,
    ) -> (Vec<(usize, Place)>, Judgements) {
        let (mut places, mut unexplained) = (Vec::new(), Judgements::new());
        for (number, (frames, &group)) in self.runs.iter().zip(&self.groups).enumerate() {
            let setting = setting_of(number).map(Role::Setting);
            let role = if group == self.bare { Some(Role::Bare) } else { setting };
            let place = Place { run: u32::try_from(number + 1).ok(), role };
            places.extend(frames.iter().map(|&i| (i, place)));
            if role.is_none() {
                let judgement = Judgement::OtherLevel { stops: self.below_bare(group) };
                unexplained.extend(frames.iter().map(|&i| (i, judgement.clone())));
            }
        }
        (places, unexplained)
    }

    /// The group of one frame that, beside a single strong filter and at its time, is so dark that
    /// it shows light past an opaque card.
    fn lone_leak(&self, frames: &[Observed], filtered: &[usize]) -> Option<usize> {
        let [a, b] = *filtered else { return None };
        let (filter, leak) = if self.levels[a] > self.levels[b] { (a, b) } else { (b, a) };
        let time = |i: usize| frames[i].exposure.as_ref().map_or(0.0, |e| e.recorded.get());
        let longest = self.frames_of(filter).map(time).fold(0.0, f64::max);
        let mut lone = self.frames_of(leak);
        let (only, none) = (lone.next()?, lone.next());
        let strong = self.below_bare(filter) > LEAK_FROM;
        let far = self.levels[filter] - self.levels[leak] > LEAK_BELOW;
        let repeated = self.frames_of(filter).count() > 1;
        (none.is_none() && strong && far && repeated && time(only) > 0.99 * longest).then_some(leak)
    }

    fn leak_assumed(&self, frames: &[Observed], filter: usize, leak: usize) -> Caution {
        let above = self.levels[filter] - self.levels[leak];
        Caution::LeakAssumed {
            file: self.frames_of(leak).last().map_or_else(String::new, |i| frames[i].file().into()),
            change: Stops::new(-(-(-above).exp2()).ln_1p() / std::f64::consts::LN_2),
        }
    }

    /// Bare runs that separate unlike filtered groups: one ready command per filter.
    fn several_filters(
        &self,
        frames: &[Observed],
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
        frames: &[Observed],
        filters: &[(usize, usize, Vec<usize>)],
        wish: &Wish,
    ) -> SortError {
        let name = |i: Option<&usize>| i.map_or("", |&i| frames[i].file());
        let commands = filters
            .iter()
            .map(|&(first, last, _)| {
                let before = (0..first).rev().take_while(|&r| self.groups[r] == self.bare).last();
                let after =
                    (last + 1..self.runs.len()).take_while(|&r| self.groups[r] == self.bare).last();
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
        }
    }
}

/// Bare frames on one side of the filter only are a guess that nothing confirms.
pub fn bare_not_confirmed(verdicts: &Verdicts, within: &[usize]) -> Option<Caution> {
    let (bare, filtered) = (verdicts.on_side(within, true), verdicts.on_side(within, false));
    let confirmed = filtered.first().zip(filtered.last()).is_some_and(|(first, last)| {
        bare.iter().any(|i| i < first) && bare.iter().any(|i| i > last)
    });
    (!confirmed).then_some(Caution::BareNotConfirmed)
}

/// After all faults: whether something is left on both sides, and whether it is enough.
pub fn enough(
    frames: &[Observed],
    verdicts: &Verdicts,
    within: &[usize],
    settings: usize,
) -> Result<Option<Caution>, SortError> {
    let count = |role: Role| verdicts.in_role(within, role).count();
    let bare = count(Role::Bare);
    if bare == 0 {
        return Err(SortError::NoBare { first: first_spoilt(frames, verdicts, within) });
    }
    let filtered: Vec<usize> = (0..settings).map(|s| count(Role::Setting(s))).collect();
    if filtered.is_empty() || filtered.contains(&0) {
        return Err(SortError::NoFiltered { first: first_spoilt(frames, verdicts, within) });
    }
    Ok((bare == 1 && filtered == [1]).then_some(Caution::OnePairOnly))
}

/// One level only; a frame that was badly exposed may have been the filtered one.
pub fn one_level(frames: &[Observed], verdicts: &Verdicts, within: &[usize]) -> SortError {
    let badly_exposed = |judgement: &Judgement| {
        use Judgement::{BuriedOrCapped, Clipped, NoExposure};
        matches!(judgement, Clipped { .. } | BuriedOrCapped | NoExposure)
    };
    match spoilt(frames, verdicts, within, badly_exposed) {
        Some(spoilt) => SortError::NoFiltered { first: Some(spoilt) },
        None => SortError::OneLevel,
    }
}

/// The first frame that something is held against.
pub fn first_spoilt(frames: &[Observed], verdicts: &Verdicts, within: &[usize]) -> Option<Spoilt> {
    spoilt(frames, verdicts, within, |judgement| *judgement != Judgement::Used)
}

fn spoilt(
    frames: &[Observed],
    verdicts: &Verdicts,
    within: &[usize],
    by: impl Fn(&Judgement) -> bool,
) -> Option<Spoilt> {
    let &i = within.iter().find(|&&i| by(verdicts.judgement(i)))?;
    Some(Spoilt { file: frames[i].file().to_owned(), judgement: verdicts.judgement(i).clone() })
}
