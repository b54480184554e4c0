//! Names of marks and rotations, given to runs.

use super::error::SortError;
use super::runs::Runs;
use super::wish::Wish;
use crate::profile::Kind;

/// Rotations of a polariser look alike in unpolarised light; where they are named, the frames are
/// shared out among the names in the order they were shot.
pub fn rotations(
    runs: &Runs,
    groups: &[usize],
    filtered: &[usize],
    kind: Kind,
    wish: &Wish,
) -> Option<(Runs, Vec<usize>)> {
    let is_filtered = |group: &usize| filtered.contains(group);
    let through: Vec<&Vec<usize>> =
        runs.iter().zip(groups).filter(|(_, g)| is_filtered(g)).map(|(r, _)| r).collect();
    let frames: usize = through.iter().map(|r| r.len()).sum();
    let names = wish.marks.len();
    if kind != Kind::Polariser
        || names < 2
        || names == through.len()
        || !frames.is_multiple_of(names)
    {
        return None;
    }
    let (mut split, mut of, mut waiting) = (Runs::new(), Vec::new(), Vec::new());
    for (run, group) in runs.iter().zip(groups) {
        if !is_filtered(group) {
            if !waiting.is_empty() {
                return None;
            }
            split.push(run.clone());
            of.push(*group);
            continue;
        }
        for &frame in run {
            waiting.push(frame);
            if waiting.len() == frames / names {
                split.push(std::mem::take(&mut waiting));
                of.push(*group);
            }
        }
    }
    Some((split, of))
}

/// Where a mark is named for each run, the names say which runs are one setting: a mark may have
/// been set twice, and two marks may take the same light.
pub fn visits(
    groups: &[usize],
    filtered: &[usize],
    wish: &Wish,
) -> Option<(Vec<Option<usize>>, Vec<String>)> {
    let runs = groups.iter().filter(|g| filtered.contains(g)).count();
    let named_twice = (1..wish.marks.len()).any(|i| wish.marks[..i].contains(&wish.marks[i]));
    let plain = runs == filtered.len() && !named_twice;
    if plain || wish.marks.is_empty() || wish.marks.len() != runs {
        return None;
    }
    let mut marks: Vec<String> = Vec::new();
    let mut named = wish.marks.iter();
    let of_run = groups
        .iter()
        .map(|group| {
            let mark = filtered.contains(group).then(|| named.next()).flatten()?;
            Some(marks.iter().position(|m| m == mark).unwrap_or_else(|| {
                marks.push(mark.clone());
                marks.len() - 1
            }))
        })
        .collect();
    Some((of_run, marks))
}

/// Labels by strengths in order of first appearance, and whether figures on the ring were named
/// from the weak end although it was shot from the strong end.
pub fn labels_for(
    strengths: &[f64],
    kind: Kind,
    wish: &Wish,
) -> Result<(Vec<Option<String>>, bool), SortError> {
    let count = strengths.len();
    if wish.marks.is_empty() {
        let numbered = matches!(kind, Kind::Variable | Kind::Polariser) || count > 1;
        let label = |n: usize| numbered.then(|| n.to_string());
        return Ok(((1..=count).map(label).collect(), false));
    }
    if wish.marks.len() != count {
        return Err(SortError::MarksMismatch { marks: wish.marks.len(), runs: count });
    }
    let figures: Vec<f64> = wish.marks.iter().filter_map(|m| m.trim().parse().ok()).collect();
    let figures_rise = figures.len() == count && figures.windows(2).all(|w| w[0] < w[1]);
    let backwards = count > 1 && figures_rise && strengths.windows(2).all(|w| w[0] > w[1]);
    let mut marks: Vec<Option<String>> = wish.marks.iter().cloned().map(Some).collect();
    if backwards {
        marks.reverse();
    }
    Ok((marks, backwards))
}
