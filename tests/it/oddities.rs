//! What cameras, cards and rooms do now and then: filters that hardly take anything, clocks that stand
//! still or are set in mid-shoot, two cards, copies, lamps that are dark for a part of their period.

#![allow(clippy::unwrap_used)]

use crate::shooting::{BARE_S, candidates, dial, even, measured, small_session, sorted};
use lightloss::profile::{Grade, Kind, Profile};
use lightloss::shoot::{Candidate, Shoot, SortError, Wish, sort};
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

fn says(profile: &Profile, code: &str, grade: Grade) -> bool {
    profile.cautions.iter().any(|c| c.code == code && c.grade == grade)
}

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

fn with_infos(shots: &[Shot], seed: u64, change: impl Fn(usize, &mut Candidate)) -> Vec<Candidate> {
    let mut all = candidates(&small_session(seed), shots);
    all.iter_mut().enumerate().for_each(|(n, candidate)| change(n, candidate));
    all
}

#[test]
fn a_clock_that_stands_still_is_no_clock() {
    let shots = in_turns(8.0, dial(4.0));
    let still = candidates(&small_session(46), &shots)[0].outcome.as_ref().unwrap().info.capture.at;
    let all = with_infos(&shots, 46, |_, candidate| {
        candidate.outcome.as_mut().unwrap().info.capture.at = still;
    });
    let shoot = sort(all, &Wish::default()).unwrap();
    assert!(!shoot.timed && shoot.cautions.iter().any(|c| c.code() == "no_capture_times"));
    assert_eq!(bare_files(&shoot), BARE_FILES);
    let about = lightloss::measure::About { name: "Planted".into(), ..Default::default() };
    let strength = &lightloss::measure::measure(&shoot, &about).unwrap().settings[0].strength;
    // As sure as with a clock, whose light hardly moves here.
    let timed = measured(&small_session(46), &shots, &Wish::default());
    let with_clock = timed.settings[0].strength.u95.get();
    assert!(strength.u95.get() < 1.5 * with_clock, "{:?} and {with_clock}", strength.u95);
    assert!((strength.stops.get() - 8.0).abs() <= strength.u95.get());
}

#[test]
fn the_number_of_a_copy_is_that_of_its_frame() {
    use lightloss::shoot::order::frame_number;
    for (file, number) in [
        ("P0004 (1).dng", 4),
        ("P0004(12).dng", 4),
        ("IMG_0004 (2).NEF", 4),
        ("(7).dng", 7),
        ("P0004 (b).dng", 4),
        ("roll 2 (5).dng", 2),
    ] {
        assert_eq!(frame_number(file), Some(number), "{file}");
    }
}

fn renamed(candidate: &mut Candidate, name: String) {
    candidate.sha256.clone_from(&name);
    candidate.outcome.as_mut().unwrap().info.file.clone_from(&name);
    candidate.file = name;
}

/// A camera that goes on to its second card counts on, and so do its frames that two cards hold mixed. Two
/// filters that were shot in turns and put into folders look like those: they are never one shoot unasked,
/// least of all a ring's marks.
#[test]
fn frames_of_two_cards_are_one_shoot_where_that_is_said() {
    let shots = in_turns(4.0, dial(0.25));
    let on_cards = |shots: &[Shot], card: fn(usize) -> usize| {
        with_infos(shots, 47, |n, candidate| {
            let name = format!("card{}/{}", card(n), candidate.file);
            renamed(candidate, name);
        })
    };
    let sides = |shoot: &Shoot| (shoot.used(None).count(), shoot.used(Some(0)).count());
    let shoot = sort(on_cards(&shots, |n| 1 + n / 8), &Wish::default()).unwrap();
    assert_eq!(sides(&shoot), (9, 6));
    for card in [|n: usize| 1 + n % 2, |n: usize| 1 + (n / 2) % 2] {
        let (all, asked) = (on_cards(&shots, card), Wish::default());
        let Err(SortError::SeveralFilters { commands, whole, .. }) = sort(all.clone(), &asked)
        else {
            panic!("not refused");
        };
        assert_eq!(commands.len(), 2);
        let (first, last) = (all[0].file.clone(), all[14].file.clone());
        assert_eq!(whole.unwrap(), format!("lightloss measure SHOOT --from {first} --to {last}"));
        let asked = Wish { from: Some(first), to: Some(last), ..Wish::default() };
        assert_eq!(sides(&sort(all, &asked).unwrap()), (9, 6));
    }
    let mut both = [in_turns(4.0, dial(0.25)), in_turns(4.0, dial(0.25))].concat();
    for (n, shot) in both.iter_mut().enumerate() {
        if !shot.filters.is_empty() && (n / 3) % 4 == 3 {
            (shot.filters, shot.time) = (vec![even(7.0)], dial(2.0));
        }
    }
    crate::shooting::numbered(&mut both);
    // Six frames in either folder, in turns: without and through its own filter.
    let found = sort(on_cards(&both, |n| 1 + n / 6 % 2), &Wish::default());
    let Err(SortError::SeveralFilters { commands, whole: None, .. }) = found else {
        panic!("{found:?}");
    };
    assert_eq!(commands.len(), 2);
}

/// Two shoots of one filter with a pause between them, or a clock that was set to summer time within
/// one: a command for all of it is said beside those for each, and measures it.
#[test]
fn what_may_be_one_shoot_is_said_with_a_command_for_all_of_it() {
    let mut shots = in_turns(4.0, dial(0.25));
    shots[6].pause_s = 3600.0;
    let session = small_session(48);
    let Err(SortError::SeveralFilters { commands, whole, .. }) =
        sorted(&session, &shots, &Wish::default())
    else {
        panic!("not refused");
    };
    assert_eq!(commands.len(), 2);
    assert_eq!(whole.unwrap(), "lightloss measure SHOOT --from P0001.dng --to P0015.dng");
    let (from, to) = (Some("P0001.dng".into()), Some("P0015.dng".into()));
    let profile = measured(&session, &shots, &Wish { from, to, ..Wish::default() });
    let strength = &profile.settings[0].strength;
    assert!((strength.stops.get() - 4.0).abs() <= strength.u95.get());
    // Two filters are two shoots.
    for shot in shots[6..].iter_mut().filter(|shot| !shot.filters.is_empty()) {
        (shot.filters, shot.time) = (vec![even(6.0)], dial(1.0));
    }
    let two = sorted(&session, &shots, &Wish::default());
    assert!(matches!(two, Err(SortError::SeveralFilters { whole: None, .. })), "{two:?}");
}

/// A lamp that is dark for a part of its period (dimmed by pulses; IEEE 1789-2015, from memory) is at
/// its full in most of some short bare frames; those that caught the dark part are left out.
#[test]
fn bare_frames_cut_by_a_lamp_s_dark_part_put_its_light_in_doubt() {
    let mut shots = in_turns(10.0, dial(15.0));
    let of = |shots: &[Shot]| measured(&small_session(49), shots, &Wish::default());
    assert!(!says(&of(&shots), "flicker_possible", Grade::Number));
    // One frame by itself is somebody's hand, and two that are as dark are a cloud.
    shots[2].brighter = -2.4;
    assert!(!says(&of(&shots), "flicker_possible", Grade::Number));
    shots[8].brighter = -4.4;
    let profile = of(&shots);
    assert_eq!(profile.filter.kind, Kind::Solid);
    assert!(says(&profile, "flicker_possible", Grade::Number), "{:?}", profile.cautions);
    // Or most caught the dark part, and those that did not are left out.
    (shots[2].brighter, shots[8].brighter) = (0.5, 0.3);
    assert!(says(&of(&shots), "flicker_possible", Grade::Number));
    // What befalls long frames as well is no lamp's.
    shots[4].brighter = -0.8;
    assert!(!says(&of(&shots), "flicker_possible", Grade::Number));
}

/// A person waits for some seconds after a frame, whatever its time; a camera that takes a dark frame of
/// its own is busy for as long as the exposure.
#[test]
fn waiting_for_some_seconds_is_no_noise_reduction() {
    let code = "noise_reduction_suspected";
    let paused = |stops: f64, time: f64, pause: &dyn Fn(usize) -> f64| {
        let mut shots = in_turns(stops, dial(time));
        shots.iter_mut().enumerate().for_each(|(n, shot)| shot.pause_s = pause(n));
        measured(&small_session(50), &shots, &Wish::default())
    };
    // Ten stops at a second are a fortieth of full scale, fourteen at 15 s as well.
    let waited = |n: usize| 1.5 + 0.5 * (n % 4) as f64;
    assert!(!says(&paused(10.0, 1.0, &waited), code, Grade::Note));
    assert!(!says(&paused(14.0, 15.0, &waited), code, Grade::Note));
    // The pause is the one before a frame.
    let busy = |n: usize| if n > 3 && (n - 1) / 3 % 2 == 1 { 16.0 } else { 2.0 };
    assert!(says(&paused(14.0, 15.0, &busy), code, Grade::Note));
}
