//! Shoots of the simulation, taken, sorted and measured as the program does.

#![allow(clippy::unwrap_used)]

use lightloss::measure::{About, measure};
use lightloss::profile::Profile;
use lightloss::shoot::{Candidate, Shoot, SortError, Wish, sort};
use lightloss::simulate::cells::draw;
use lightloss::simulate::session::{Session, Shot, Taken};
use rayon::prelude::*;

/// Frames as they are sorted. Cells drawn directly have no bytes; their name stands for their hash.
pub fn drawn(session: &Session, taken: &[Taken]) -> Vec<Candidate> {
    let one = |taken: &Taken| {
        let summary = draw(session, taken);
        let file = summary.info.file.clone();
        Candidate { sha256: file.clone(), file, outcome: Ok(summary) }
    };
    taken.par_iter().map(one).collect()
}

pub fn candidates(session: &Session, shots: &[Shot]) -> Vec<Candidate> {
    drawn(session, &session.take(shots))
}

pub fn sorted(session: &Session, shots: &[Shot], wish: &Wish) -> Result<Shoot, SortError> {
    sort(candidates(session, shots), wish)
}

pub fn measured(session: &Session, shots: &[Shot], wish: &Wish) -> Profile {
    let shoot = sorted(session, shots, wish).unwrap();
    measure(&shoot, &About { name: "Planted".into(), ..About::default() }).unwrap()
}
