//! Names of marks and rotations, given to runs.

use super::error::SortError;
use super::runs::Runs;
use super::wish::Wish;
use crate::numerics::numbering::number_of;
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
/// been set twice, and two marks may take the same light. A mark named twice in a row may have
/// been shot as one run, and two runs in a row may be one mark.
pub fn visits(
    groups: &[usize],
    filtered: &[usize],
    wish: &Wish,
) -> Option<(Vec<Option<usize>>, Vec<String>)> {
    let through: Vec<usize> =
        (0..groups.len()).filter(|r| filtered.contains(&groups[*r])).collect();
    let named_twice = (1..wish.marks.len()).any(|i| wish.marks[..i].contains(&wish.marks[i]));
    if wish.marks.is_empty() || (through.len() == filtered.len() && !named_twice) {
        return None;
    }
    let mut in_a_row = wish.marks.clone();
    in_a_row.dedup();
    // Number of the visit that each run belongs to.
    let one_each: Vec<usize> = (0..through.len()).collect();
    let mut visit = 0;
    let joined: Vec<usize> = (0..through.len())
        .map(|n| {
            let again = n > 0 && groups[through[n]] == groups[through[n - 1]];
            visit += usize::from(n > 0 && !(again && through[n] == through[n - 1] + 1));
            visit
        })
        .collect();
    let count = |visits: &[usize]| visits.last().map_or(0, |last| last + 1);
    let (visits, names) = [(&one_each, &wish.marks), (&one_each, &in_a_row), (&joined, &in_a_row)]
        .into_iter()
        .find(|(visits, names)| count(visits) == names.len())?;
    let mut marks: Vec<String> = Vec::new();
    let mut of_run = vec![None; groups.len()];
    for (&run, &visit) in through.iter().zip(visits) {
        of_run[run] = Some(number_of(&mut marks, names[visit].clone()));
    }
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
    let mut names: Vec<String> = Vec::new();
    for mark in &wish.marks {
        if !names.contains(mark) {
            names.push(mark.clone());
        }
    }
    // One name for each state, however often it was set.
    let names = if wish.marks.len() == count { wish.marks.clone() } else { names };
    if names.is_empty() || (names.len() != count && wish.marks_are_a_guide) {
        let numbered = matches!(kind, Kind::Variable | Kind::Polariser) || count > 1;
        let label = |n: usize| numbered.then(|| n.to_string());
        return Ok(((1..=count).map(label).collect(), false));
    }
    if names.len() != count {
        return Err(SortError::MarksMismatch { marks: wish.marks.len(), runs: count });
    }
    let figures: Vec<f64> = names.iter().filter_map(|m| m.trim().parse().ok()).collect();
    let figures_rise = figures.len() == count && figures.windows(2).all(|w| w[0] < w[1]);
    let backwards = count > 1 && figures_rise && strengths.windows(2).all(|w| w[0] > w[1]);
    let mut marks: Vec<Option<String>> = names.into_iter().map(Some).collect();
    if backwards {
        marks.reverse();
    }
    Ok((marks, backwards))
}
