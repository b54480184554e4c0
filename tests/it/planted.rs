//! Planted truth: simulated shoots, sorted and measured without a word from the user, against what
//! the simulation put in.

#![allow(clippy::unwrap_used)]

mod angles;
mod graduated;
mod spatial;
pub mod surprises;
mod variable;

use crate::shooting::{assert_holds, candidates, measured, sorted};
use lightloss::exposure::Times;
use lightloss::frame::cfa::Cfa;
use lightloss::profile::{FrameState, Grade, Kind, Profile};
use lightloss::quantity::{FNumber, Seconds};
use lightloss::shoot::{Label, Seen, SortError, Wish, sort, survey, survey_again};
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::filter::Filter;
use lightloss::simulate::motif::Motif;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};

/// What a strength may differ from planted truth, stops.
const STRENGTH: f64 = 0.02;
/// What a gain may differ from planted truth, relative.
const GAIN: f64 = 0.005;
/// What u95 may be at most with three repeats, bare frames on both sides, times from 1/125 up.
const WIDEST: f64 = 0.08;
/// Neutral of the light, camera RGB.
const LIGHT: [f64; 3] = [0.55, 1.0, 0.7];

fn dial_for(seconds: f64) -> f64 {
    lightloss::exposure::DialTime::nearest(lightloss::quantity::Seconds::new(seconds))
        .map_or(seconds, |d| d.shown().get())
}

/// A shutter without offsets of its own: here the program is tried, not the shutter.
fn session(mut camera: Camera, level: f64, drift: f64, seed: u64) -> Session {
    camera.shutter.offsets = 0.0;
    Session::new(camera, Lens::of(50.0), Scene { drift, ..Scene::daylight(level, LIGHT) }, seed)
}

/// Bare time and light so that a filter of so many stops needs at most 30 s.
fn setup(stops: f64) -> (f64, f64, f64) {
    let bare = if stops > 11.0 { 1.0 / 125.0 } else { 1.0 / 60.0 };
    let filtered = dial_for((bare * stops.exp2()).min(30.0));
    (bare, filtered, 0.45 / bare)
}

fn sandwich(bare: f64, filtered: f64, filter: &Filter) -> Vec<Shot> {
    let mut shots = Shot::repeated("P", 1, 3, Time::Dial(bare), &[]);
    shots.extend(Shot::repeated("P", 4, 3, Time::Dial(filtered), std::slice::from_ref(filter)));
    shots.extend(Shot::repeated("P", 7, 3, Time::Dial(bare), &[]));
    shots
}

fn check(profile: &Profile, planted: [f64; 3], what: &str) {
    let setting = &profile.settings[0];
    let error = setting.strength.stops.get() - planted[1];
    let u95 = setting.strength.u95.get();
    assert!(error.abs() <= STRENGTH, "{what}: off by {error:.4}");
    assert!(error.abs() <= u95, "{what}: off by {error:.4}, claimed {u95:.4}");
    assert!(u95 <= WIDEST, "{what}: u95 {u95:.4}");
    for (found, channel) in [(setting.cast.gains.red, 0), (setting.cast.gains.blue, 2)] {
        let gain = (planted[channel] - planted[1]).exp2();
        let apart = found.get() / gain - 1.0;
        assert!(apart.abs() <= GAIN, "{what}: gain {channel} off by {apart:.5}");
    }
}

fn cameras() -> [Camera; 2] {
    [Camera::bayer(1152, 768), Camera::xtrans(1152, 768)]
}

#[test]
fn solid_filters_from_two_to_fifteen_stops_need_no_word() {
    for (which, camera) in cameras().into_iter().enumerate() {
        for stops in [1.0, 2.0, 3.0, 6.0, 8.0, 10.35, 13.0, 15.0] {
            let (bare, filtered, level) = setup(stops);
            // Half a stop over a shoot of three to six minutes is the most; here a tenth.
            let session = session(camera.clone(), level, -0.02, 11 + which as u64);
            let filter = Filter::even([stops + 0.2, stops, stops - 0.15]);
            let planted = session.centre_stops(std::slice::from_ref(&filter));
            let profile = measured(&session, &sandwich(bare, filtered, &filter), &Wish::default());
            assert_eq!(profile.filter.kind, Kind::Solid);
            check(&profile, planted, &format!("{stops} stops, camera {which}"));
        }
    }
}

#[test]
fn light_that_drifts_by_half_a_stop_is_taken_out() {
    let (bare, filtered, level) = setup(10.0);
    let session = session(Camera::bayer(1152, 768), level, -0.07, 23);
    let filter = Filter::even([10.1, 10.0, 9.9]);
    let mut shots = sandwich(bare, filtered, &filter);
    // A slow hand: the shoot takes about seven minutes.
    for shot in &mut shots {
        shot.pause_s = 40.0;
    }
    let profile = measured(&session, &shots, &Wish::default());
    let planted = session.centre_stops(std::slice::from_ref(&filter));
    check(&profile, planted, "drift");
    assert!(profile.cautions.iter().any(|c| c.code == "light_drifted"));
}

#[test]
fn good_and_bad_frames_mixed_each_get_their_verdict() {
    let (bare, filtered, level) = setup(10.0);
    let session = session(Camera::bayer(1152, 768), level, 0.0, 31);
    let filter = Filter::even([10.3, 10.0, 9.8]);
    let one = std::slice::from_ref(&filter);
    let mut shots = Shot::repeated("P", 1, 2, Time::Dial(1.0 / 15.0), &[]); // clipped
    shots.extend(Shot::repeated("P", 3, 3, Time::Dial(bare), &[]));
    shots.extend(Shot::repeated("P", 6, 1, Time::Dial(1.0 / 500.0), one)); // buried
    shots.extend(Shot::repeated("P", 7, 4, Time::Dial(filtered), one));
    shots.extend(Shot::repeated("P", 11, 3, Time::Dial(bare), &[]));
    shots[8].brighter = -0.4; // a cloud: P0009
    let profile = measured(&session, &shots, &Wish::default());
    check(&profile, session.centre_stops(one), "mixed");
    let verdict = |file: &str| {
        let record = profile.frames.iter().find(|f| f.file == file).unwrap();
        (record.state, record.verdict.code.clone())
    };
    for file in ["P0001.dng", "P0002.dng"] {
        assert_eq!(verdict(file), (FrameState::LeftOut, "clipped".into()));
    }
    assert_eq!(verdict("P0006.dng"), (FrameState::LeftOut, "buried_or_capped".into()));
    assert_eq!(verdict("P0009.dng"), (FrameState::LeftOut, "outlier".into()));
    assert_eq!(profile.settings[0].frames.bare.len(), 6);
    assert_eq!(profile.settings[0].frames.filtered.len(), 3);
}

#[test]
fn frames_at_another_time_are_no_outliers_for_what_the_shutter_adds() {
    let (bare, filtered, level) = setup(10.0);
    let session = session(Camera::bayer(1152, 768), level, 0.0, 33);
    let filter = Filter::even([10.3, 10.0, 9.8]);
    let one = std::slice::from_ref(&filter);
    let mut shots = Shot::repeated("P", 1, 3, Time::Dial(bare), &[]);
    shots.extend(Shot::repeated("P", 4, 2, Time::Dial(dial_for(filtered / 4.0)), one));
    shots.extend(Shot::repeated("P", 6, 4, Time::Dial(filtered), one));
    shots.extend(Shot::repeated("P", 10, 3, Time::Dial(bare), &[]));
    // A shutter that is 5 % long at one time; one frame at the other time is clouded.
    shots[3].brighter = 0.07;
    shots[4].brighter = 0.07;
    shots[7].brighter = -0.4;
    let profile = measured(&session, &shots, &Wish::default());
    // Which of both times is off nothing tells.
    let strength = &profile.settings[0].strength;
    let off = strength.stops.get() - session.centre_stops(one)[1];
    assert!(off.abs() < strength.u95.get() && strength.u95.get() < 0.12, "off by {off}");
    let left_out = profile.frames.iter().filter(|f| f.state == FrameState::LeftOut);
    let files: Vec<&str> = left_out.map(|f| f.file.as_str()).collect();
    assert_eq!(files, ["P0008.dng"]);
}

#[test]
fn frames_at_another_time_are_no_outliers_where_the_dial_may_be_true() {
    let (bare, filtered) = (1.0 / 60.0, 15.0);
    let session = session(Camera::bayer(1152, 768), 0.4 / bare, 0.0, 34);
    let filter = Filter::even([10.3, 10.0, 9.8]);
    let one = std::slice::from_ref(&filter);
    let mut shots = Shot::repeated("P", 1, 3, Time::Dial(bare), &[]);
    shots.extend(Shot::repeated("P", 4, 2, Time::Dial(0.5), one));
    shots.extend(Shot::repeated("P", 6, 3, Time::Dial(filtered), one));
    shots.extend(Shot::repeated("P", 9, 3, Time::Dial(bare), &[]));
    // The camera keeps its 15 s, a sixteenth less than 16 s, and is 5 % off at both times.
    shots[3..5].iter_mut().for_each(|shot| shot.brighter = 0.07);
    shots[5..8].iter_mut().for_each(|shot| shot.brighter = (15.0_f64 / 16.0).log2() - 0.07);
    let label = |s: &Shot| if s.filters.is_empty() { Label::Bare } else { Label::Filtered(None) };
    let labels = shots.iter().map(|s| (s.file.clone(), label(s))).collect();
    let shoot = sorted(&session, &shots, &Wish { labels, ..Wish::default() }).unwrap();
    assert!(!shoot.has_faults());
    assert_eq!(shoot.used(Some(0)).count(), 5);
}

#[test]
fn no_filter_at_all_measures_nothing() {
    let session = session(Camera::bayer(1152, 768), 20.0, 0.0, 41);
    let mut shots = Shot::repeated("P", 1, 3, Time::Dial(1.0 / 60.0), &[]);
    shots.extend(Shot::repeated("P", 4, 3, Time::Dial(1.0 / 125.0), &[]));
    shots.extend(Shot::repeated("P", 7, 3, Time::Dial(1.0 / 60.0), &[]));
    let labels = shots
        .iter()
        .map(|s| {
            let filtered = s.time == Time::Dial(1.0 / 125.0);
            (s.file.clone(), if filtered { Label::Filtered(None) } else { Label::Bare })
        })
        .collect();
    let profile = measured(&session, &shots, &Wish { labels, ..Wish::default() });
    let channels = &profile.settings[0].channels;
    for channel in [channels.red, channels.green, channels.blue] {
        assert!(channel.stops.get().abs() <= channel.u95.get(), "{channel:?}");
    }
    // Unnamed, the same frames cannot be told apart, and the program says so.
    let same = sorted(&session, &shots, &Wish::default());
    assert_eq!(same.unwrap_err(), SortError::OneLevel);
}

#[test]
fn filtered_frames_of_another_camera_are_named_as_the_reason() {
    let (bare, filtered, light) = setup(6.0);
    let session = session(Camera::bayer(576, 384), light, 0.0, 42);
    let shots = sandwich(bare, filtered, &Filter::even([6.0; 3]));
    let mut candidates = candidates(&session, &shots);
    for candidate in &mut candidates[3..6] {
        let summary = candidate.outcome.as_mut().unwrap();
        summary.info.camera.model = Some("Another".to_owned());
    }
    let refused = sort(candidates, &Wish::default()).unwrap_err().to_string();
    assert!(refused.contains("another camera") && refused.contains("Another"), "{refused}");
}

#[test]
fn filtered_frames_that_all_clip_are_named_as_the_reason() {
    let session = session(Camera::bayer(576, 384), 20.0, 0.0, 44);
    let shots = sandwich(1.0 / 60.0, 30.0, &Filter::even([6.1, 6.0, 5.9]));
    let error = sorted(&session, &shots, &Wish::default()).unwrap_err();
    assert!(matches!(error, SortError::NoFiltered { .. }), "{error:?}");
    let said = error.to_string();
    assert!(said.contains(&shots[3].file) && said.contains("clipped"), "{said}");
}

#[test]
fn automatic_iso_left_on_is_measured_with_a_caution() {
    let session = session(Camera::bayer(1152, 768), 27.0, 0.0, 43);
    let filter = Filter::even([6.1, 6.0, 5.9]);
    let mut shots = sandwich(1.0 / 60.0, 1.0 / 15.0, &filter);
    for shot in &mut shots[3..6] {
        shot.iso = 1600.0;
    }
    let profile = measured(&session, &shots, &Wish::default());
    let strength = &profile.settings[0].strength;
    let planted = session.centre_stops(std::slice::from_ref(&filter))[1];
    assert!((strength.stops.get() - planted).abs() <= strength.u95.get());
    // A gain known to a tenth of a stop: u95 of about 0.2.
    assert!((0.15..0.3).contains(&strength.u95.get()), "{}", strength.u95.get());
    let caution = profile.cautions.iter().find(|c| c.code == "iso_changed").unwrap();
    assert_eq!(caution.grade, Grade::Number);
}

#[test]
fn times_counted_by_hand_stay_within_their_doubt() {
    let session = session(Camera::bayer(1152, 768), 27.0, 0.0, 47);
    let filter = Filter::even([9.9, 9.8, 9.7]);
    for seconds in [14.0, 28.0] {
        let mut shots = sandwich(1.0 / 60.0, 15.0, &filter);
        for shot in &mut shots[3..6] {
            shot.time = Time::Hand(seconds);
        }
        let profile = measured(&session, &shots, &Wish::default());
        assert_holds(&profile, session.centre_stops(std::slice::from_ref(&filter))[1]);
        assert!(profile.settings[0].cautions.iter().any(|c| c.code == "timed_by_hand"));
    }
}

#[test]
fn other_pictures_on_the_card_are_left_out_quietly() {
    let session = session(Camera::bayer(1152, 768), 27.0, 0.0, 53);
    let filter = Filter::even([6.1, 6.0, 5.9]);
    let mut shots = sandwich(1.0 / 60.0, 1.0, &filter);
    for (at, motif) in [(0, Motif::Window), (4, Motif::Cat), (8, Motif::Garden)] {
        let mut other = Shot::of(&format!("Q{at:04}.dng"), Time::Dial(1.0 / 60.0), Vec::new());
        other.motif = motif;
        shots.insert(at, other);
    }
    let shoot = sorted(&session, &shots, &Wish::default()).unwrap();
    assert!(!shoot.has_faults());
    let profile = measured(&session, &shots, &Wish::default());
    check(&profile, session.centre_stops(std::slice::from_ref(&filter)), "among pictures");
    for record in profile.frames.iter().filter(|f| f.file.starts_with('Q')) {
        assert_eq!(record.verdict.code, "other_picture", "{}", record.file);
    }
}

#[test]
fn every_bayer_phase_gives_the_same_strength() {
    for letters in ["RGGB", "BGGR", "GRBG", "GBRG"] {
        let camera = Camera {
            cfa: Cfa::from_letters(letters).unwrap(),
            ..Camera::bayer(1152, 768).with_border(25, 17)
        };
        let session = session(camera, 27.0, 0.0, 59);
        let filter = Filter::even([3.4, 3.0, 2.7]);
        let profile =
            measured(&session, &sandwich(1.0 / 60.0, 1.0 / 8.0, &filter), &Wish::default());
        check(&profile, session.centre_stops(std::slice::from_ref(&filter)), letters);
    }
}

/// What was seen of frames before is used again only where it still holds: whatever is said of them
/// next, and whatever other frame stands under a name, they are sorted as if they were new.
#[test]
fn frames_that_were_seen_are_sorted_as_new_ones() {
    let (bare, filtered, level) = setup(6.0);
    let shots = sandwich(bare, filtered, &Filter::even([6.0; 3]));
    let (one, other) = (
        session(Camera::bayer(1152, 768), level, 0.0, 3),
        session(Camera::bayer(1152, 768), 0.3 * level, 0.0, 4),
    );
    let exact = Wish { times: Times::Exact, ..Wish::default() };
    let mut timed = Wish::default();
    timed.frame_times.insert("P0004.dng".into(), Seconds::new(2.5 * filtered));
    let mut named = Wish::default();
    named.labels.insert("P0002.dng".into(), Label::LeftOut);
    let wider = Wish { f_number: Some(FNumber::new(4.0)), ..Wish::default() };
    let mut seen = Seen::default();
    let mut answers = Vec::new();
    for wish in [&Wish::default(), &exact, &timed, &named, &wider, &Wish::default()] {
        for session in [&one, &other] {
            let again = survey_again(candidates(session, &shots), wish, &mut seen);
            let (again, afresh) =
                (again.unwrap(), survey(candidates(session, &shots), wish).unwrap());
            // Both hold what no number is: compared as they are printed.
            assert_eq!(format!("{again:?}"), format!("{afresh:?}"));
            answers.push(format!("{again:?}"));
        }
    }
    // What is said does change what is seen, or nothing was tried.
    let different: std::collections::BTreeSet<&String> = answers.iter().collect();
    assert!(different.len() >= 8, "{}", different.len());
}
