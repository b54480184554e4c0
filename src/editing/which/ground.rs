//! What is the same whatever a person says of the photographs: how they hang together, what the kit can
//! bring about, and how well each pair of patterns agrees with what is seen.

use super::changes::Changes;
use super::links::{Placed, Tie, placed};
use super::patterns::{Drawn, Fit, Outlook, fits};
use super::states::States;
use super::words::{Said, said};
use super::{Picture, by_words};
use crate::profile::Profile;
use rayon::prelude::*;

/// Photographs that hang together.
#[derive(Default)]
pub(super) struct Members {
    pub all: Vec<usize>,
    pub on: Vec<Option<usize>>,
    pub view: Vec<usize>,
}

/// The same under all accounts of an evening.
pub(super) struct Ground {
    pub placed: Vec<Placed>,
    pub states: States,
    pub changes: Changes,
    pub said: Vec<Said>,
    /// What keywords say, per placed photograph and state: factors.
    pub words: Vec<Vec<f64>>,
    /// Whether a photograph's keywords are those of the one before.
    pub repeats: Vec<bool>,
    /// The patterns as each way of looking sees them, and which way each photograph looks.
    pub drawn: Vec<Drawn>,
    pub of: Vec<usize>,
    pub fits: Vec<Vec<Fit>>,
    pub groups: Vec<Members>,
    /// Minutes of each photograph from the first.
    pub minutes: Vec<f64>,
}

impl Ground {
    pub fn new(pictures: &[Picture], kit: &[Profile]) -> Self {
        let placed = placed(pictures);
        let states = States::of(kit);
        let said: Vec<Said> =
            placed.iter().map(|p| said(&pictures[p.picture].info.subject, kit)).collect();
        let by_state =
            |said: &Said| states.all.iter().map(|state| by_words(said, state, kit)).collect();
        let views = placed.iter().map(|p| outlook(&pictures[p.picture]));
        let (drawn, of) = drawn(&states, views);
        let fits = placed.par_iter().zip(&of).map(|(placed, &of)| match &placed.tie {
            Tie::Scene { difference, .. } => fits(difference, &drawn[of]),
            _ => Vec::new(),
        });
        Self {
            fits: fits.collect(),
            changes: Changes::of(&states),
            words: said.iter().map(by_state).collect(),
            repeats: (0..placed.len()).map(|at| at > 0 && said[at] == said[at - 1]).collect(),
            groups: groups(&placed),
            minutes: minutes(&placed),
            placed,
            states,
            said,
            drawn,
            of,
        }
    }
}

fn outlook(picture: &Picture) -> Outlook {
    Outlook {
        size: picture.scene.as_ref().map_or((0, 0), |s| (s.columns, s.rows)),
        orientation: picture.info.orientation,
        focal_mm: picture.info.camera.focal_length.map(|f| f.get()),
    }
}

/// The patterns as each way of looking sees them, and which way each photograph looks.
fn drawn(states: &States, views: impl Iterator<Item = Outlook>) -> (Vec<Drawn>, Vec<usize>) {
    let mut drawn: Vec<Drawn> = Vec::new();
    let mut of = Vec::new();
    for view in views {
        let known = drawn.iter().position(|d| d.view == view);
        of.push(known.unwrap_or_else(|| {
            drawn.push(Drawn::of(&states.patterns, view));
            drawn.len() - 1
        }));
    }
    (drawn, of)
}

fn groups(placed: &[Placed]) -> Vec<Members> {
    let mut groups: Vec<Members> = Vec::new();
    // Of each photograph: its group, place there, and view.
    let mut lies: Vec<(usize, usize, usize)> = Vec::new();
    for (i, placed) in placed.iter().enumerate() {
        let (group, on, view) = match &placed.tie {
            Tie::Scene { on, .. } => (lies[*on].0, Some(lies[*on].1), Some(lies[*on].2)),
            Tie::Series { on } => (lies[*on].0, None, None),
            Tie::Head => (groups.len(), None, None),
        };
        if group == groups.len() {
            groups.push(Members::default());
        }
        let members = &mut groups[group];
        let view = view.unwrap_or_else(|| members.view.iter().max().map_or(0, |&last| last + 1));
        lies.push((group, members.all.len(), view));
        members.all.push(i);
        members.on.push(on);
        members.view.push(view);
    }
    groups
}

/// Minutes of each photograph from the first.
fn minutes(placed: &[Placed]) -> Vec<f64> {
    let mut minutes: Vec<f64> = Vec::new();
    for placed in placed {
        let from = placed.on().map_or_else(|| minutes.last().copied(), |on| Some(minutes[on]));
        minutes.push(from.unwrap_or(0.0) + placed.minutes);
    }
    minutes
}
