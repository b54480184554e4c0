//! A card into what may be one shoot each: one body, one lens, no gap of more than 20 minutes; each
//! is judged by itself, and the one that makes a shoot is taken.

mod several;

use super::error::SortError;
use super::evidence::Contradiction;
use super::frames::{Gear, Observed};
use super::roles::{self, Roles};
use super::runs::middle;
use super::verdict::Judgement;
use super::verdicts::{Judgements, Place, Role, Verdicts};
use super::wish::Wish;
use super::{damage, faint_bridge, faults, lit, misnamed};
use crate::caution::Caution;
use crate::profile::Kind;

/// A longer gap between frames of the wall ends a shoot, minutes (ours).
const GAP_MINUTES: f64 = 20.0;
/// Two stretches may be the bare and the filtered frames of one shoot where their levels lie this
/// far apart, stops (ours).
const FILTER_APART: f64 = 0.3;
/// Strengths in the centre at two focal lengths are of one stack up to this difference, stops (ours).
const SAME_STACK: f64 = 0.25;

/// What was made of frames that may be one shoot.
pub struct Sorted {
    /// States and kind, or why nothing can be measured.
    pub roles: Result<Roles, SortError>,
    /// Doubts.
    pub cautions: Vec<Caution>,
}

/// Sorts the one shoot that a card holds; the rest of the card is set aside.
pub fn sort(frames: &[Observed], verdicts: &mut Verdicts, wish: &Wish) -> Sorted {
    let all: Vec<usize> = (0..frames.len()).collect();
    verdicts.judge(faults::not_raw(frames, &verdicts.good(&all)));
    verdicts.judge(faults::other_pictures(frames, &verdicts.good(&all), wish));
    let good = verdicts.good(&all);
    let said = |&i: &usize| {
        let file = frames[i].file();
        (i, wish.labels.get(file).cloned(), wish.rotations.get(file).copied())
    };
    verdicts.note(good.iter().map(said).collect());
    verdicts.judge(faults::not_wanted(frames, &good, wish));
    if wish.is_labelled() {
        return judge(frames, verdicts, &all, wish);
    }
    let good = verdicts.good(&all);
    if let Some(fault) = several::copies(frames, verdicts, &good, wish) {
        return Sorted { roles: Err(fault), cautions: Vec::new() };
    }
    let parts = parts(frames, &good, wish);
    if parts.len() < 2 {
        judge(frames, verdicts, &all, wish)
    } else {
        choose(frames, verdicts, parts, wish)
    }
}

/// Judges frames that may make one shoot.
fn judge(frames: &[Observed], verdicts: &mut Verdicts, within: &[usize], wish: &Wish) -> Sorted {
    let mut cautions = Vec::new();
    let roles = passes(frames, verdicts, within, wish, &mut cautions);
    Sorted { roles, cautions }
}

fn passes(
    frames: &[Observed],
    verdicts: &mut Verdicts,
    within: &[usize],
    wish: &Wish,
    cautions: &mut Vec<Caution>,
) -> Result<Roles, SortError> {
    verdicts.judge(faults::other_gear(frames, &verdicts.good(within)));
    verdicts.judge(faults::unexposed(frames, &verdicts.good(within))?);
    verdicts.judge(faults::disputed(frames, &verdicts.good(within)));
    verdicts.judge(damage::damaged(frames, &verdicts.good(within)));
    verdicts.judge(faults::below_black(frames, &verdicts.good(within)));
    let dark = faults::dark(frames, &verdicts.good(within));
    verdicts.judge(dark.clone());
    let faint = faults::faint(frames, &verdicts.good(within));
    verdicts.judge(faint.clone());
    verdicts.judge(faults::clipped(frames, &verdicts.good(within)));
    verdicts.judge(faults::untold(frames, &verdicts.good(within)));
    let (roles, mut contradictions) = if wish.is_labelled() {
        let found = roles::by_label(&verdicts.good(within), verdicts, wish);
        verdicts.place(found.places);
        (found.roles?, found.contradictions)
    } else {
        let found = by_level(frames, verdicts, within, wish, cautions)?;
        let [bare, filtered] = [true, false].map(|bare| verdicts.on_side(within, bare));
        let dark: Vec<usize> = dark.iter().map(|(i, _)| *i).collect();
        verdicts.judge(faults::capped(frames, &dark, &bare, &filtered));
        let faint: Vec<usize> = faint.iter().map(|(i, _)| *i).collect();
        verdicts.judge(faint_bridge::told(frames, verdicts, within, &faint));
        found
    };
    verdicts.judge(faults::unlike_their_state(frames, verdicts, within));
    let (odd, doubts) = faults::other_exposures(frames, verdicts, within);
    verdicts.judge(odd);
    cautions.extend(doubts);
    verdicts.judge(faults::outliers(frames, verdicts, &verdicts.good(within)));
    verdicts.judge(misnamed::told(frames, verdicts, within));
    let (bright, doubt) = misnamed::no_leaks(frames, verdicts, within);
    verdicts.judge(bright);
    cautions.extend(doubt);
    if roles.0.len() == 1 && matches!(roles.1, Kind::Solid | Kind::Stack) {
        lit::told(frames, verdicts, within, &mut contradictions);
    }
    let doubts = contradictions.iter().filter_map(|c| c.caution(frames, verdicts));
    cautions.extend(doubts);
    cautions.extend(roles::enough(frames, verdicts, within, roles.0.len())?);
    Ok(roles)
}

fn by_level(
    frames: &[Observed],
    verdicts: &mut Verdicts,
    within: &[usize],
    wish: &Wish,
    cautions: &mut Vec<Caution>,
) -> Result<(Roles, Vec<Contradiction>), SortError> {
    if verdicts.good(within).is_empty() {
        return Err(SortError::NoBare { first: roles::first_spoilt(frames, verdicts, within) });
    }
    let Some(found) = roles::by_level(frames, &verdicts.good(within), wish) else {
        return Err(roles::one_level(frames, verdicts, within));
    };
    verdicts.place(found.places);
    verdicts.judge(found.judgements);
    cautions.extend(found.cautions);
    let roles = found.roles?;
    cautions.extend(roles::bare_not_confirmed(verdicts, within));
    Ok((roles, found.contradictions))
}

/// Indices split where the time between one frame's end and the next one's start is too long. A
/// camera that takes a dark frame of its own is busy for the length of the exposure again.
#[must_use]
pub fn stretches(frames: &[Observed], indices: &[usize]) -> Vec<Vec<usize>> {
    let mut found: Vec<Vec<usize>> = Vec::new();
    for &i in indices {
        let far = |&before: &usize| {
            let (a, b) = (&frames[before], &frames[i]);
            let gap = b.minutes - b.half_minutes() - (a.minutes + a.half_minutes());
            gap > GAP_MINUTES + 2.0 * a.half_minutes()
        };
        match found.last_mut() {
            Some(stretch) if !stretch.last().is_some_and(far) => stretch.push(i),
            _ => found.push(vec![i]),
        }
    }
    found
}

struct Part {
    gear: Gear,
    indices: Vec<usize>,
}

fn parts(frames: &[Observed], good: &[usize], wish: &Wish) -> Vec<Part> {
    let mut by_gear: Vec<Part> = Vec::new();
    for &i in good {
        let gear = frames[i].gear();
        match by_gear.iter_mut().find(|p| p.gear.is_like(&gear)) {
            Some(part) => part.indices.push(i),
            None => by_gear.push(Part { gear, indices: vec![i] }),
        }
    }
    // Both limits given: that is the shoot, whatever the clock says.
    if wish.from.is_some() && wish.to.is_some() {
        return by_gear;
    }
    by_gear
        .into_iter()
        .flat_map(|part| {
            let stretches = stretches(frames, &part.indices);
            stretches.into_iter().map(move |indices| Part { gear: part.gear.clone(), indices })
        })
        .collect()
}

/// Judges every part and keeps the one that makes a shoot.
fn choose(frames: &[Observed], verdicts: &mut Verdicts, parts: Vec<Part>, wish: &Wish) -> Sorted {
    let mut judged: Vec<(Part, Sorted)> = parts
        .into_iter()
        .map(|part| {
            let sorted = judge(frames, verdicts, &part.indices, wish);
            (part, sorted)
        })
        .collect();
    let is_shoot = |s: &Sorted| matches!(s.roles, Ok(_) | Err(SortError::SeveralFilters { .. }));
    let shoots: Vec<usize> = (0..judged.len()).filter(|&j| is_shoot(&judged[j].1)).collect();
    let one_stack = shoots.len() > 1
        && wish.kind == Some(Kind::Stack)
        && is_one_stack(frames, verdicts, &judged, &shoots);
    if shoots.len() > 1 && !one_stack {
        let fault = several::several(frames, verdicts, &judged, &shoots, wish);
        return Sorted { roles: Err(fault), cautions: Vec::new() };
    }
    let largest = (0..judged.len()).rev().max_by_key(|&j| judged[j].0.indices.len());
    let chosen = shoots.first().copied().or(largest).unwrap_or(0);
    let run = |i: &usize| verdicts.place_of(*i).run;
    let mut runs = judged[chosen].0.indices.iter().filter_map(run).max().unwrap_or(0);
    for (j, (part, _)) in judged.iter().enumerate().filter(|(j, _)| *j != chosen) {
        let (places, judgements) = if shoots.contains(&j) {
            for_shading(frames, verdicts, part, &mut runs)
        } else {
            rest_of_card(frames, part, &judged[chosen].0)
        };
        verdicts.place(places);
        verdicts.judge(judgements);
    }
    let apart = if shoots.is_empty() { far_apart(frames, &judged, chosen, wish) } else { None };
    let (_, Sorted { roles, cautions }) = judged.swap_remove(chosen);
    // What another body took lies in a part of its own.
    let all: Vec<usize> = (0..frames.len()).collect();
    let roles = roles.map_err(|error| match error {
        SortError::OneLevel => roles::one_level(frames, verdicts, &all),
        other => other,
    });
    Sorted { roles: apart.map_or(roles, Err), cautions }
}

type Placed = (Vec<(usize, Place)>, Judgements);

/// What is left of a card beside its one shoot: another body or lens in between is worth a word,
/// another day is not.
fn rest_of_card(frames: &[Observed], other: &Part, chosen: &Part) -> Placed {
    let span = |part: &Part| {
        let minutes = part.indices.iter().map(|&i| frames[i].minutes);
        minutes.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), m| (a.min(m), b.max(m)))
    };
    let (own, its) = (span(chosen), span(other));
    let beside = its.0 < own.1 + GAP_MINUTES && its.1 > own.0 - GAP_MINUTES;
    let strange = beside && !other.gear.is_like(&chosen.gear);
    let judgement = |i: usize| {
        if strange { frames[i].with_other_gear(&chosen.gear) } else { Judgement::OtherShoot }
    };
    let nowhere = Place { run: None, role: None };
    other.indices.iter().map(|&i| ((i, nowhere), (i, judgement(i)))).unzip()
}

/// Whether shoots are of one stack through one camera, each at a focal length of its own: the first
/// is measured, the others show what ring or holder shades there.
fn is_one_stack(
    frames: &[Observed],
    verdicts: &Verdicts,
    judged: &[(Part, Sorted)],
    shoots: &[usize],
) -> bool {
    let shoots = || shoots.iter().map(|&j| &judged[j]);
    let Some((main, _)) = shoots().next() else { return false };
    let mut focal_lengths = Vec::new();
    let strength_of_main = strength(frames, verdicts, &main.indices);
    shoots().all(|(part, sorted)| {
        let focal = part.gear.lens.as_ref().and_then(|l| l.1);
        let known = focal.is_none() || focal_lengths.contains(&focal);
        focal_lengths.push(focal);
        let apart = strength(frames, verdicts, &part.indices)
            .zip(strength_of_main)
            .map_or(f64::INFINITY, |(a, b)| (a - b).abs());
        let alike = part.gear.is_one_camera(&main.gear) && apart <= SAME_STACK;
        sorted.roles.is_ok() && alike && !known
    })
}

/// Bare minus filtered level, stops.
fn strength(frames: &[Observed], verdicts: &Verdicts, part: &[usize]) -> Option<f64> {
    let level = |bare: bool| {
        let of = verdicts.on_side(part, bare);
        (!of.is_empty()).then(|| middle(frames, &of))
    };
    Some(level(true)? - level(false)?)
}

/// Sets the frames of another focal length aside for their shading alone; runs are numbered on from
/// `runs`.
fn for_shading(frames: &[Observed], verdicts: &Verdicts, part: &Part, runs: &mut u32) -> Placed {
    let before = *runs;
    let (mut places, mut judgements) = (Vec::new(), Judgements::new());
    for &i in &part.indices {
        let Place { run, role } = verdicts.place_of(i);
        let run = run.map(|run| run + before);
        *runs = run.map_or(*runs, |run| run.max(*runs));
        places.push((i, Place { run, role: None }));
        let focal = frames[i].summary.info.camera.focal_length;
        if let (true, Some(focal)) = (verdicts.is_good(i), focal) {
            let bare = role == Some(Role::Bare);
            judgements.push((i, Judgement::AtFocalLength { focal_mm: focal.get(), bare }));
        }
    }
    (places, judgements)
}

/// Where no stretch is a shoot of its own but two of them together may be one.
fn far_apart(
    frames: &[Observed],
    judged: &[(Part, Sorted)],
    chosen: usize,
    wish: &Wish,
) -> Option<SortError> {
    let level = |part: &Part| middle(frames, &part.indices);
    let one = &judged[chosen].0;
    let other = judged
        .iter()
        .map(|(part, _)| part)
        .filter(|p| p.indices != one.indices && p.gear.is_like(&one.gear) && p.indices.len() > 1)
        .find(|p| (level(p) - level(one)).abs() > FILTER_APART)?;
    let (early, late) = if one.indices < other.indices { (one, other) } else { (other, one) };
    let name = |i: &usize| frames[*i].file().to_owned();
    let (from, before) = (early.indices.first().map(name)?, early.indices.last().map(name)?);
    let (after, to) = (late.indices.first().map(name)?, late.indices.last().map(name)?);
    Some(SortError::FarApart { before, after, command: wish.with_marks(wish.from_to(&from, &to)) })
}
