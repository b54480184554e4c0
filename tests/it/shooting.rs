//! Shoots of the simulation, taken, sorted and measured as the program does.

#![allow(clippy::unwrap_used)]

use lightloss::exposure::DialTime;
use lightloss::measure::{About, measure};
use lightloss::profile::{CautionRecord, Profile};
use lightloss::quantity::Seconds;
use lightloss::shoot::{Candidate, Shoot, SortError, Wish, sort};
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::cells::draw;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::scene::Scene;
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

/// A bare frame's time in seconds, of the small session.
pub const BARE_S: f64 = 1.0 / 60.0;

/// A small camera before a wall in daylight, its true times as the dial says; a bare frame of
/// `BARE_S` shows 0.4 of the full scale in green.
pub fn small_session(seed: u64) -> Session {
    let mut camera = Camera::bayer(576, 384);
    camera.shutter.offsets = 0.0;
    let scene = Scene::daylight(0.4 / BARE_S, [0.55, 1.0, 0.7]);
    Session::new(camera, Lens::of(50.0), scene, seed)
}

/// A filter of the same strength everywhere, a little warmer than grey.
pub fn even(stops: f64) -> Filter {
    Filter::even([stops + 0.1, stops, stops - 0.1])
}

/// Names that count through all shots, from P0001.dng on.
pub fn numbered(shots: &mut [Shot]) {
    for (n, shot) in shots.iter_mut().enumerate() {
        shot.file = format!("P{:04}.dng", n + 1);
    }
}

/// Four bare frames, some through an even filter of so many stops, four bare ones.
pub fn there_and_back(through: usize, stops: f64) -> Vec<Shot> {
    let bare = || Shot::repeated("", 0, 4, Time::Dial(BARE_S), &[]);
    let time = dial(BARE_S * stops.exp2());
    let filtered = Shot::repeated("", 0, through, time, &[even(stops)]);
    let mut all = [bare(), filtered, bare()].concat();
    numbered(&mut all);
    all
}

/// Shots of the small session as they are measured without a wish.
pub fn measured_small(shots: &[Shot], seed: u64) -> Profile {
    measured(&small_session(seed), shots, &Wish::default())
}

/// The first setting's strength lies within its uncertainty of what was planted.
#[track_caller]
pub fn assert_holds(profile: &Profile, planted_stops: f64) {
    let strength = &profile.settings[0].strength;
    let off = strength.stops.get() - planted_stops;
    assert!(off.abs() <= strength.u95.get(), "off by {off}: {strength:?}, {:?}", profile.cautions);
}

/// A caution of a profile, where it has one.
pub fn caution<'a>(profile: &'a Profile, code: &str) -> Option<&'a CautionRecord> {
    profile.cautions.iter().find(|c| c.code == code)
}

/// The time on the dial that is nearest.
pub fn dial(seconds: f64) -> Time {
    Time::Dial(DialTime::nearest(Seconds::new(seconds)).unwrap().shown().get())
}
