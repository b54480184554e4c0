//! Several shoots on one card: why they are held for that, and a command for each.

use super::{Part, SAME_STACK, Sorted, judge, strength};
use crate::shoot::error::SortError;
use crate::shoot::folders;
use crate::shoot::frames::{Gear, Observed};
use crate::shoot::verdicts::Verdicts;
use crate::shoot::wish::Wish;

/// Several shoots whose clocks coincide are told by the names of their files, where each of those
/// groups makes a shoot of its own. Two cards that a camera wrote to look so too, and two filters that were
/// shot in turns and put into folders: nothing tells which, so a command for all of it is said as well where
/// they show one strength.
pub fn copies(
    frames: &[Observed],
    verdicts: &mut Verdicts,
    good: &[usize],
    wish: &Wish,
) -> Option<SortError> {
    let groups = folders::of_one_clock(frames, good);
    if groups.is_empty() || wish.from.is_some() || wish.to.is_some() {
        return None;
    }
    let mut tried = verdicts.clone();
    let mut shoots: Vec<&Vec<usize>> = Vec::new();
    for group in &groups {
        if judge(frames, &mut tried, group, wish).roles.is_ok() {
            shoots.push(group);
        }
    }
    if shoots.len() < 2 {
        return None;
    }
    let names = |group: &[usize], bare: bool| -> Vec<&str> {
        tried.on_side(group, bare).into_iter().map(|i| frames[i].file()).collect()
    };
    let command = |g: &&Vec<usize>| wish.by_name(&names(g, true), &names(g, false));
    let commands = shoots.iter().map(command).collect();
    let may_be_one =
        folders::is_one_count(frames, good) && is_one_strength(frames, &tried, &groups);
    let whole = may_be_one.then(|| whole(frames, &groups, wish)).flatten();
    let reason = "their clocks coincide, but their names differ".to_owned();
    *verdicts = tried;
    Some(SortError::SeveralFilters { reason, commands, whole })
}

/// The fault of parts that are a shoot each.
pub fn several(
    frames: &[Observed],
    verdicts: &Verdicts,
    judged: &[(Part, Sorted)],
    shoots: &[usize],
    wish: &Wish,
) -> SortError {
    let parts: Vec<&Part> = shoots.iter().map(|&j| &judged[j].0).collect();
    let unlike = parts.windows(2).find(|w| !w[0].gear.is_like(&w[1].gear));
    let reason = match unlike {
        None => "more than 20 minutes lie between them",
        Some(w) if w[0].gear.is_one_camera(&w[1].gear) => two_lenses(&w[0].gear, &w[1].gear),
        Some(_) => "two cameras were used",
    };
    let commands = shoots
        .iter()
        .map(|&j| &judged[j])
        .flat_map(|(part, sorted)| match &sorted.roles {
            Err(SortError::SeveralFilters { commands, .. }) => commands.clone(),
            _ => vec![command_for(frames, verdicts, part, &parts, wish)],
        })
        .collect();
    let indices: Vec<Vec<usize>> = parts.iter().map(|part| part.indices.clone()).collect();
    let may_be_one = unlike.is_none() && is_one_strength(frames, verdicts, &indices);
    let whole = may_be_one.then(|| whole(frames, &indices, wish)).flatten();
    SortError::SeveralFilters { reason: reason.to_owned(), commands, whole }
}

/// What sets two lenses of one camera apart.
fn two_lenses(one: &Gear, other: &Gear) -> &'static str {
    let name = |gear: &Gear| gear.lens.as_ref().and_then(|lens| lens.0.clone());
    if name(one) == name(other) { "two focal lengths were used" } else { "two lenses were used" }
}

/// Whether parts look like one filter's: a pause, or a clock that was set in between.
fn is_one_strength(frames: &[Observed], verdicts: &Verdicts, parts: &[Vec<usize>]) -> bool {
    let strengths = parts.iter().map(|part| strength(frames, verdicts, part));
    let Some(strengths) = strengths.collect::<Option<Vec<f64>>>() else { return false };
    strengths.windows(2).all(|w| (w[0] - w[1]).abs() <= SAME_STACK)
}

/// The command that measures all parts as one shoot.
fn whole(frames: &[Observed], parts: &[Vec<usize>], wish: &Wish) -> Option<String> {
    let all = || parts.iter().flatten().copied();
    let (first, last) = (all().min()?, all().max()?);
    Some(wish.with_marks(wish.from_to(frames[first].file(), frames[last].file())))
}

/// Limits where those are enough, otherwise every frame by name.
fn command_for(
    frames: &[Observed],
    verdicts: &Verdicts,
    part: &Part,
    all: &[&Part],
    wish: &Wish,
) -> String {
    let (Some(&first), Some(&last)) = (part.indices.first(), part.indices.last()) else {
        return String::new();
    };
    let mixed = all
        .iter()
        .filter(|p| p.indices != part.indices)
        .any(|p| p.indices.iter().any(|i| (first + 1..last).contains(i)));
    if !mixed {
        return wish.from_to(frames[first].file(), frames[last].file());
    }
    let names = |bare: bool| -> Vec<&str> {
        verdicts.on_side(&part.indices, bare).into_iter().map(|i| frames[i].file()).collect()
    };
    wish.by_name(&names(true), &names(false))
}
