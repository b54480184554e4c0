//! A card as it comes out of the camera: plans obeyed, several shoots told apart, checks of the
//! light, habits that spoil.

#![allow(clippy::unwrap_used)]

use crate::shooting::{measured, sorted};
use lightloss::exposure::{parse_rating, parse_time};
use lightloss::field::plan::light::BareLevel;
use lightloss::field::plan::{Plan, Request};
use lightloss::profile::{Grade, Kind, Profile};
use lightloss::shoot::{Label, SortError, Wish};
use lightloss::shoot_file::{NamedFrame, ShootFile, ShotState};
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::filter::{Filter, Leak, Polarised};
use lightloss::simulate::motif::Motif;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};

const LIGHT: [f64; 3] = [0.55, 1.0, 0.7];

fn session(level: f64, seed: u64) -> Session {
    let mut camera = Camera::bayer(1152, 768);
    camera.shutter.offsets = 0.0;
    Session::new(camera, Lens::of(50.0), Scene::daylight(level, LIGHT), seed)
}

fn sandwich(first: usize, filtered: f64, filter: &Filter) -> Vec<Shot> {
    let mut shots = Shot::repeated("P", first, 3, Time::Dial(1.0 / 60.0), &[]);
    let one = std::slice::from_ref(filter);
    shots.extend(Shot::repeated("P", first + 3, 3, Time::Dial(filtered), one));
    shots.extend(Shot::repeated("P", first + 6, 3, Time::Dial(1.0 / 60.0), &[]));
    shots
}

fn codes(profile: &Profile) -> Vec<(&str, Grade)> {
    let all = profile.cautions.iter().chain(profile.settings.iter().flat_map(|s| &s.cautions));
    all.map(|c| (c.code.as_str(), c.grade)).collect()
}

fn plan(kind: Kind, rated: &str, marks: &[&str]) -> Plan {
    Plan::of(Request {
        kind,
        rating: Some(parse_rating(rated).unwrap()),
        metered: Some(parse_time("1/60").unwrap()),
        marks: marks.iter().map(|m| (*m).to_owned()).collect(),
        name: None,
        slot: false,
        focal: Vec::new(),
    })
    .unwrap()
}

/// Somebody who obeys the plan: its states, counts and times.
fn obeying(plan: &ShootFile, filter_at: impl Fn(Option<&str>) -> Filter) -> Vec<Shot> {
    let mut shots = Vec::new();
    for shot in &plan.planned {
        let filters = match shot.state {
            ShotState::Bare => Vec::new(),
            ShotState::Dark | ShotState::Leak => vec![Filter::opaque(None)],
            _ => vec![filter_at(shot.mark.as_deref())],
        };
        let seconds = parse_time(&shot.dial_time).unwrap().seconds().get();
        let on_dial =
            lightloss::exposure::DialTime::showing(lightloss::quantity::Seconds::new(seconds));
        let time = if on_dial.is_some() { Time::Dial(seconds) } else { Time::Timer(seconds) };
        let first = shots.len() + 1;
        shots.extend(Shot::repeated("P", first, shot.count as usize, time, &filters));
    }
    shots
}

/// The wall meters at 1/60 for the usual eighth of full scale; the plan exposes for more.
fn metered(plan: &ShootFile, seed: u64) -> Session {
    session(0.45 / bare_s(plan), seed)
}

/// Time of a plan's bare frames, seconds.
fn bare_s(plan: &ShootFile) -> f64 {
    parse_time(&plan.planned[0].dial_time).unwrap().seconds().get()
}

/// The first setting's strength is the planted one within its uncertainty, which is at most so large.
fn assert_good(profile: &Profile, session: &Session, filter: &Filter, most_u95_stops: f64) {
    let strength = &profile.settings[0].strength;
    let error = strength.stops.get() - session.centre_stops(std::slice::from_ref(filter))[1];
    let u95 = strength.u95.get();
    assert!(error.abs() <= u95 && u95 <= most_u95_stops, "off by {error}: {strength:?}");
}

fn wish_of(file: &ShootFile) -> Wish {
    Wish { kind: file.filter.kind, planned: file.planned.clone(), ..Wish::default() }
}

#[test]
fn a_plan_that_is_obeyed_measures_without_a_word_or_a_doubt() {
    for (rated, stops) in [("3", 3.2), ("6", 6.1), ("10", 10.35)] {
        let file = plan(Kind::Solid, rated, &[]).shoot_file();
        let file = ShootFile::parse(&file.to_text().unwrap()).unwrap();
        let filter = Filter::even([stops + 0.2, stops, stops - 0.1]);
        let session = metered(&file, 7);
        let shots = obeying(&file, |_| filter.clone());
        let profile = measured(&session, &shots, &wish_of(&file));
        let strength = &profile.settings[0].strength;
        let error = strength.stops.get() - session.centre_stops(&[filter])[1];
        assert!(error.abs() <= strength.u95.get().min(0.02), "{rated}: off by {error:.4}");
        let grave: Vec<_> = codes(&profile).into_iter().filter(|c| c.1 == Grade::Number).collect();
        assert!(grave.is_empty(), "{rated}: {grave:?}");
    }
}

/// The same with something else in the filter's place where the plan asks for a bridge.
fn obeying_with_bridge(file: &ShootFile, filter: &Filter, bridge: &Filter) -> Vec<Shot> {
    let mut shots = obeying(file, |_| filter.clone());
    let of_bridge = file
        .planned
        .iter()
        .flat_map(|shot| std::iter::repeat_n(shot.state == ShotState::Bridge, shot.count as usize));
    for (shot, _) in shots.iter_mut().zip(of_bridge).filter(|(_, is_bridge)| *is_bridge) {
        shot.filters = vec![bridge.clone()];
    }
    shots
}

/// A bridge of half of this is so dark that black levels weigh most: u95 was 0.017 before bare and dimmed
/// frames at a shorter time told them.
#[test]
fn a_plan_of_fifteen_stops_is_good_to_a_hundredth_and_a_half() {
    let file = plan(Kind::Solid, "15", &[]).shoot_file();
    let filter = Filter::even([15.1, 14.9, 14.8]);
    // Of as many pixels as cameras have.
    let mut session = metered(&file, 11);
    session.camera = Camera::bayer(4608, 3072);
    session.camera.shutter.offsets = 0.0;
    let shots = obeying_with_bridge(&file, &filter, &Filter::even([7.3, 7.2, 7.1]));
    // Without the document the nearly black frames of the bridge are known by their neighbours.
    for wish in [wish_of(&file), Wish::default()] {
        let profile = measured(&session, &shots, &wish);
        assert_eq!(profile.settings.len(), 1);
        assert_good(&profile, &session, &filter, 0.015);
    }
}

/// Both times of a bridge hold a bright frame against a dim one, so that a sensor's line counts twice: bare frames of a
/// quarter of full scale halve that. By hand: at the time that is 8 stops longer a quarter behind 17 stops is eight
/// counts of 16384, behind 18 stops (8.5 longer) less than six, too few.
#[test]
fn strong_filters_are_planned_from_a_quarter_of_full_scale() {
    let level = |rated: &str| plan(Kind::Solid, rated, &[]).light.level;
    assert_eq!(["3", "7", "18", "20"].map(level), [BareLevel::Half; 4]);
    assert_eq!(["8", "10", "15", "17"].map(level), [BareLevel::Quarter; 4]);
}

#[test]
fn plans_of_fifteen_stops_and_more_use_the_filter_s_nearly_black_frames() {
    // A third of a stop too dim, and too strong, at the bridge's time: 0.2 x 16384 x 128 / 2^15.35 is ten counts,
    // 0.4 x 16384 x 362 / 2^18.35 seven, which only the plan's document tells from a filter of its own.
    for (rated, level, strength, bridge, without_document) in
        [("15", 0.2, 15.35, 7.8, true), ("18", 0.4, 18.35, 9.2, false)]
    {
        let even = |stops: f64| Filter::even([stops + 0.15, stops, stops - 0.05]);
        let filter = even(strength);
        let file = plan(Kind::Solid, rated, &[]).shoot_file();
        let mut session = session(level / bare_s(&file), 13);
        session.camera = Camera::bayer(4608, 3072);
        let shots = obeying_with_bridge(&file, &filter, &even(bridge));
        let wishes = [Some(wish_of(&file)), without_document.then(Wish::default)];
        for wish in wishes.into_iter().flatten() {
            let profile = measured(&session, &shots, &wish);
            assert_eq!(profile.settings.len(), 1, "{rated}: {:?}", profile.cautions);
            assert_good(&profile, &session, &filter, 0.015);
        }
    }
}

/// The bridge may be the aperture, closed for its frames alone: from f/4 to f/22 are five stops on the
/// markings of ISO 517, here as the figure and not as the stop that it stands for (0.08 stop less), and it
/// comes back otherwise by a tenth (common practice, no source): no number may show either.
#[test]
fn a_smaller_aperture_is_a_bridge_however_it_misses_its_marking() {
    const MISSED: f64 = 0.1;
    let file = plan(Kind::Solid, "10", &[]).shoot_file();
    let filter = Filter::even([10.4, 10.2, 10.1]);
    // The session's level is that of f/8.
    let session = session(0.45 / bare_s(&file) / 4.0, 12);
    let mut shots = obeying_with_bridge(&file, &filter, &Filter::even([0.0; 3]));
    let states = file.planned.iter().flat_map(|s| std::iter::repeat_n(s.state, s.count as usize));
    let states: Vec<ShotState> = states.collect();
    let first = states.iter().position(|state| *state == ShotState::Bridge).unwrap();
    for (i, (shot, state)) in shots.iter_mut().zip(&states).enumerate() {
        shot.f_number = if *state == ShotState::Bridge { 22.0 } else { 4.0 };
        // Opened again it is not quite where it was.
        shot.brighter = if i > first && *state != ShotState::Bridge { MISSED } else { 0.0 };
    }
    // The advice to add such frames is given where there is no plan, too.
    let unplanned = measured(&session, &shots, &Wish::default());
    assert_good(&unplanned, &session, &filter, f64::INFINITY);
    assert_eq!(unplanned.settings.len(), 1);
    let profile = measured(&session, &shots, &wish_of(&file));
    let said = codes(&profile);
    let doubted = ["plan_not_followed", "aperture_changed"];
    assert!(!said.iter().any(|(code, _)| doubted.contains(code)), "{said:?}");
    assert_good(&profile, &session, &filter, 0.03);
}

#[test]
fn a_plan_holds_where_long_dark_frames_are_not_black() {
    let file = plan(Kind::Solid, "10", &[]).shoot_file();
    let filter = Filter::even([10.4, 10.2, 10.1]);
    let bridge = Filter::even([4.3, 4.2, 4.1]);
    let mut session = metered(&file, 8);
    // Fifteen counts after the minute that the filter takes.
    session.camera.dark_rate = 15.0 / session.camera.gain / 60.0;
    let shots = obeying_with_bridge(&file, &filter, &bridge);
    let profile = measured(&session, &shots, &wish_of(&file));
    let said = codes(&profile);
    assert!(!said.iter().any(|(code, _)| *code == "plan_not_followed"), "{said:?}");
    assert_good(&profile, &session, &filter, 0.015);
}

fn ring_filter(mark: Option<&str>) -> Filter {
    let stops: f64 = mark.unwrap().parse().unwrap();
    Filter::even([stops + 0.1, stops, stops - 0.1])
}

#[test]
fn a_ring_goes_up_and_back_as_planned_and_backwards_too() {
    let file = plan(Kind::Variable, "2-5", &["2", "3", "4", "5"]).shoot_file();
    let session = metered(&file, 9);
    let mut shots = obeying(&file, ring_filter);
    let profile = measured(&session, &shots, &wish_of(&file));
    let marks_hold = |profile: &Profile| {
        assert_eq!(profile.settings.len(), 4);
        for setting in &profile.settings {
            let planted: f64 = setting.mark.as_deref().unwrap().parse().unwrap();
            let error = setting.strength.stops.get() - planted;
            assert!(error.abs() <= setting.strength.u95.get(), "{planted}: off by {error:.4}");
        }
    };
    let check = |profile: &Profile| {
        marks_hold(profile);
        for setting in &profile.settings {
            // Bare frames stand between the way up and the way back.
            let repeat = setting.ring_repeat_stops.as_ref();
            assert!(repeat.is_some_and(|r| r.value.get() < 0.02 + r.u95.get()), "{repeat:?}");
        }
    };
    check(&profile);
    assert!(!codes(&profile).iter().any(|c| c.1 == Grade::Number), "{:?}", codes(&profile));
    // From the strong end and back: levels tell, whatever the plan said.
    let runs: Vec<Shot> = shots.iter().filter(|s| !s.filters.is_empty()).cloned().collect();
    let mirrored = |stops: f64| runs.iter().find(|s| s.filters[0].stops[1] == 7.0 - stops).unwrap();
    let turned: Vec<Shot> = shots
        .iter()
        .map(|s| match s.filters.first() {
            Some(f) if s.file != shots[30].file && f.stops[1] < 7.0 => {
                let other = mirrored(f.stops[1]);
                Shot { filters: other.filters.clone(), time: other.time, ..s.clone() }
            }
            _ => s.clone(),
        })
        .collect();
    let profile = measured(&session, &turned, &wish_of(&file));
    check(&profile);
    assert!(codes(&profile).iter().any(|c| c.0 == "shot_backwards"));
    // A frame too few: the plan is a guide, its marks still fit, and a note says what is missing.
    shots.pop();
    let profile = measured(&session, &shots, &wish_of(&file));
    marks_hold(&profile);
    let note = profile.cautions.iter().find(|c| c.code == "plan_not_followed").unwrap();
    assert!(note.grade == Grade::Note && note.text.contains("asks for 37 frames"), "{note:?}");
}

#[test]
fn pictures_beside_a_planned_shoot_do_not_upset_it() {
    let file = plan(Kind::Solid, "6", &[]).shoot_file();
    let session = metered(&file, 11);
    let filter = Filter::even([6.1, 6.0, 5.9]);
    let mut shots = obeying(&file, |_| filter.clone());
    for (at, motif) in [(0, Motif::Garden), (5, Motif::Cat)] {
        let mut other = Shot::of(&format!("Q{at:04}.dng"), Time::Dial(bare_s(&file)), Vec::new());
        other.motif = motif;
        shots.insert(at, other);
    }
    let shoot = sorted(&session, &shots, &wish_of(&file)).unwrap();
    assert!(!shoot.has_faults());
    // Swapped by hand in the plan: the frames are sorted by what they show, and the first mismatch
    // is named.
    let mut wrong = file.clone();
    wrong.planned.swap(0, 1);
    let shoot = sorted(&session, &shots, &wish_of(&wrong)).unwrap();
    let planned = |state: ShotState| -> usize {
        file.planned.iter().filter(|s| s.state == state).map(|s| s.count as usize).sum()
    };
    assert_eq!(shoot.used(None).count(), planned(ShotState::Bare));
    assert_eq!(shoot.used(Some(0)).count(), planned(ShotState::Filtered));
    let note = shoot.cautions.iter().find(|c| c.code() == "plan_not_followed").unwrap().text();
    assert!(note.contains("P0001.dng") && note.contains("should be"), "{note}");
}

#[test]
fn polarised_light_and_light_past_the_filter_are_told_by_their_checks() {
    let mut lit = session(27.0, 13);
    lit.scene.polarised = Some(Polarised { degree: 0.1, angle: 0.0 });
    let pair = |turn: f64| Filter::pair([1.5; 3], 40.0, 10.0 + turn, [1e-3; 3]);
    let mut shots = sandwich(1, 1.0 / 15.0, &pair(0.0));
    shots.insert(6, Shot::of("C.dng", Time::Dial(1.0 / 15.0), vec![pair(90.0)]));
    let with = |label: Label| Wish {
        kind: Some(Kind::Variable),
        labels: [("C.dng".to_owned(), label)].into(),
        ..Wish::default()
    };
    let profile = measured(&lit, &shots, &with(Label::LightCheck(None)));
    assert!(codes(&profile).contains(&("light_polarised", Grade::Number)), "{profile:?}");
    lit.scene.polarised = None;
    let profile = measured(&lit, &shots, &with(Label::LightCheck(None)));
    assert!(!codes(&profile).iter().any(|c| c.0 == "light_polarised"));

    let dark = session(27.0, 17);
    let leak = Leak { share: 1e-4, lean: 0.0, angle: 0.0 };
    let tight = Filter::even([10.1, 10.0, 9.9]);
    let leaky = Filter { leak: Some(leak), ..tight.clone() };
    let mut shots = sandwich(1, 15.0, &leaky);
    shots.insert(6, Shot::of("C.dng", Time::Dial(15.0), vec![tight.clone()]));
    let cloth = |label| Wish { kind: Some(Kind::Solid), ..with(label) };
    let profile = measured(&dark, &shots, &cloth(Label::Cloth(None)));
    assert!(codes(&profile).contains(&("light_past_filter", Grade::Number)));
    // The same light seen by a leak frame is taken out.
    shots[6].filters = vec![Filter::opaque(Some(leak))];
    let profile = measured(&dark, &shots, &cloth(Label::Leak));
    let strength = &profile.settings[0].strength;
    let error = strength.stops.get() - dark.centre_stops(&[tight])[1];
    assert!(error.abs() <= strength.u95.get(), "off by {error:.4}");
    assert!(error.abs() < 0.03, "off by {error:.4}");
    // Found in a flat folder too, and said.
    let profile = measured(&dark, &shots, &Wish::default());
    assert!(codes(&profile).contains(&("leak_assumed", Grade::Number)));
    let again = profile.settings[0].strength.stops.get();
    assert!((again - strength.stops.get()).abs() < 1e-6);
}

#[test]
fn two_shoots_on_one_card_are_refused_with_a_command_each() {
    let session = session(27.0, 19);
    let (ten, six) = (Filter::even([10.1, 10.0, 9.9]), Filter::even([6.1, 6.0, 5.9]));
    let mut shots = sandwich(1, 15.0, &ten);
    let one = std::slice::from_ref(&six);
    shots.extend(Shot::repeated("P", 10, 3, Time::Dial(1.0), one));
    shots.extend(Shot::repeated("P", 13, 3, Time::Dial(1.0 / 60.0), &[]));
    let commands = |shots: &[Shot]| match sorted(&session, shots, &Wish::default()) {
        Err(SortError::SeveralFilters { commands, .. }) => commands,
        other => panic!("{other:?}"),
    };
    assert_eq!(
        commands(&shots),
        [
            "lightloss measure SHOOT --from P0001.dng --to P0009.dng",
            "lightloss measure SHOOT --from P0007.dng --to P0015.dng"
        ]
    );
    // Each command measures its filter.
    for (from, to, filter) in [("P0001.dng", "P0009.dng", &ten), ("P0007.dng", "P0015.dng", &six)] {
        let wish = Wish { from: Some(from.into()), to: Some(to.into()), ..Wish::default() };
        let profile = measured(&session, &shots, &wish);
        let strength = &profile.settings[0].strength;
        let planted = session.centre_stops(std::slice::from_ref(filter))[1];
        assert!((strength.stops.get() - planted).abs() <= strength.u95.get());
    }
    // An hour between them, each with its own bare frames.
    let mut later = sandwich(1, 15.0, &ten);
    later.extend(sandwich(10, 1.0, &six));
    later[9].pause_s = 3600.0;
    assert_eq!(
        commands(&later),
        [
            "lightloss measure SHOOT --from P0001.dng --to P0009.dng",
            "lightloss measure SHOOT --from P0010.dng --to P0018.dng"
        ]
    );
    // Frames of another day beside one shoot are no fault.
    let mut stray = sandwich(1, 15.0, &ten);
    stray.extend(Shot::repeated("P", 10, 4, Time::Dial(1.0 / 60.0), &[]));
    stray[9].pause_s = 7200.0;
    let shoot = sorted(&session, &stray, &Wish::default()).unwrap();
    assert!(!shoot.has_faults());
    assert_eq!(shoot.used(None).count(), 6);
    // Each in a folder of its own below the one that was given.
    for (i, shot) in later.iter_mut().enumerate() {
        shot.file = format!("{}/{}", if i < 9 { "harbour ten" } else { "quay" }, shot.file);
    }
    assert_eq!(
        commands(&later),
        ["lightloss measure \"SHOOT/harbour ten\"", "lightloss measure SHOOT/quay"]
    );
}

#[test]
fn named_frames_read_back_with_all_that_was_written() {
    let text = r#"{"schema":"lightloss-shoot/1","filter":{"kind":"solid","shop":"Quay"},
        "times":"exact","sensor":"36x24","focal":24,"weather":"grey",
        "frames":[{"file":"P1.dng","state":"bare","time":"1/15","f_number":8,"iso":100,
        "note":"hazy","left_out":true,"mood":3},{"file":"P2.dng","time":128}]}"#;
    let file = ShootFile::parse(text).unwrap();
    assert_eq!(file.frames[1].time.as_ref().unwrap().seconds().unwrap().get(), 128.0);
    let seconds = file.frames[0].time.as_ref().unwrap().seconds().unwrap().get();
    assert!((seconds - 1.0 / 15.0).abs() < 1e-12);
    let again: serde_json::Value = serde_json::from_str(&file.to_text().unwrap()).unwrap();
    assert_eq!(again["weather"], "grey");
    assert_eq!(again["filter"]["shop"], "Quay");
    assert_eq!(again["frames"][0]["mood"], 3);
    assert_eq!(again["frames"][0]["note"], "hazy");
    assert_eq!(again["frames"][1].get("state"), None);
    let named = NamedFrame { file: "P3.dng".into(), ..NamedFrame::default() };
    assert_eq!(serde_json::to_string(&named).unwrap(), r#"{"file":"P3.dng"}"#);
}
