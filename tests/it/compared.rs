//! Two measurements of planted filters with one body and with two: what their difference claims.

#![allow(clippy::unwrap_used)]

use crate::shooting::{BARE_S, dial, even, measured, small_session};
use lightloss::compare::{Difference, compare};
use lightloss::profile::{Light, MiredU95, Profile};
use lightloss::quantity::{Duv, Kelvin, Mired, Stops};
use lightloss::shoot::Wish;
use lightloss::simulate::session::Shot;

const STOPS: f64 = 6.0;
const AGED: f64 = 0.06;
const BODIES: u64 = 20;

/// Bare, filtered and bare frames by a body whose every shutter time is off by a hundredth of a stop
/// or so.
fn taken(body: u64, day: u64, stops: f64) -> Profile {
    let mut session = small_session(day);
    session.camera.seed = body;
    session.camera.serial = Some(format!("{body:06}"));
    session.camera.shutter.offsets = 1.5;
    let through = Shot::repeated("", 0, 3, dial(BARE_S * STOPS.exp2()), &[even(stops)]);
    let bare = || Shot::repeated("", 0, 3, dial(BARE_S), &[]);
    let mut shots = [bare(), through, bare()].concat();
    for (n, shot) in shots.iter_mut().enumerate() {
        shot.file = format!("C{:04}.dng", n + 1);
    }
    measured(&session, &shots, &Wish::default())
}

fn difference(first: &Profile, second: &Profile) -> Difference {
    compare(first, second).unwrap().settings[0].strength
}

#[test]
fn what_a_body_is_off_by_cancels_between_two_of_its_measurements_and_only_there() {
    let (mut inside, mut found) = (0, 0);
    for body in 0..BODIES {
        let new = taken(body, 100 + body, STOPS);
        let aged = taken(body, 500 + body, STOPS - AGED);
        let by_another = taken(900 + body, 500 + body, STOPS - AGED);
        let one = difference(&new, &aged);
        inside += u64::from((one.difference + AGED).abs() <= one.u95);
        found += u64::from(one.shows());
        // Of what both hold, three quarters of the variance cancel: half the width at most.
        let two = difference(&new, &by_another);
        assert!(one.u95 < two.u95 && one.u95 > 0.45 * two.u95, "{one:?} {two:?}");
    }
    // 95 %: at least 16 of 20 in all but three runs of a thousand.
    assert!(inside >= 16, "{inside} of {BODIES}");
    assert!(found >= BODIES * 4 / 5, "{found} of {BODIES}");
}

/// A grey filter in daylight: 1.5 mired of the matrix and 3.5 of what a leak may hide, once more for the
/// expanded uncertainty, and 3 mired of its own.
#[test]
fn what_a_camera_does_not_see_of_one_filter_cancels_between_two_of_its_measurements() {
    const OWN: f64 = 3.0;
    let hidden = 2.0 * 1.5_f64.hypot(3.5);
    let u95 = OWN.hypot(hidden);
    let mut first = taken(1, 1, STOPS);
    first.light = Some(Light { cct_k: Kelvin::new(6504.0), duv: Duv::new(0.003) });
    let setting = &mut first.settings[0];
    let channels = &mut setting.channels;
    for channel in [&mut channels.red, &mut channels.green, &mut channels.blue] {
        channel.stops = Stops::new(STOPS);
    }
    setting.cast.mired_shift = Some(MiredU95 { value: Mired::new(0.0), u95: Mired::new(u95) });
    let changed = |change: &dyn Fn(&mut Profile)| {
        let mut second = first.clone();
        change(&mut second);
        compare(&first, &second).unwrap().settings[0].mired.unwrap().u95
    };
    // Its own twice; of the other a sixth at most.
    let near = |found: f64, known: f64| (found - known).abs() < 0.02;
    let twice = OWN * std::f64::consts::SQRT_2;
    let same = changed(&|_| ());
    assert!(same > twice && same < twice.hypot(hidden * std::f64::consts::SQRT_2 / 6.0), "{same}");
    // Another model, another filter, another light, a matrix from elsewhere: nothing cancels.
    let apart = u95 * std::f64::consts::SQRT_2;
    let others: [&dyn Fn(&mut Profile); 4] = [
        &|p| p.camera.model = Some("Other".into()),
        &|p| p.filter.name = "Another".into(),
        &|p| p.light = Some(Light { cct_k: Kelvin::new(2856.0), duv: Duv::new(0.0) }),
        &|p| p.camera.colour_matrix.as_mut().unwrap().source = "camera table".into(),
    ];
    for (n, other) in others.iter().enumerate() {
        assert!(near(changed(other), apart), "{n}: {} of {apart}", changed(other));
    }
    // Red that a leak lifts by 0.1 stop since then may be worth 150 mired a stop more or less.
    let leaks = |p: &mut Profile| {
        let setting = &mut p.settings[0];
        setting.channels.red.stops = Stops::new(STOPS - 0.1);
        let seen = 2.0 * 150.0 * 0.1;
        let u95 = Mired::new(u95.hypot(seen));
        setting.cast.mired_shift = Some(MiredU95 { value: Mired::new(0.0), u95 });
    };
    let grown = changed(&leaks);
    assert!(grown > twice.hypot(30.0) && grown < twice.hypot(32.0), "{grown}");
}
