//! Camera records: a planted body is found again, and every wrong wall is refused with what to do.

#![allow(clippy::unwrap_used)]

mod faults;
mod lamps;

use crate::shooting::{candidates, drawn};
use crate::support::Person;
use lightloss::body_record::BodyRecord;
use lightloss::exposure::parse_time;
use lightloss::field::wall_plan::{EACH, WallPlan};
use lightloss::measure::camera::{CameraError, camera};
use lightloss::measure::{About, measure};
use lightloss::profile::Profile;
use lightloss::quantity::Percent;
use lightloss::shoot::{Wish, sort};
use lightloss::simulate::camera::Time;
use lightloss::simulate::files::write_all;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::session::{Session, Shot, Taken};
use lightloss::write::dng::Compression;
use lightloss_planted::published_body::BODY_SECONDS;
use lightloss_planted::small_session;
use lightloss_planted::wall::{LEVELS, session, shots};
use serde_json::Value;
use std::path::Path;

const SIZE: (usize, usize) = (640, 448);

pub fn made(session: &Session, shots: &[Shot]) -> Result<BodyRecord, CameraError> {
    camera(candidates(session, shots))
}

/// Of each time of a record: how far it lies from what the shutter did, and its u95, stops.
pub fn errors(record: &BodyRecord, taken: &[Taken]) -> Vec<(f64, f64)> {
    let open =
        |shown: f64| taken.iter().find(|t| t.shot.time.set() == shown).map(|t| t.open_s).unwrap();
    let reference = record.reference().unwrap();
    let truth = |shown: f64| (open(shown) / open(reference.shown_s.get())).log2();
    record
        .times
        .list
        .iter()
        .filter(|t| t.dial != record.times.reference)
        .map(|t| {
            let found = (t.true_s.get() / reference.true_s.get()).log2();
            (found - truth(t.shown_s.get()), t.u95_stops.get())
        })
        .collect()
}

#[test]
fn planted_times_are_found_within_u95() {
    let (mut inside, mut all, mut widest) = (0, 0, 0.0_f64);
    for seed in [3, 4] {
        let session = session(SIZE, 2.0, seed);
        let taken = session.take(&shots(&LEVELS, 1));
        let record = camera(drawn(&session, &taken)).unwrap();
        assert_eq!(record.frames.light_levels, 3);
        assert_eq!(record.times.list.len(), 34, "1/500 to 4 s in thirds");
        for (error, u95) in errors(&record, &taken) {
            all += 1;
            inside += u32::from(error.abs() <= u95);
            widest = widest.max(u95);
        }
        assert!(record.times.as_shown < 0.05, "{}", record.times.as_shown);
    }
    assert!(f64::from(inside) >= 0.9 * f64::from(all), "{inside} of {all} within u95");
    assert!(widest < 0.012, "{widest}");
}

/// Of 22 times that err by 0.02 stop each a slope is known to 0.0016 stop per stop at best, of which
/// the furthest time has seven stops: 0.022 with u95's two, beside 0.008 of noise and light.
const WALL_U95: f64 = 0.024;

/// What the plan of a wall orders makes a record: nothing is left out, every time of the plan is in
/// it, and known well enough for an hour's work.
#[test]
fn the_planned_wall_makes_a_record_of_all_its_times() {
    let plan = WallPlan::of(None, Some(parse_time("4s").unwrap())).unwrap();
    let mut all: Vec<Shot> = Vec::new();
    let mut add = |time: f64, brighter: f64| {
        let file = format!("W{:04}.dng", all.len() + 1);
        let shot = Shot::of(&file, Time::Dial(time), Vec::new());
        all.push(Shot { f_number: 2.8, brighter, ..shot });
    };
    let dark = |add: &mut dyn FnMut(f64, f64)| {
        for time in &plan.darks {
            (0..EACH).for_each(|_| add(time.shown().get(), -40.0));
        }
    };
    dark(&mut add);
    // at f/2.8 and 1/15 s the planted wall fills 60 % of the scale
    let mut opened = 4.0 + plan.levels[0].times[0].true_time().get().log2();
    assert!((opened + 1.0).abs() < 1e-9, "the plan begins at 1/30");
    for level in &plan.levels {
        opened += f64::from(level.closed_thirds) / 3.0;
        for time in level.times.iter().chain(level.times.iter().rev()) {
            (0..EACH).for_each(|_| add(time.shown().get(), -opened));
        }
    }
    dark(&mut add);
    // As with one lamp.
    assert_eq!(all.len() as u32, plan.frames() - plan.lamp_frames());
    let session = session(SIZE, 2.0, 17);
    let record = made(&session, &all).unwrap();
    assert!(record.frames.left_out.is_empty(), "{:?}", record.frames.left_out);
    assert_eq!(record.frames.light_levels as usize, plan.levels.len());
    for time in plan.levels.iter().flat_map(|l| &l.times) {
        let at = record.at(time.shown()).unwrap_or_else(|| panic!("{} s is missing", time.text()));
        let u95 = record.times.list[at].u95_stops.get();
        assert!(u95 <= WALL_U95, "{} s: {u95}", time.text());
    }
}

/// EMVA 1288, photon transfer: variance = gain mean + read noise, so that the planted 0.25 counts per
/// electron and 3 electrons come out; and the planted dark current as creep (0.05 electrons a second
/// and what hot pixels leave).
#[test]
fn noise_and_black_are_those_of_the_planted_sensor() {
    let session = session((1920, 1280), 0.0, 11);
    let record = made(&session, &shots(&LEVELS, 2)).unwrap();
    let noise = record.noise.unwrap();
    let (found, u95) = (noise.electrons_per_count, noise.u95_electrons_per_count);
    assert!((found - 4.0).abs() < u95 && u95 < 0.4, "{found} +- {u95}");
    let (read, u95) = (noise.read_noise_electrons, noise.u95_read_noise_electrons.unwrap());
    assert!((read - 3.0).abs() <= u95 && u95 < 0.6, "{read} +- {u95}");
    let full = session.camera.full_electrons();
    assert!((noise.full_scale_electrons / full - 1.0).abs() < 0.1, "{full}");
    assert!((record.black.counts.get() - 512.0).abs() < 0.5, "{}", record.black.counts.get());
    let creep = record.black.creep.unwrap();
    assert!((0.0..0.05).contains(&creep.counts_per_s), "{}", creep.counts_per_s);
    // A sensor of the simulation is straight.
    let line = record.linearity.unwrap();
    assert!(line.largest_percent.get() < 0.2, "{}", line.largest_percent.get());
    for p in &line.points {
        assert!(p.deviation_percent.get().abs() <= p.u95_percent.get() + 0.05, "{p:?}");
    }
}

/// Frames of which all but one pair are one and the same picture tell no noise: what a photon is worth
/// is not kept then, and it is said what to shoot.
#[test]
fn a_noise_that_no_pairs_tell_is_not_kept() {
    let session = session(SIZE, 1.0, 5);
    let shots = shots(&LEVELS, 1);
    let mut all = candidates(&session, &shots);
    for later in 1..all.len() {
        let alike = |s: &Shot| (s.time, s.f_number) == (shots[later].time, shots[later].f_number);
        let Some(first) = shots[..later].iter().position(alike).filter(|first| *first > 0) else {
            continue;
        };
        let Ok(picture) = all[first].outcome.clone() else { continue };
        if let Ok(own) = &mut all[later].outcome {
            own.cells = picture.cells;
        }
    }
    let record = camera(all).unwrap();
    assert_eq!(record.noise, None);
    let told = record.cautions.iter().find(|c| c.code == "no_noise").unwrap();
    assert!(told.text.contains("each time twice"), "{}", told.text);
    // What the planted wall tells is kept, and warned of by nothing.
    let record = made(&session, &shots).unwrap();
    assert!(record.noise.is_some() && record.cautions.iter().all(|c| c.code != "no_noise"));
}

fn refused(shots: &[Shot]) -> CameraError {
    made(&session(SIZE, 1.0, 5), shots).unwrap_err()
}

pub fn says(error: &CameraError, words: &[&str]) {
    let text = error.to_string();
    for word in words {
        assert!(text.contains(word), "{word:?} is not in: {text}");
    }
}

#[test]
fn walls_that_make_no_record_are_refused_with_what_to_do() {
    let one_time: Vec<Shot> =
        shots(&LEVELS, 1).into_iter().filter(|s| s.time.set() == 1.0 / 60.0).collect();
    says(&refused(&one_time), &["all 4 frames", "1/60", "thirds of a stop"]);
    says(&refused(&shots(&LEVELS[..1], 1)), &["one light level", "1/500", "1/15", "three stops"]);
    // a filter's shoot: bare at 1/60, filtered at 1/2, nothing shared
    let mut filter: Vec<Shot> = Vec::new();
    for (n, (time, brighter)) in
        [(1.0 / 60.0, 0.0), (0.5, -5.0), (1.0 / 60.0, 0.0)].into_iter().enumerate()
    {
        for k in 0..3 {
            let shot = Shot::of(&format!("F{n}{k}.dng"), Time::Dial(time), Vec::new());
            filter.push(Shot { brighter, f_number: 4.0, ..shot });
        }
    }
    says(
        &refused(&filter),
        &["not all light levels share times", "1/60 s alone", "0.5 s alone", "lightloss measure"],
    );
    // Three lights, two of them at one time: that is told once, and every time has its unit.
    for shot in filter.iter_mut().filter(|s| s.file.starts_with("F2")) {
        shot.brighter = -1.5;
    }
    says(&refused(&filter), &["2 have 1/60 s alone; one has 0.5 s alone"]);
    let few: Vec<Shot> = shots(&LEVELS, 1)
        .into_iter()
        .filter(|s| [1.0 / 60.0, 1.0 / 50.0, 1.0 / 40.0].contains(&s.time.set()))
        .collect();
    says(&refused(&few), &["only 3 times", "1/60 s, 1/50 s, 1/40 s", "4 at least"]);
    let bright = |s: Shot| Shot { brighter: s.brighter + 6.0, ..s };
    let clipped: Vec<Shot> = shots(&LEVELS[..2], 1)
        .into_iter()
        .filter(|s| s.brighter > -9.0)
        .map(bright)
        .take(8)
        .collect();
    says(&refused(&clipped), &["none of the 8 frames", "8 clipped", "W0001.dng", "80 %"]);
    let mut n = 0.0;
    let unsteady: Vec<Shot> = shots(&LEVELS, 1)
        .into_iter()
        .map(|s| {
            n += 1.0;
            Shot { brighter: s.brighter + 0.11 * f64::sin(7.0 * n * n), ..s }
        })
        .collect();
    says(
        &refused(&unsteady),
        &["no better than without a record", "one on the mains flickers", "up the dial"],
    );
    says(&camera(Vec::new()).unwrap_err(), &["no frame could be read"]);
}

#[test]
fn bodies_are_told_apart_and_those_without_a_number_are_told() {
    let (first, mut second) = (session(SIZE, 1.0, 5), session(SIZE, 1.0, 6));
    second.camera.serial = Some("K2-00999".into());
    let taken = first.take(&shots(&LEVELS, 1));
    let mut mixed = drawn(&first, &taken);
    let mut stray = Shot::of("STRAY.dng", Time::Dial(1.0 / 60.0), Vec::new());
    stray.f_number = 4.0;
    mixed.extend(drawn(&second, &second.take(&[stray])));
    let error = camera(mixed).unwrap_err();
    says(&error, &["2 bodies", "K2-00417", "K2-00999 (1 frame, such as \"STRAY.dng\")", "folder"]);
    second.camera.serial = None;
    let record = made(&second, &shots(&LEVELS, 1)).unwrap();
    let told = record.cautions.iter().find(|c| c.code == "no_serial").unwrap();
    assert!(told.text.contains("Kelmora Two") && told.text.contains("--without-record"));
    let mut unnamed = drawn(&first, &taken);
    for candidate in &mut unnamed {
        if let Ok(summary) = &mut candidate.outcome {
            summary.info.camera.model = None;
            summary.info.camera.serial = None;
        }
    }
    says(&camera(unnamed).unwrap_err(), &["tell no camera", "W0001.dng"]);
    let mut labelled = drawn(&first, &taken);
    for (n, candidate) in labelled.iter_mut().enumerate() {
        candidate.file = format!("{}/{}", if n < 40 { "bare" } else { "filter" }, candidate.file);
    }
    says(&camera(labelled).unwrap_err(), &["filter/W0041.dng", "through a filter", "bare wall"]);
}

#[test]
fn what_is_clipped_or_odd_is_left_out_by_name_and_the_rest_is_used() {
    let session = session(SIZE, 1.0, 5);
    let mut all = shots(&LEVELS, 1);
    all[0].brighter = 1.5;
    all[20].iso = 200.0;
    all[40].brighter = -0.6;
    let record = made(&session, &all).unwrap();
    let why = |file: &str| {
        let found = record.frames.left_out.iter().find(|l| l.file == file);
        found.map(|l| l.reason.clone()).unwrap_or_default()
    };
    assert!(why("W0001.dng").contains("clipped"), "{}", why("W0001.dng"));
    assert!(why("W0021.dng").contains("ISO 200 and not 100"), "{}", why("W0021.dng"));
    // a cloud is a light level of its own and harms nothing
    let inside = errors(&record, &session.take(&all)).iter().filter(|(e, u)| e.abs() <= *u).count();
    assert!(inside >= 31, "{inside} of 33");
}

#[test]
fn records_come_back_as_they_were_and_damaged_ones_are_refused() {
    let record = made(&session(SIZE, 1.0, 5), &shots(&LEVELS, 1)).unwrap();
    let text = record.to_text().unwrap();
    assert_eq!(BodyRecord::parse(&text).unwrap(), record);
    let own = jsonschema::validator_for(&lightloss::body_record::json::schema()).unwrap();
    assert!(own.is_valid(&serde_json::from_str(&text).unwrap()));
    let broken = |from: &str, to: &str| {
        assert!(text.contains(from), "{from}");
        BodyRecord::parse(&text.replacen(from, to, 1)).unwrap_err().to_string()
    };
    assert!(broken("lightloss-camera/1", "lightloss-camera/2").contains("lightloss-camera/2"));
    assert!(broken("\"reference\": \"1/8\"", "\"reference\": \"1/9\"").contains("1/9"));
    let shown = format!("\"shown_s\": {}", record.times.list[3].shown_s.get());
    assert!(broken(&shown, "\"shown_s\": 77.0").contains("77 s"));
    assert!(broken("{", "").contains("camera record"));
    let mut twisted = record.clone();
    twisted.times.covariance[5][0] = 1.0;
    assert!(twisted.to_text().unwrap_err().to_string().contains("covariance"));
    // What the levels would be taken off by: no share, a level that is not there, points that do not rise.
    for (level, off) in [(0.0, 0.0), (f64::NAN, 0.0), (99.0, 0.0), (1.0, -200.0)] {
        let mut twisted = record.clone();
        let first = &mut twisted.linearity.as_mut().unwrap().points[0];
        (first.level_percent, first.deviation_percent) = (Percent::new(level), Percent::new(off));
        let why = twisted.to_text().unwrap_err().to_string();
        assert!(why.contains("linearity"), "{level} {off}: {why}");
    }
}

/// Somebody with a wall in files.
fn with_wall(errs: f64) -> Person {
    let person = Person::new();
    let session = session(small_session::SIZE, errs, 29);
    let taken = session.take(&shots(&LEVELS[..2], 1));
    let wall = person.home.path().join("wall");
    write_all(&session, &taken, &wall, Compression::None, false).unwrap();
    person
}

#[test]
fn a_record_is_kept_told_and_replaced_only_where_asked() {
    let person = with_wall(1.0);
    let (status, out, err) = person.run(&["camera", "wall"]);
    assert_eq!(status, 0, "{out}{err}");
    let file = "kit/camera-records/kelmora-two-serial-number-k2-00417.json";
    for said in
        ["Camera record of Kelmora Two, serial number K2-00417", "+-", file, "powers of two"]
    {
        assert!(out.contains(said), "{said:?} is not in {out}");
    }
    assert!(out.lines().all(|l| l.chars().count() <= 79 || l.contains(file)), "{out}");
    let path = person.home.path().join(file);
    let kept = std::fs::read_to_string(&path).unwrap();
    BodyRecord::parse(&kept).unwrap();
    let page = std::fs::read_to_string(path.with_extension("html")).unwrap();
    assert!(out.trim_end().ends_with(".html"), "{out}");
    for said in
        ["Kelmora Two, serial number K2-00417", "powers of two", "1/15", "EMVA 1288", "<svg"]
    {
        assert!(page.contains(said), "{said:?} is not on the page");
    }
    let (status, _, err) = person.run(&["camera", "wall"]);
    assert!(status == 2 && err.contains("K2-00417") && err.contains("--replace"), "{err}");
    let (status, out, err) = person.run(&["camera", "wall", "--replace", "--format", "json"]);
    assert!(status == 0 && BodyRecord::parse(&out).is_ok(), "{out}{err}");
    // a kit with a record in it holds no filter
    let (status, out, err) = person.run(&["kit"]);
    assert!(status == 0 && out.contains("No filter is kept yet"), "{out}{err}");
    assert!(
        out.contains("Kelmora Two, serial number K2-00417: 25 times from 1/500 to 0.5 s"),
        "{out}"
    );
    // its page is written again, byte for byte
    std::fs::write(path.with_extension("html"), "").unwrap();
    let (status, out, err) = person.run(&["report", file]);
    assert!(status == 0 && out.trim_end().ends_with(".html"), "{out}{err}");
    assert_eq!(std::fs::read_to_string(path.with_extension("html")).unwrap(), page);
    // somebody's own page is not written over
    std::fs::copy(&path, person.home.path().join("mine.json")).unwrap();
    std::fs::write(person.home.path().join("mine.html"), "notes of my own").unwrap();
    let (status, _, err) = person.run(&["report", "mine.json"]);
    assert!(status == 3 && err.contains("mine.html is there"), "{err}");
    let mine = std::fs::read_to_string(person.home.path().join("mine.html")).unwrap();
    assert_eq!(mine, "notes of my own");
    // a kit without a filter has that one page
    let (status, out, err) = person.run(&["report"]);
    assert!(status == 0 && out.lines().count() == 1 && out.contains("kelmora"), "{out}{err}");
    std::fs::write(&path, kept.replace("camera/1", "camera/7")).unwrap();
    let (status, out, err) = person.run(&["report", file]);
    assert!(status == 3 && err.contains("lightloss-camera/7"), "{out}{err}");
    let (status, _, err) = person.run(&["kit"]);
    assert!(status == 1 && err.contains("lightloss-camera/7"), "{err}");
    std::fs::create_dir(person.home.path().join("empty")).unwrap();
    let (status, _, err) = person.run(&["camera", "empty"]);
    assert!(
        status == 3 && err.contains("no frames in \"empty\"") && err.contains("--help"),
        "{err}"
    );
    let (status, out, err) =
        person.run(&["plan", "--camera", "--metered", "1/500", "--out", "plan"]);
    assert_eq!(status, 0, "{out}{err}");
    let page = std::fs::read_to_string(person.home.path().join("plan/wall-plan.html")).unwrap();
    for said in ["2/3 stop darker than your reading", "1/60", "30 s", "from a battery"] {
        let told = out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(told.contains(said) && page.contains(said), "{said:?} is not in {out}");
    }
    assert!(out.lines().all(|l| l.chars().count() <= 79), "{out}");
    // Every frame has a box to tick off, two of them one.
    let boxes = page.matches("<li><span class=\"box\">").count();
    assert!(page.contains(&format!("<h1>Camera record: {} frames", 2 * boxes)), "{boxes}: {page}");
    for wrong in [
        &["--camera", "--rated", "10"][..],
        &["--camera", "--longest", "2m"],
        &["--kind", "solid", "--rated", "3", "--longest", "8s"],
        &[],
    ] {
        let (status, _, err) = person.run(&[&["plan"], wrong].concat());
        assert!(status == 2 && err.contains("--"), "{err}");
    }
    let (_, help, _) = person.run(&["camera", "--help"]);
    assert!(help.contains("close the aperture by three stops"), "{help}");
}

#[test]
fn a_measured_body_is_found_again() {
    let mut session = session(SIZE, 0.0, 8);
    session.scene.level = 0.14;
    let all = shots(&[(8.0, 4.0), (22.0, 30.0)], 1);
    let mut taken = session.take(&all);
    for t in &mut taken {
        let shown = t.shot.time.set();
        let known = BODY_SECONDS.iter().find(|(dial, _)| *dial == shown);
        t.open_s = known.map_or(1.03 * t.open_s, |(_, open)| *open);
    }
    let record = camera(drawn(&session, &taken)).unwrap();
    assert!(record.times.as_shown < 0.01, "powers of two, 3 % long: {}", record.times.as_shown);
    let found = errors(&record, &taken);
    let inside = found.iter().filter(|(e, u)| e.abs() <= *u).count();
    assert!(inside + 2 >= found.len(), "{inside} of {}", found.len());
    let of = |shown: f64| record.times.list.iter().find(|t| t.shown_s.get() == shown).unwrap();
    let ratio = of(30.0).true_s.get() / of(15.0).true_s.get();
    assert!((ratio / (32.0 / 16.5) - 1.0).abs() < 0.005, "{ratio}");
}

pub fn filter_shoot(stops: f64, bare: f64, filtered: f64) -> Vec<Shot> {
    let glass = [Filter::even([stops, stops, stops])];
    let mut all = Shot::repeated("P", 1, 3, Time::Dial(bare), &[]);
    all.extend(Shot::repeated("P", 4, 3, Time::Dial(filtered), &glass));
    all.extend(Shot::repeated("P", 7, 3, Time::Dial(bare), &[]));
    all
}

pub fn measured(session: &Session, shots: &[Shot], record: Option<&BodyRecord>) -> Profile {
    let shoot = sort(candidates(session, shots), &Wish::default()).unwrap();
    let about = About { name: "Six".into(), camera_record: record.cloned(), ..About::default() };
    measure(&shoot, &about).unwrap()
}

#[test]
fn a_shoot_of_a_known_body_is_measured_by_its_true_times() {
    const STOPS: f64 = 6.0;
    for seed in [21, 22] {
        // a shutter that errs by 3 % a time, and files that do not tell what it aims at
        let mut body = session(SIZE, 4.0, seed);
        body.camera.shutter.writes_apex = false;
        let record = made(&body, &shots(&LEVELS, 1)).unwrap();
        body.scene.level = 25.0;
        let frames = filter_shoot(STOPS, 1.0 / 60.0, 1.0);
        let with = measured(&body, &frames, Some(&record));
        let without = measured(&body, &frames, None);
        let strength =
            |p: &Profile| (p.settings[0].strength.stops.get(), p.settings[0].strength.u95.get());
        let ((value, u95), (_, wide)) = (strength(&with), strength(&without));
        assert!((value - STOPS).abs() < 0.02 && (value - STOPS).abs() <= u95, "{value} +- {u95}");
        // Of so few times that err by 0.04 stop each no frame tells what a sensor that is not straight
        // makes of six stops: 0.002 stop of each.
        assert!(u95 < 0.025 && wide > 0.04, "{u95} with, {wide} without");
        let told = with.shutter_record.as_ref().unwrap();
        assert_eq!(told.times_known, ["1/60", "1"]);
        assert!(told.times_not_known.is_empty());
        assert!((told.u95_without_stops[0].get() - wide).abs() < 1e-9);
        let note = with.cautions.iter().find(|c| c.code == "camera_record_used").unwrap();
        for word in ["1/60, 1", "2026-04-18", &format!("{u95:.3}"), &format!("{wide:.3}")] {
            assert!(note.text.contains(word), "{word:?} is not in: {}", note.text);
        }
        assert!(without.shutter_record.is_none());
        assert!(!with.settings[0].cautions.iter().any(|c| c.code == "dial_times_ambiguous"));
        // true times stand in the table of frames
        let open = body.take(&frames)[3].open_s / body.take(&frames)[0].open_s;
        let true_s = |n: usize| with.frames[n].exposure_s.unwrap().get();
        assert!((true_s(3) / true_s(0) / open - 1.0).abs() < 0.005);
    }
}

#[test]
fn times_that_a_record_lacks_are_taken_as_before() {
    let mut body = session(SIZE, 4.0, 24);
    body.camera.shutter.writes_apex = false;
    let record = made(&body, &shots(&LEVELS, 1)).unwrap();
    // 8 s is not in the record: nothing is won, and that is told
    body.scene.level = 25.0;
    let half = measured(&body, &filter_shoot(9.0, 1.0 / 60.0, 8.0), Some(&record));
    let told = half.shutter_record.unwrap();
    assert_eq!(
        (told.times_known, told.times_not_known),
        (vec!["1/60".to_owned()], vec!["8".to_owned()])
    );
    let (with, without) = (half.settings[0].strength.u95.get(), told.u95_without_stops[0].get());
    assert!(with > 0.6 * without, "{with} with, {without} without");
    // neither time is in it: the very same numbers
    body.scene.level = 400.0;
    let frames = filter_shoot(13.0, 1.0 / 1000.0, 8.0);
    let (mut none, plain) =
        (measured(&body, &frames, Some(&record)), measured(&body, &frames, None));
    assert!(none.cautions.iter().any(|c| c.code == "camera_record_of_other_times"));
    none.cautions.retain(|c| c.code != "camera_record_of_other_times");
    none.shutter_record = None;
    assert_eq!(none, plain);
}

#[test]
fn measure_takes_the_record_up_and_says_so() {
    let person = with_wall(3.0);
    let mut session = session(small_session::SIZE, 3.0, 29);
    session.camera.shutter.writes_apex = false;
    session.scene.level = 25.0;
    let shoot = person.home.path().join("six");
    let taken = session.take(&filter_shoot(4.0, 1.0 / 60.0, 0.25));
    write_all(&session, &taken, &shoot, Compression::None, false).unwrap();
    let json = ["measure", "six", "--format", "json"];
    let (_, before, _) = person.run(&json);
    assert_eq!(person.run(&["camera", "wall"]).0, 0);
    let (status, with, err) = person.run(&json);
    assert_eq!(status, 0, "{err}");
    let value: Value = serde_json::from_str(&with).unwrap();
    let contract = std::fs::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/profile.contract.schema.json"),
    );
    let contract: Value = serde_json::from_str(&contract.unwrap()).unwrap();
    for schema in [contract, lightloss::profile::json::schema()] {
        let faults: Vec<String> = jsonschema::validator_for(&schema)
            .unwrap()
            .iter_errors(&value)
            .map(|e| e.to_string())
            .collect();
        assert!(faults.is_empty(), "{faults:?}");
    }
    let u95 = |v: &Value| v["settings"][0]["strength"]["u95"].as_f64().unwrap();
    let told = value["shutter_record"]["u95_without_stops"][0].as_f64().unwrap();
    assert!(u95(&value) < 0.5 * told, "{value}");
    let words: Vec<&str> = json.into_iter().chain(["--without-record"]).collect();
    let (_, without, _) = person.run(&words);
    assert_eq!(without, before, "as if there were no record");
    let (_, frames, _) = person.run(&["frames", "six", "--format", "json"]);
    let frames: Value = serde_json::from_str(&frames).unwrap();
    assert_eq!(frames["frames"], value["frames"]);
    let (_, out, _) = person.run(&["measure", "six", "--out", "out"]);
    assert!(
        out.contains("camera record of 2026-04-18") && out.contains("--without-record"),
        "{out}"
    );
    let page = std::fs::read_to_string(person.home.path().join("out/report.html")).unwrap();
    assert!(page.contains("camera record of 2026-04-18"));
    // a damaged record is named and stops nothing
    let records = person.home.path().join("kit/camera-records");
    for entry in std::fs::read_dir(&records).unwrap() {
        std::fs::write(entry.unwrap().path(), "{ half").unwrap();
    }
    let (status, damaged, err) = person.run(&json);
    assert!(status == 0 && damaged == before, "{err}");
    assert!(err.contains("camera-records") && err.contains("measured without it"), "{err}");
}
