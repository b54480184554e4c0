//! Which runs are bare, which are which setting.

use super::layout::Layout;
use super::marks::{self, Runs};
use super::runs::{self, Seen};
use super::verdict::Judgement;
use super::{Judged, Label, SortError, State, Wish};
use crate::caution::Caution;
use crate::profile::{FrameState, Kind};

/// A group this close below bare is no setting of any filter, stops (ours).
const LEAST_STRENGTH: f64 = 0.15;
/// A lone frame this close to bare, where other runs hold more, is a cloud and not a filter (ours).
const LONE_FRAME: f64 = 0.9;

type Roles = (Vec<State>, Kind);

/// Assigns runs, states and settings.
pub fn assign(
    frames: &mut [Judged],
    wish: &Wish,
    cautions: &mut Vec<Caution>,
) -> Result<Roles, SortError> {
    if wish.is_labelled() { Ok(by_label(frames, wish)) } else { by_level(frames, wish, cautions) }
}

fn by_label(frames: &mut [Judged], wish: &Wish) -> Roles {
    let mut settings: Vec<State> = Vec::new();
    let (mut run, mut before) = (0_u32, None);
    for frame in frames.iter_mut().filter(|f| f.is_good()) {
        let Some(label) = frame.label.clone() else { continue };
        let now = Some((label.clone(), frame.rotation));
        if before != now {
            run += 1;
            before = now;
        }
        frame.run = Some(run);
        match &label {
            Label::Bare => frame.state = FrameState::Bare,
            Label::Filtered(mark) => {
                let state = State { mark: mark.clone() };
                let at = settings.iter().position(|s| *s == state).unwrap_or_else(|| {
                    settings.push(state);
                    settings.len() - 1
                });
                frame.state = FrameState::Setting;
                frame.setting = Some(at);
            }
            _ => {}
        }
    }
    let several = settings.len() > 1;
    if !several && wish.kind != Some(Kind::Variable) {
        for setting in &mut settings {
            setting.mark = None;
        }
    }
    let kind = wish.kind.unwrap_or(if several { Kind::Variable } else { Kind::Solid });
    (settings, kind)
}

fn by_level(
    frames: &mut [Judged],
    wish: &Wish,
    cautions: &mut Vec<Caution>,
) -> Result<Roles, SortError> {
    let good: Vec<usize> = (0..frames.len()).filter(|&i| frames[i].is_good()).collect();
    let (mut runs, outliers) = split_into_runs(frames, &good);
    for (i, stops) in outliers {
        frames[i].judgement = Judgement::Outlier { stops };
    }
    if runs.is_empty() {
        return Err(nothing_left(frames));
    }
    let single_marks = wish.kind == Some(Kind::Variable) || wish.marks.len() > 1;
    if !single_marks {
        drop_lone_runs(frames, &mut runs);
    }
    let groups = group_runs(frames, &runs);
    let levels = group_levels(frames, &runs, &groups);
    let bare = (0..levels.len()).max_by(|&a, &b| levels[a].total_cmp(&levels[b])).unwrap_or(0);
    let first_run = |group: usize| groups.iter().position(|g| *g == group).unwrap_or(0);
    let mut filtered: Vec<usize> = (0..levels.len())
        .filter(|&g| g != bare && levels[bare] - levels[g] > LEAST_STRENGTH)
        .collect();
    filtered.sort_by_key(|&g| first_run(g));
    if filtered.is_empty() {
        return Err(one_level(frames));
    }
    let layout = Layout { runs: &runs, groups: &groups, levels: &levels, bare };
    if !single_marks && let Some(leak) = layout.lone_leak(frames, &filtered) {
        cautions.push(layout.take_as_leak(frames, leak, &mut filtered));
    }
    let several = (!single_marks && wish.kind != Some(Kind::Polariser))
        .then(|| layout.several_filters(frames, &filtered, wish))
        .flatten();
    let kind = wish.kind.unwrap_or(if filtered.len() > 1 { Kind::Variable } else { Kind::Solid });
    let one_state = matches!(kind, Kind::Solid | Kind::Graduated | Kind::Stack);
    if several.is_none() && one_state && filtered.len() > 1 {
        keep_largest(frames, &runs, &groups, &levels, bare, &mut filtered);
        cautions.push(Caution::LooksLike {
            kind: "variable",
            reason: "several filtered levels were found".into(),
        });
    }
    let (runs, groups) = match marks::rotations(&runs, &groups, &filtered, kind, wish) {
        Some(split) => split,
        None => (runs, groups),
    };
    let visits = marks::visits(&groups, &filtered, wish);
    for (number, (run, group)) in runs.iter().zip(&groups).enumerate() {
        let setting = match &visits {
            Some((of_run, _)) => of_run[number],
            None => filtered.iter().position(|g| g == group),
        };
        for &i in run {
            let frame = &mut frames[i];
            frame.run = u32::try_from(number + 1).ok();
            if *group == bare {
                frame.state = FrameState::Bare;
            } else if setting.is_some() {
                frame.state = FrameState::Setting;
                frame.setting = setting;
            } else if frame.is_good() {
                let stops = levels[bare] - levels[*group];
                frame.judgement = Judgement::OtherLevel { stops };
            }
        }
    }
    if let Some(several) = several {
        return Err(several);
    }
    let strengths: Vec<f64> = filtered.iter().map(|&g| levels[bare] - levels[g]).collect();
    let (marks, backwards) = match visits {
        Some((_, marks)) => (marks.into_iter().map(Some).collect(), false),
        None => marks::labels_for(&strengths, kind, wish)?,
    };
    cautions.extend(backwards.then_some(Caution::ShotBackwards));
    bare_on_both_sides(frames, cautions);
    Ok((marks.into_iter().map(|mark| State { mark }).collect(), kind))
}

fn seen<'a>(frames: &'a [Judged], indices: &[usize]) -> Vec<Seen<'a>> {
    indices
        .iter()
        .map(|&i| {
            let frame = &frames[i];
            let dial = frame.exposure.as_ref().and_then(|e| e.dial);
            Seen {
                look: &frame.look,
                minutes: frame.minutes,
                dial_difference: dial.map_or(0.0, |d| d.difference().get()),
                starts_run: false,
            }
        })
        .collect()
}

/// Runs as frame indices, with lone frames between equal runs taken out first.
fn split_into_runs(frames: &[Judged], good: &[usize]) -> (Runs, Vec<(usize, f64)>) {
    let mut left = good.to_vec();
    let mut outliers = Vec::new();
    loop {
        let view = seen(frames, &left);
        let runs = runs::split(&view);
        let lone = runs::lone_outliers(&view, &runs);
        if lone.is_empty() {
            let to_frames = |run: Vec<usize>| run.into_iter().map(|i| left[i]).collect();
            return (runs.into_iter().map(to_frames).collect(), outliers);
        }
        let mut gone: Vec<usize> = lone.iter().map(|(r, _)| runs[*r][0]).collect();
        outliers.extend(lone.iter().map(|(r, stops)| (left[runs[*r][0]], *stops)));
        gone.sort_unstable();
        for i in gone.into_iter().rev() {
            left.remove(i);
        }
    }
}

/// A single frame at the edge of a run, less than a filter's strength away from it, is a cloud.
fn drop_lone_runs(frames: &mut [Judged], runs: &mut Runs) {
    let longest = runs.iter().map(Vec::len).max().unwrap_or(0);
    let many = runs.iter().filter(|r| r.len() > 1).count();
    if longest < 2 || many < 2 {
        return;
    }
    let level = |frames: &[Judged], run: &[usize]| {
        super::look::median(run.iter().map(|&i| frames[i].look.whole).collect())
    };
    let mut at = 0;
    while at < runs.len() {
        let neighbours = [at.checked_sub(1), Some(at + 1)];
        let near = neighbours
            .into_iter()
            .flatten()
            .filter_map(|n| runs.get(n))
            .filter(|r| r.len() > 1)
            .map(|r| level(frames, &runs[at]) - level(frames, r))
            .min_by(|a, b| a.abs().total_cmp(&b.abs()));
        match near {
            Some(stops) if runs[at].len() == 1 && stops.abs() < LONE_FRAME => {
                frames[runs[at][0]].judgement = Judgement::Outlier { stops };
                runs.remove(at);
            }
            _ => at += 1,
        }
    }
    merge_equal_neighbours(frames, runs);
}

/// After frames were taken out, neighbouring runs may be one again.
fn merge_equal_neighbours(frames: &[Judged], runs: &mut Runs) {
    let flat: Vec<usize> = runs.iter().flatten().copied().collect();
    let again = runs::split(&seen(frames, &flat));
    *runs = again.into_iter().map(|r| r.into_iter().map(|i| flat[i]).collect()).collect();
}

fn group_runs(frames: &[Judged], runs: &Runs) -> Vec<usize> {
    let flat: Vec<usize> = runs.iter().flatten().copied().collect();
    let mut next = 0;
    let local: Runs = runs
        .iter()
        .map(|r| {
            let start = next;
            next += r.len();
            (start..next).collect()
        })
        .collect();
    runs::group(&seen(frames, &flat), &local).0
}

fn group_levels(frames: &[Judged], runs: &Runs, groups: &[usize]) -> Vec<f64> {
    let count = groups.iter().max().map_or(0, |g| g + 1);
    (0..count)
        .map(|group| {
            let members = runs.iter().zip(groups).filter(|(_, g)| **g == group);
            super::look::median(
                members.flat_map(|(r, _)| r.iter().map(|&i| frames[i].look.whole)).collect(),
            )
        })
        .collect()
}

fn keep_largest(
    frames: &mut [Judged],
    runs: &Runs,
    groups: &[usize],
    levels: &[f64],
    bare: usize,
    filtered: &mut Vec<usize>,
) {
    let size = |group: usize| {
        runs.iter().zip(groups).filter(|(_, g)| **g == group).map(|(r, _)| r.len()).sum::<usize>()
    };
    let Some(&keep) = filtered.iter().max_by_key(|&&g| size(g)) else { return };
    for (run, group) in runs.iter().zip(groups) {
        if filtered.contains(group) && *group != keep {
            for &i in run {
                frames[i].judgement =
                    Judgement::OtherLevel { stops: levels[bare] - levels[*group] };
            }
        }
    }
    filtered.retain(|g| *g == keep);
}

/// Bare frames on one side of the filter only are a guess that nothing confirms.
fn bare_on_both_sides(frames: &[Judged], cautions: &mut Vec<Caution>) {
    let of = |state: FrameState| {
        (0..frames.len()).filter(move |&i| frames[i].is_good() && frames[i].state == state)
    };
    let first = of(FrameState::Setting).min();
    let last = of(FrameState::Setting).max();
    let confirmed = match (first, last) {
        (Some(first), Some(last)) => {
            of(FrameState::Bare).any(|i| i < first) && of(FrameState::Bare).any(|i| i > last)
        }
        _ => false,
    };
    if !confirmed {
        cautions.push(Caution::BareNotConfirmed);
    }
}

/// After all faults: whether something is left on both sides, and whether it is enough.
pub fn check(
    frames: &[Judged],
    settings: &[State],
    cautions: &mut Vec<Caution>,
) -> Result<(), SortError> {
    let count = |state: FrameState, setting: Option<usize>| {
        frames.iter().filter(|f| f.is_good() && f.state == state && f.setting == setting).count()
    };
    let bare = count(FrameState::Bare, None);
    if bare == 0 {
        return Err(SortError::NoBare { reason: first_reason(frames) });
    }
    if settings.is_empty() {
        return Err(SortError::NoFiltered { reason: first_reason(frames) });
    }
    let filtered: Vec<usize> =
        (0..settings.len()).map(|s| count(FrameState::Setting, Some(s))).collect();
    if filtered.contains(&0) {
        return Err(SortError::NoFiltered { reason: first_reason(frames) });
    }
    if bare == 1 && filtered == [1] {
        cautions.push(Caution::OnePairOnly);
    }
    Ok(())
}

/// One level only; a frame that was badly exposed may have been the filtered one.
fn one_level(frames: &[Judged]) -> SortError {
    let spoilt = |f: &&Judged| {
        use Judgement::{BuriedOrCapped, Clipped, NoExposure};
        matches!(f.judgement, Clipped { .. } | BuriedOrCapped | NoExposure)
    };
    frames.iter().find(spoilt).map_or(SortError::OneLevel, |f| SortError::NoFiltered {
        reason: format!("{}: {}", f.file(), f.judgement.verdict().text),
    })
}

fn nothing_left(frames: &[Judged]) -> SortError {
    SortError::NoBare { reason: first_reason(frames) }
}

fn first_reason(frames: &[Judged]) -> String {
    frames.iter().find(|f| !f.is_good()).map_or_else(
        || "there were none".to_owned(),
        |f| format!("{}: {}", f.file(), f.judgement.verdict().text),
    )
}
