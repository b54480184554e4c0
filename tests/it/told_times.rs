//! What ShutterSpeedValue tells of the times behind a dial, by files of which some tell a power of two
//! and others the time that the dial shows, or nothing.

#![allow(clippy::unwrap_used)]

use crate::shooting::{candidates, even, small_session};
use lightloss::measure::{About, measure};
use lightloss::profile::Profile;
use lightloss::quantity::Seconds;
use lightloss::shoot::{Wish, sort};
use lightloss::simulate::camera::Time;
use lightloss::simulate::session::Shot;

const STOPS: f64 = 11.9;
const BARE_S: f64 = 1.0 / 125.0;
const LONG_S: f64 = 30.0;

/// Bare at 1/125, which is 1/128, and through the filter at what the dial calls 30 s and lasts `open_s`;
/// every file's ShutterSpeedValue in seconds, for short and for long times.
fn measured(open_s: f64, told: [Option<f64>; 2]) -> Profile {
    let mut session = small_session(41);
    session.scene.level = 0.4 / BARE_S;
    let bare = || Shot::repeated("", 0, 3, Time::Timer(1.0 / 128.0), &[]);
    let through = Shot::repeated("", 0, 3, Time::Timer(open_s), &[even(STOPS)]);
    let mut shots = [bare(), through, bare()].concat();
    for (n, shot) in shots.iter_mut().enumerate() {
        shot.file = format!("T{:04}.dng", n + 1);
    }
    let mut read = candidates(&session, &shots);
    for summary in read.iter_mut().filter_map(|c| c.outcome.as_mut().ok()) {
        let exposure = &mut summary.info.exposure;
        let long = exposure.time.is_some_and(|t| t.get() > 1.0);
        exposure.time = Some(Seconds::new(if long { LONG_S } else { BARE_S }));
        exposure.apex_time = told[usize::from(long)].map(Seconds::new);
    }
    let shoot = sort(read, &Wish::default()).unwrap();
    measure(&shoot, &About { name: "Told".into(), ..About::default() }).unwrap()
}

fn off_and_u95(profile: &Profile) -> (f64, f64) {
    let strength = &profile.settings[0].strength;
    ((strength.stops.get() - STOPS).abs(), strength.u95.get())
}

fn is_doubted(profile: &Profile) -> bool {
    profile.settings[0].cautions.iter().any(|c| c.code == "dial_times_ambiguous")
}

#[test]
fn a_power_of_two_told_of_one_time_says_nothing_of_one_that_is_told_as_shown() {
    // Values rounded to a tenth: 7.0 is 1/128, -4.9 is 29.9 s.
    for long in [30.0, 4.9_f64.exp2()] {
        let profile = measured(LONG_S, [Some(1.0 / 128.0), Some(long)]);
        let (off, u95) = off_and_u95(&profile);
        assert!(off < u95 && is_doubted(&profile), "{off} {u95}");
    }
}

#[test]
fn a_time_that_is_not_told_keeps_its_doubt() {
    for open_s in [LONG_S, 32.0] {
        let (off, u95) = off_and_u95(&measured(open_s, [Some(1.0 / 128.0), None]));
        assert!(off < u95, "{open_s}: {off} {u95}");
    }
}

#[test]
fn powers_of_two_that_all_files_tell_are_no_doubt() {
    let told = measured(32.0, [Some(1.0 / 128.0), Some(32.0)]);
    let (off, u95) = off_and_u95(&told);
    assert!(off < u95 && !is_doubted(&told), "{off} {u95}");
    let (_, untold) = off_and_u95(&measured(32.0, [None, None]));
    assert!(u95 < untold, "{u95} {untold}");
}
