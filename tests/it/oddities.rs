//! What cameras, cards and rooms do now and then: filters that hardly take anything, clocks that stand
//! still or are set in mid-shoot, two cards, copies, lamps that are dark for a part of their period.

#![allow(clippy::unwrap_used)]

use crate::shooting::{BARE_S, even, measured, small_session, sorted};
use lightloss::shoot::{Shoot, SortError, Wish};
use lightloss::simulate::camera::Time;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::session::Shot;

/// Two runs through a filter between three bare ones, three frames each.
fn in_turns(stops: f64, time: Time) -> Vec<Shot> {
    let filter = [even(stops)];
    let mut shots = Vec::new();
    for run in 0..5 {
        let through: &[Filter] = if run % 2 == 0 { &[] } else { &filter };
        let time = if run % 2 == 0 { Time::Dial(BARE_S) } else { time };
        shots.extend(Shot::repeated("P", 3 * run + 1, 3, time, through));
    }
    shots
}

fn bare_files(shoot: &Shoot) -> Vec<&str> {
    shoot.used(None).map(|f| f.file()).collect()
}

const BARE_FILES: [&str; 9] = [
    "P0001.dng",
    "P0002.dng",
    "P0003.dng",
    "P0007.dng",
    "P0008.dng",
    "P0009.dng",
    "P0013.dng",
    "P0014.dng",
    "P0015.dng",
];

/// Glass that only protects the lens takes some hundredths of a stop: two surfaces of glass reflect 8 %
/// where nothing coats them, 0.12 stop (Fresnel's equations at an index of 1.5).
#[test]
fn a_filter_that_is_said_to_be_weak_is_found() {
    for (seed, stops) in [(41, 0.06), (42, 0.09), (43, 0.12), (44, 0.14)] {
        let shots = in_turns(stops, Time::Dial(BARE_S));
        let wish = Wish { single_strength: true, is_weak: true, ..Wish::default() };
        let shoot = sorted(&small_session(seed), &shots, &wish).unwrap();
        assert_eq!(bare_files(&shoot), BARE_FILES, "{stops}");
        let strength = &measured(&small_session(seed), &shots, &wish).settings[0].strength;
        let error = strength.stops.get() - stops;
        assert!(error.abs() <= strength.u95.get(), "{stops}: off by {error:.4}");
        assert!(strength.u95.get() < 0.03, "{stops}: {:?}", strength.u95);
    }
}

/// No filter gives light: of whatever strength, the brighter frames are never taken as the filter's.
#[test]
fn what_is_brighter_is_never_the_filter() {
    for step in 2..=10_u32 {
        let stops = 0.02 * f64::from(step);
        let shots = in_turns(stops, Time::Dial(BARE_S));
        for is_weak in [false, true] {
            let wish = Wish { is_weak, ..Wish::default() };
            match sorted(&small_session(45), &shots, &wish) {
                Ok(shoot) => assert_eq!(bare_files(&shoot), BARE_FILES, "{stops}"),
                Err(SortError::OneLevel) => {
                    assert!(stops < if is_weak { 0.05 } else { 0.16 }, "{stops}")
                }
                Err(other) => panic!("{stops}: {other}"),
            }
        }
    }
}

/// Light that wanders by some hundredths of a stop makes no weak filter of frames that are all bare.
#[test]
fn no_weak_filter_is_found_where_there_is_none() {
    let mut found = Vec::new();
    for seed in 0..20 {
        let mut session = small_session(300 + seed);
        session.scene.walk = 0.02;
        let mut shots = in_turns(0.0, Time::Dial(BARE_S));
        shots.iter_mut().for_each(|shot| shot.filters.clear());
        let wish = Wish { single_strength: true, is_weak: true, ..Wish::default() };
        found.extend(sorted(&session, &shots, &wish).ok().map(|_| seed));
    }
    assert!(found.len() <= 1, "{found:?}");
}
