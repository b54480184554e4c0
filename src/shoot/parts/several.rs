//! Several shoots on one card: why they are held for that, and a command for each.

use super::{Part, SAME_STACK, Sorted, strength};
use crate::shoot::error::SortError;
use crate::shoot::frames::{Gear, Observed};
use crate::shoot::verdicts::Verdicts;
use crate::shoot::wish::Wish;

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
    let may_be_one = unlike.is_none() && is_one_strength(frames, verdicts, &parts);
    let whole = may_be_one.then(|| whole(frames, &parts, wish)).flatten();
    SortError::SeveralFilters { reason: reason.to_owned(), commands, whole }
}

/// What sets two lenses of one camera apart.
fn two_lenses(one: &Gear, other: &Gear) -> &'static str {
    let name = |gear: &Gear| gear.lens.as_ref().and_then(|lens| lens.0.clone());
    if name(one) == name(other) { "two focal lengths were used" } else { "two lenses were used" }
}

/// Whether parts look like one filter's: a pause, or a clock that was set in between.
fn is_one_strength(frames: &[Observed], verdicts: &Verdicts, parts: &[&Part]) -> bool {
    let strengths = parts.iter().map(|part| strength(frames, verdicts, part));
    let Some(strengths) = strengths.collect::<Option<Vec<f64>>>() else { return false };
    strengths.windows(2).all(|w| (w[0] - w[1]).abs() <= SAME_STACK)
}

/// The command that measures all parts as one shoot.
fn whole(frames: &[Observed], parts: &[&Part], wish: &Wish) -> Option<String> {
    let all = || parts.iter().flat_map(|part| part.indices.iter().copied());
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
