//! The frames of a filter of one strength: they measure the ratio of the shutter times instead of
//! trusting it. Up to seven stops bare and filtered frames share one time, so that nothing is left to
//! be trusted; beyond, the filtered level would sink into black, and a bridge carries the ratio over:
//! something else that dims the light about half as much, shot at the bare time and at a middle time,
//! the filter at that middle time and at its own.
//!
//! Bare frames stand between, so that the light is followed as a curve.

use super::Shot;
use super::light::{BareLevel, Light, ShotTime};
use crate::exposure::{BRIDGE_SPARE_STOPS, stops_between};
use crate::quantity::Stops;
use crate::shoot_file::ShotState;

/// Up to so many stops one time serves both states (ours): half of full scale is then still 64 times
/// the error of a black level at 14 bit.
pub const ONE_TIME_UP_TO: f64 = 7.0;
/// Below this share of full scale the black level matters, so dark frames are asked for (ours).
const DARK_BELOW: f64 = 0.03;
/// Frames each time that a state is shot, of a bridged filter, and of the filter at its own time.
const EACH: u32 = 2;
const EACH_BRIDGED: u32 = 3;
const OWN: u32 = 3;
const DARKS: u32 = 3;

/// Where the dimmed level falls below this share of full scale at the bare time, the frames are to tell the black
/// level, which weighs most there (ours: of simulated shoots of 10 stops, dimmed to 0.008, twice as many miss 0.015 stop
/// without; of 8 stops, dimmed to 0.016, as many).
const BLACK_SHOWN_BELOW: f64 = 0.01;
/// So much of full scale is to be left of the filter's frames at the bridge's time (ours: seven counts at 14 bit; of
/// fewer, a third of simulated shoots of 18 stops are refused).
const LEAST_LEFT: f64 = 0.00044;
/// They do so at a time that is so many thirds of a stop shorter: the same count off moves the dimmed
/// level against the bare one eight times as far (ours: two stops shorter, far fewer
/// shoots come to 0.015 stop).
const SHORTER_BY: i32 = 9;
/// No lens closes by more stops: f/2.8 to f/22 are six on the markings of ISO 517.
const BY_APERTURE_UP_TO: f64 = 6.0;
/// Frames each time of plans that tell black, whose steps are the longest (ours).
const EACH_OF_LONGEST: u32 = 4;

/// Makes a shot of a state at a time, so many frames, for a reason.
pub type Make<'a> = &'a dyn Fn(ShotState, &ShotTime, u32, &str) -> Shot;

/// Whether one time serves both states.
#[must_use]
pub fn shares_a_time(stops: Stops) -> bool {
    stops.get() <= ONE_TIME_UP_TO
}

/// How bright bare frames are to be. Both times of a bridge hold a bright frame against a dim one, so that a sensor that
/// lies off its line counts twice; the less, the less bright they are. So they are of a quarter of full scale, if
/// something of the filter's own frames at the bridge's time is left then.
#[must_use]
pub fn bare_level(stops: Stops) -> BareLevel {
    let behind_both = stops.get() / 2.0 + BRIDGE_SPARE_STOPS;
    let left = BareLevel::Quarter.share() * (-behind_both).exp2();
    if !shares_a_time(stops) && left > LEAST_LEFT { BareLevel::Quarter } else { BareLevel::Half }
}

/// The shots in order; `between` come before the last bare frames.
pub fn shots(light: &Light, stops: Stops, between: Vec<Shot>, make: Make<'_>) -> Vec<Shot> {
    let mut list = if shares_a_time(stops) {
        one_time(light, stops, make)
    } else {
        bridged(light, stops, make)
    };
    list.extend(between);
    list.push(make(
        ShotState::Bare,
        &light.bare,
        if shares_a_time(stops) { EACH } else { EACH_BRIDGED },
        "the light after: what it did in between is taken out",
    ));
    let darks = darks(&list, make);
    list.extend(darks);
    list
}

fn one_time(light: &Light, stops: Stops, make: Make<'_>) -> Vec<Shot> {
    let behind = light.bare.behind(stops);
    vec![
        make(ShotState::Bare, &light.bare, EACH, "the light before"),
        make(
            ShotState::Filtered,
            &behind,
            EACH,
            "the same time, so that no shutter time has to be trusted; dark is as it should be",
        ),
        make(ShotState::Bare, &light.bare, EACH, "the light between"),
        make(ShotState::Filtered, &behind, EACH, "once more, so that a cloud shows"),
    ]
}

fn bridged(light: &Light, stops: Stops, make: Make<'_>) -> Vec<Shot> {
    let half = Stops::new(stops.get() / 2.0);
    let own = light.through(stops);
    let dim = light.bare.behind(half);
    let each = if shows_black(&dim) { EACH_OF_LONGEST } else { EACH_BRIDGED };
    let middle = light.plain_through(half - Stops::new(BRIDGE_SPARE_STOPS));
    let longer = stops_between(light.bare.true_time, middle.true_time);
    let at_middle = |strength: Stops| {
        let level = light.bare.behind(strength - longer).level;
        ShotTime { level, ..middle.clone() }
    };
    let (bright, dark) = (at_middle(half), at_middle(stops));
    let bare = |why: &str| make(ShotState::Bare, &light.bare, each, why);
    let bridge = |time: &ShotTime, why: &str| make(ShotState::Bridge, time, each, why);
    let filter = |why: &str| make(ShotState::Filtered, &dark, each, why);
    let mut list = vec![
        bare("the light before"),
        bridge(&dim, &what_dims(half)),
        bridge(&bright, "the same at a longer time: how much longer it really is"),
        bridge(&dim, "the short time again, so that what the light did is taken out"),
        bridge(&bright, "the longer time again"),
        bridge(&dim, "the short time once more"),
    ];
    list.extend(black_shown(light, &dim, half, each, make));
    list.extend([
        bare("the light between"),
        filter("the filter at that time too, dark as it comes out"),
        bare("the light between"),
        filter("once more, so that a cloud shows"),
        bare("the light between"),
        make(ShotState::Filtered, &own, OWN, "the filter, at the raw level of the bare frames"),
    ]);
    list
}

/// What may be the bridge: it tells times alone, so its strength need not be known and may be an
/// aperture's, as long as it stays.
fn what_dims(half: Stops) -> String {
    let dims = format!(
        "anything that dims by about {} stops, one more or less, and stays for all bridge frames: another \
         filter",
        (10.0 * half.get()).round() / 10.0
    );
    if half.get() <= BY_APERTURE_UP_TO {
        format!("{dims}, or the aperture closed so far, and opened again to where it was")
    } else {
        format!("{dims}, or two")
    }
}

/// Whether a dimmed frame is so dark that the frames have to tell the black level.
fn shows_black(dim: &ShotTime) -> bool {
    dim.level < BLACK_SHOWN_BELOW
}

/// Dimmed and bare frames at one more, shorter time: their ratio is that at the bare time but for an
/// error of black, which both steps of the bridge would else carry into the strength.
fn black_shown(light: &Light, dim: &ShotTime, half: Stops, each: u32, make: Make<'_>) -> Vec<Shot> {
    if !shows_black(dim) {
        return Vec::new();
    }
    let short = light.bare_shorter_by(SHORTER_BY);
    vec![
        make(
            ShotState::Bridge,
            &short.behind(half),
            each,
            "the same at a shorter time, nearly black: how far the black level is off",
        ),
        make(ShotState::Bare, &short, each, "bare frames to hold against those"),
    ]
}

/// Dark frames of every time at which a dim frame was taken, and of long ones.
fn darks(list: &[Shot], make: Make<'_>) -> Vec<Shot> {
    let mut times: Vec<&ShotTime> = Vec::new();
    let needed = list
        .iter()
        .filter(|s| s.state != ShotState::Leak)
        .filter(|s| s.time.level < DARK_BELOW || s.time.true_time.get() > super::DARK_FROM_S);
    for shot in needed {
        if !times.iter().any(|t| t.text == shot.time.text) {
            times.push(&shot.time);
        }
    }
    let why = "lens capped, same time: dim frames and long ones need their own black level";
    times.into_iter().map(|time| make(ShotState::Dark, time, DARKS, why)).collect()
}
