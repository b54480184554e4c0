//! Frames that were taken alike and do not look alike are named: planted clouds, shades and bumps over
//! whole runs, which nothing within a run gives away.

#![allow(clippy::unwrap_used)]

use crate::shooting::{
    assert_holds, candidates, caution, measured_small, small_session, there_and_back,
};
use lightloss::measure::{About, measure};
use lightloss::profile::Grade;
use lightloss::shoot::{Candidate, Wish, sort};
use lightloss::simulate::camera::Camera;
use lightloss::simulate::scene::Texture;
use lightloss::simulate::session::Shot;

const STOPS: f64 = 6.0;

/// Four bare frames, five through the filter, four bare ones.
fn shots() -> Vec<Shot> {
    there_and_back(5, STOPS)
}

/// Numbers of the frames that a text names.
fn named(text: &str) -> Vec<usize> {
    (1..=13).filter(|n| text.contains(&format!("P{n:04}.dng"))).collect()
}

#[test]
fn nothing_is_named_in_steady_light() {
    for seed in 0..6 {
        let profile = measured_small(&shots(), seed);
        let codes = [
            "frames_apart",
            "patterns_apart",
            "wall_shifted",
            "refocused",
            "unsteady_through_filter",
            "light_turned",
        ];
        for code in codes {
            assert!(caution(&profile, code).is_none(), "{seed}: {:?}", profile.cautions);
        }
    }
}

#[test]
fn bare_frames_under_a_cloud_are_named_with_what_they_lack() {
    // One frame of the first run, a part of it, the whole closing run; stops.
    for (clouded, stops) in [(3..4, -0.3), (1..4, -0.2), (9..13, -0.15)] {
        let mut shots = shots();
        shots[clouded.clone()].iter_mut().for_each(|s| s.brighter = stops);
        let profile = measured_small(&shots, 7);
        let left_out = |n: &usize| profile.frames[n - 1].verdict.code != "used";
        let note = caution(&profile, "frames_apart");
        let text = note.map_or("", |note| note.text.as_str());
        for n in clouded.map(|i| i + 1) {
            assert!(left_out(&n) || named(text).contains(&n), "{n}: {:?}", profile.cautions);
        }
        assert!(note.is_none_or(|note| note.grade == Grade::Note));
        assert!(text.is_empty() || text.contains(&format!("{:.2} stop", -stops)), "{text}");
    }
}

#[test]
fn bare_frames_that_show_another_pattern_are_named_with_those_through_the_filter() {
    let mut shots = shots();
    // The camera is turned before the filter goes on.
    shots[4..].iter_mut().for_each(|s| s.lean = (0.15, 60.0));
    let profile = measured_small(&shots, 3);
    let note = caution(&profile, "patterns_apart").unwrap();
    // An even filter's strength is that of the centre, which the pattern leaves alone.
    assert_eq!(note.grade, Grade::Note);
    let text = &note.text;
    assert_eq!(named(text), (1..=13).collect::<Vec<_>>(), "{text}");
    assert!(text.contains("otherwise over P0010.dng, P0011.dng, P0012.dng, P0013.dng"), "{text}");
    assert!(text.contains("P0009.dng) go with the former"), "{text}");
}

#[test]
fn frames_through_the_filter_that_waver_under_a_cloud_are_doubted() {
    let mut shots = shots();
    let waver = [-0.42, -0.37, -0.4, -0.35, -0.41];
    shots[4..9].iter_mut().zip(waver).for_each(|(shot, stops)| shot.brighter = stops);
    let profile = measured_small(&shots, 5);
    let doubt = caution(&profile, "unsteady_through_filter").unwrap();
    assert_eq!(doubt.grade, Grade::Number);
    assert_eq!(named(&doubt.text), [5, 6, 7, 8, 9], "{}", doubt.text);
}

/// A cloud was on its way when the filter went on: the bare run leads down into a dip that no bare frame
/// shows, and the filtered frames stand still in it.
#[test]
fn light_that_was_changing_when_the_filter_went_on_is_doubted() {
    let coming = [0.0, -0.02, -0.11, -0.25, -0.4, -0.4, -0.4, -0.4, -0.4, 0.03, 0.05, 0.07, 0.08];
    // Light that goes down all the while, as evenings do, is taken out.
    let evening = std::array::from_fn(|i| {
        [0.0, -0.15, -0.3][usize::from(i > 3) + usize::from(i > 8)] - 0.015 * i as f64
    });
    for (stops, is_doubted) in [(coming, true), (evening, false)] {
        let mut shots = shots();
        shots.iter_mut().zip(stops).for_each(|(shot, stops)| shot.brighter = stops);
        [(4, 13.0), (9, 26.0)].into_iter().for_each(|(change, s)| shots[change].pause_s = s);
        let profile = measured_small(&shots, 8);
        let doubt = caution(&profile, "light_turned");
        assert_eq!(doubt.is_some(), is_doubted, "{:?}", profile.cautions);
        assert!(doubt.is_none_or(|doubt| doubt.grade == Grade::Number));
        let strength = &profile.settings[0].strength;
        let off = (strength.stops.get() - STOPS).abs();
        assert_eq!(off > strength.u95.get(), is_doubted, "{off}");
    }
}

/// One bad frame next to the change of filter is left out, and tells nothing of the light.
#[test]
fn one_bad_bare_frame_before_the_filter_is_no_turn_of_the_light() {
    let mut shots = shots();
    shots[3].brighter = -0.3;
    let profile = measured_small(&shots, 9);
    assert!(caution(&profile, "light_turned").is_none(), "{:?}", profile.cautions);
}

/// All but one frame through the filter under a cloud: most frames are wrong.
#[test]
fn the_one_bright_frame_of_a_clouded_run_may_be_the_right_one() {
    for spared in 4..9 {
        let mut shots = shots();
        for (i, shot) in shots.iter_mut().enumerate().take(9).skip(4) {
            shot.brighter = if i == spared { 0.0 } else { -0.3 };
        }
        let profile = measured_small(&shots, 5);
        let doubt = caution(&profile, "frames_disagree").unwrap();
        assert_eq!(doubt.grade, Grade::Number);
        assert_eq!(named(&doubt.text), [5, 6, 7, 8, 9], "{}", doubt.text);
        assert_holds(&profile, STOPS);
    }
}

/// Two bare frames, two through the filter, two bare ones, of a wall with a grain of so many parts of the
/// mean.
fn before_a_grain(depth: f64) -> Vec<Candidate> {
    let mut session = small_session(11);
    // As many cells in the middle as tell a structure.
    let shutter = session.camera.shutter;
    session.camera = Camera { shutter, ..Camera::bayer(1792, 1200) };
    session.scene.texture = Some(Texture { depth, grains: 40.0 }).filter(|t| t.depth > 0.0);
    let mut shots = shots();
    shots.drain(11..);
    shots.drain(6..9);
    shots.drain(2..4);
    candidates(&session, &shots)
}

/// Autofocus that hunts through a dark filter, or is on while the filter is off.
#[test]
fn a_lens_that_was_focused_anew_is_told_by_the_grain_of_the_wall() {
    // The last one is what haze, or a light from a little to the side, may leave.
    let [sharp, soft, plain, hazy] = [0.04, 0.02, 0.0, 0.035].map(before_a_grain);
    for (runs, where_and_how) in [
        ([&sharp, &soft, &sharp], Some(("P0005.dng", "softer"))),
        ([&sharp, &sharp, &soft], Some(("P0010.dng", "softer"))),
        ([&soft, &soft, &sharp], Some(("P0010.dng", "sharper"))),
        // What is seen through a filter alone may be the filter's own: an edge, blotches.
        ([&soft, &sharp, &soft], None),
        ([&plain, &sharp, &plain], None),
        ([&sharp, &sharp, &sharp], None),
        ([&plain, &plain, &plain], None),
        ([&sharp, &hazy, &sharp], None),
    ] {
        let frames = runs.iter().enumerate().flat_map(|(run, of)| of[2 * run..][..2].to_vec());
        let shoot = sort(frames.collect(), &Wish::default()).unwrap();
        let about = About { name: "Planted".into(), ..About::default() };
        let profile = measure(&shoot, &about).unwrap();
        let doubt = caution(&profile, "refocused");
        let told = where_and_how.is_some();
        assert_eq!(doubt.is_some(), told, "{where_and_how:?}: {:?}", profile.cautions);
        if let (Some(doubt), Some((first, how))) = (doubt, where_and_how) {
            assert_eq!(doubt.grade, Grade::Number);
            assert!(doubt.text.contains(&format!("from {first} on")), "{}", doubt.text);
            assert!(doubt.text.contains(how), "{}", doubt.text);
        }
    }
}
