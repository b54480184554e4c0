//! Two measurements of planted filters with one body and with two: what their difference claims.

#![allow(clippy::unwrap_used)]

use crate::shooting::{BARE_S, dial, even, measured, small_session};
use lightloss::compare::{Difference, compare};
use lightloss::profile::Profile;
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
