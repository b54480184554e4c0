//! A frame at an end of its run that lies apart from the others may be spoilt, or the light was on the
//! move: planted frames of both sorts, from the frames to the profile.

#![allow(clippy::unwrap_used)]

use crate::shooting::{caution, measured_small, numbered, there_and_back};
use lightloss::profile::{Grade, Kind, Profile};
use lightloss::simulate::session::Shot;

const STOPS: f64 = 6.0;
/// A strength that is known no better than this tells a photographer little, stops (ours).
const LARGE: f64 = 0.15;
/// Frames of a run, and the first after the filter is off again.
const RUN: usize = 4;
const AFTER: usize = 2 * RUN;
/// What a frame less, which may be right, costs a strength that shutter times limit: u95 grows by no more.
const MOST_DEARER: f64 = 1.5;

/// Four bare frames, four through the filter, four bare ones.
fn shots() -> Vec<Shot> {
    there_and_back(RUN, STOPS)
}

/// How far the strength lies from what was planted, and what is claimed of it.
fn off(profile: &Profile) -> (f64, f64) {
    assert_eq!((profile.filter.kind, profile.settings.len()), (Kind::Solid, 1));
    let strength = &profile.settings[0].strength;
    (strength.stops.get() - STOPS, strength.u95.get())
}

/// Files that were left out, by number.
fn left_out(profile: &Profile) -> Vec<usize> {
    let is_out = |n: &usize| profile.frames[n - 1].verdict.code != "used";
    (1..=profile.frames.len()).filter(is_out).collect()
}

/// A change that starts no run of its own, stops: a tenth does.
const SMALL: f64 = 0.07;

/// Steady light, and one frame at an end of its run darker: a cloud that passed. A little darker, it may
/// show the light move; far darker, it is what a cloud did.
#[test]
fn a_frame_that_a_cloud_passed_over_changes_no_strength() {
    let whole = measured_small(&shots(), 3);
    let (_, without) = off(&whole);
    // The last bare frame, the first and the last through the filter, the first bare one again.
    let ends = [RUN - 1, RUN, AFTER - 1, AFTER];
    for (spoilt, stops) in ends.into_iter().flat_map(|i| [(i, SMALL), (i, 0.3)]) {
        let what = format!("frame {spoilt} by {stops}");
        let mut shots = shots();
        shots[spoilt].brighter = -stops;
        let profile = measured_small(&shots, 3);
        let (error, u95) = off(&profile);
        assert!(error.abs() <= u95 && u95 < MOST_DEARER * without, "{what}: {error} +- {u95}");
        assert_eq!(left_out(&profile), [spoilt + 1], "{what}");
        let said = &caution(&profile, "frames_left_out").unwrap().text;
        assert!(said.contains("1 frame was left out"), "{what}: {said}");
        assert_eq!(said.contains("Of 1 at an end of a run"), stops == SMALL, "{what}: {said}");
        let numbers = profile.cautions.iter().filter(|c| c.grade == Grade::Number);
        assert_eq!(numbers.count(), 0, "{what}: {:?}", profile.cautions);
    }
}

/// The light stays down, or up, from that frame on: what it shows of the light is not thrown away, so that
/// the truth is inside whichever frame it began with.
#[test]
fn a_frame_that_shows_the_light_move_is_reckoned_with() {
    for (first, stops) in [(RUN - 1, -0.33), (AFTER - 1, -0.33), (AFTER - 1, 0.33), (RUN - 1, 0.2)]
    {
        let mut shots = shots();
        shots[first..].iter_mut().for_each(|s| s.brighter = stops);
        let profile = measured_small(&shots, 5);
        let (error, u95) = off(&profile);
        assert!(error.abs() <= u95, "{first} {stops}: {error} +- {u95}");
        assert!(u95 < stops.abs().max(LARGE), "{first} {stops}: {u95} tells nothing");
    }
}

#[test]
fn frames_that_are_alike_are_all_used() {
    for seed in 0..4 {
        let profile = measured_small(&shots(), seed);
        let (error, u95) = off(&profile);
        assert!(error.abs() <= u95, "{seed}: {error} +- {u95}");
        assert!(left_out(&profile).is_empty(), "{seed}");
        assert!(caution(&profile, "frames_left_out").is_none(), "{seed}");
    }
}

/// Each frame that may be spoilt doubles what is weighed, so that no more than three are: the others are
/// left out as within a run.
#[test]
fn no_more_than_three_frames_are_weighed() {
    let mut shots = shots();
    for spoilt in [0, RUN - 1, RUN, AFTER - 1, AFTER] {
        shots[spoilt].brighter = -SMALL;
    }
    // Three that are alike in every run.
    for place in [2, RUN + 2, AFTER + 2] {
        shots.insert(place, shots[place - 1].clone());
    }
    numbered(&mut shots);
    let profile = measured_small(&shots, 3);
    let (error, u95) = off(&profile);
    assert!(error.abs() <= u95, "{error} +- {u95}");
    let said = &caution(&profile, "frames_left_out").unwrap().text;
    assert!(said.contains("5 frames were left out"), "{said}");
    assert!(said.contains("Of 3 at an end of a run"), "{said}");
}
