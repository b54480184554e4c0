//! What the words for everything across the frame do on the command line: `--tolerance`, `--sensor`,
//! `--parts`, with right values and wrong ones.

#![allow(clippy::unwrap_used)]

use crate::support::program;
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::files::write_all;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};
use lightloss::write::dng::Compression;
use serde_json::Value;
use std::path::Path;
use std::process::Output;

/// Two strengths add to this, in stops; noise and shutters leave less than the second.
const PARTS: [f64; 2] = [3.0, 4.0];
const STRENGTH: f64 = 0.03;

fn run(folder: &Path, words: &[&str]) -> Output {
    program().current_dir(folder).arg("measure").args(words).output().unwrap()
}

fn profile(folder: &Path, words: &[&str]) -> Value {
    let output = run(folder, &[words, &["--format", "json"]].concat());
    let err = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{words:?}: {err}");
    serde_json::from_slice(&output.stdout).unwrap()
}

/// One line, status 2, and these words in it.
fn refused(folder: &Path, words: &[&str], told: &[&str]) {
    let output = run(folder, words);
    let err = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{words:?}: {err}");
    assert_eq!(err.trim_end().lines().count(), 1, "{words:?}: {err}");
    assert!(told.iter().all(|t| err.contains(t)), "{words:?}: {err}");
    assert!(output.stdout.is_empty());
}

/// Two bare frames, two through each filter, two bare frames, as files in a folder of this name.
fn shoot(home: &Path, name: &str, filters: &[(Vec<Filter>, f64)]) {
    let mut camera = Camera::bayer(576, 384);
    camera.shutter.offsets = 0.0;
    let scene = Scene::daylight(27.0, [0.55, 1.0, 0.7]);
    let session = Session::new(camera, Lens::of(20.0), scene, 81);
    let mut shots = Shot::repeated("A", 1, 2, Time::Dial(1.0 / 60.0), &[]);
    for (stack, time) in filters {
        let next = shots.len() + 1;
        shots.extend(Shot::repeated("A", next, 2, Time::Dial(*time), stack));
    }
    let next = shots.len() + 1;
    shots.extend(Shot::repeated("A", next, 2, Time::Dial(1.0 / 60.0), &[]));
    let folder = home.join(name);
    std::fs::create_dir(&folder).unwrap();
    write_all(&session, &session.take(&shots), &folder, Compression::None, false).unwrap();
}

/// A ring whose marks get more and more uneven.
fn ring(home: &Path) {
    let mark = |axes: f64, time: f64| (vec![Filter::pair([1.5; 3], axes, 40.0, [1e-3; 3])], time);
    shoot(home, "ring", &[mark(20.0, 1.0 / 20.0), mark(60.0, 1.0 / 6.0), mark(75.0, 0.5)]);
}

#[test]
fn the_tolerance_decides_how_far_the_ring_is_turned() {
    let home = tempfile::tempdir().unwrap();
    ring(home.path());
    let usable = |words: &[&str]| {
        let words = [&["ring", "--kind", "variable"], words].concat();
        profile(home.path(), &words)["usable"].clone()
    };
    let spread =
        |p: &Value, k: usize| p["settings"][k]["evenness"]["spread_stops"].as_f64().unwrap();
    let whole = profile(home.path(), &["ring", "--kind", "variable"]);
    let [first, second, third] = [0, 1, 2].map(|k| spread(&whole, k));
    assert!(first < second && second < third, "{first} {second} {third}");
    // just above one mark's spread that mark passes, and the next one ends the range
    for (k, (low, high)) in [(first, second), (second, third)].into_iter().enumerate() {
        let between = format!("{:.4}", f64::midpoint(low, high));
        let found = usable(&["--tolerance", &between]);
        assert_eq!(found["last_mark"], Value::from((k + 1).to_string()), "{between}");
        let said = found["tolerance_stops"].as_f64().unwrap();
        assert!((said - between.parse::<f64>().unwrap()).abs() < 1e-9);
    }
    assert_eq!(usable(&["--tolerance", "30"])["last_mark"], "3");
    // a third of a stop unless something else is said
    for words in [&[] as &[&str], &["--tolerance", "1/3"]] {
        let said = usable(words)["tolerance_stops"].as_f64().unwrap();
        assert!((said - 1.0 / 3.0).abs() < 1e-9, "{said}");
    }
    for wrong in ["0", "-1", "a bit", "1/0", "nan", "inf", "", "65", "1e99", "1e-9"] {
        refused(home.path(), &["ring", "--tolerance", wrong], &["e.g. --tolerance 0.33"]);
    }
}

#[test]
fn the_sensor_is_what_was_said_and_the_profile_says_so() {
    let home = tempfile::tempdir().unwrap();
    ring(home.path());
    let plain = profile(home.path(), &["ring", "--kind", "variable"]);
    let said = profile(home.path(), &["ring", "--kind", "variable", "--sensor", "23.5x15.7"]);
    let sensor = |p: &Value| p["camera"]["sensor_mm"].clone();
    // the simulated camera writes a 35 mm equivalent of 36 x 24 mm
    assert_eq!(sensor(&plain)["source"], "35 mm equivalent in the files");
    assert!((sensor(&plain)["width"].as_f64().unwrap() - 36.0).abs() < 0.1);
    assert_eq!(sensor(&said)["source"], "said with --sensor");
    assert_eq!(sensor(&said)["width"], 23.5);
    assert_eq!(sensor(&said)["height"], 15.7);
    // the same pattern on a smaller sensor is that of a shorter lens: what was fitted lies below
    let focal = |p: &Value| p["polariser_pair"]["focal_length_mm"].as_f64().unwrap();
    assert!(focal(&said) < focal(&plain), "{} {}", focal(&said), focal(&plain));
    let text = run(home.path(), &["ring", "--kind", "variable", "--sensor", "36x24"]);
    let text = String::from_utf8(text.stdout).unwrap();
    assert!(text.contains("36.0 x 24.0 mm: said with --sensor"), "{text}");
    assert!(text.contains("Cast along the ring: "), "{text}");
    for wrong in ["36", "36x", "x24", "36x0", "36x-24", "1000x24", "1x1", "full frame", ""] {
        refused(home.path(), &["ring", "--sensor", wrong], &["e.g. --sensor 36x24"]);
    }
}

/// The cross of a ring tells which lens it was seen through: another one that is said is told, and
/// that the frames contradict it.
#[test]
fn another_lens_than_the_cross_shows_is_told() {
    let home = tempfile::tempdir().unwrap();
    ring(home.path());
    let words = ["ring", "--kind", "variable"];
    let codes = |focal: &[&str]| -> Vec<String> {
        let found = profile(home.path(), &[&words[..], focal].concat());
        let cautions = found["cautions"].as_array().unwrap().iter();
        cautions.map(|c| c["code"].as_str().unwrap().to_owned()).collect()
    };
    let both = ["focal_length_said", "lens_disagrees"];
    for (focal, told) in [("20", [false, false]), ("50", [true, true]), ("14", [true, true])] {
        let codes = codes(&["--focal", focal]);
        assert_eq!(both.map(|code| codes.iter().any(|c| c == code)), told, "{focal}: {codes:?}");
    }
    assert!(!codes(&[]).iter().any(|c| both.contains(&c.as_str())));
}

#[test]
fn a_stack_is_held_against_the_profiles_of_its_parts() {
    let home = tempfile::tempdir().unwrap();
    let even = |stops: f64| Filter::even([stops; 3]);
    shoot(home.path(), "three", &[(vec![even(PARTS[0])], 1.0 / 8.0)]);
    shoot(home.path(), "four", &[(vec![even(PARTS[1])], 0.25)]);
    shoot(home.path(), "both", &[(vec![even(PARTS[0]), even(PARTS[1])], 2.0)]);
    for single in ["three", "four"] {
        let made = run(home.path(), &[single, "--out", &format!("{single}-profile")]);
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    }
    // a folder and a file are both taken, and the kind need not be said
    let parts = "three-profile,four-profile/profile.json";
    let found = profile(home.path(), &["both", "--parts", parts]);
    assert_eq!(found["filter"]["kind"], "stack");
    let stack = &found["stack"];
    assert_eq!(stack["parts"], serde_json::json!(["three", "four"]));
    let stops = |v: &Value| v["stops"].as_f64().unwrap();
    assert!((stops(&stack["predicted"]) - PARTS[0] - PARTS[1]).abs() < STRENGTH);
    assert!(stops(&stack["difference"]).abs() < STRENGTH);

    let example = "e.g. --parts six-profile,three-profile";
    refused(home.path(), &["both", "--parts", "nothere"], &["nothere", example]);
    std::fs::write(home.path().join("letter"), "dear friend").unwrap();
    refused(home.path(), &["both", "--parts", "letter"], &["letter", example]);
    refused(home.path(), &["both", "--kind", "solid", "--parts", parts], &["--kind stack"]);
    ring(home.path());
    let made = run(home.path(), &["ring", "--kind", "variable", "--out", "ring-profile"]);
    assert!(made.status.success());
    refused(home.path(), &["both", "--parts", "ring-profile"], &["3 settings", "one strength"]);
    refused(home.path(), &["both", "--parts", "three-profile"], &["is one filter", example]);
    // What a graduated filter takes of a stack depends on where one looks.
    let edge = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/profiles/moor-edge");
    let parts = format!("{edge},three-profile");
    refused(home.path(), &["both", "--parts", &parts], &["moor-edge", "without --parts"]);
    // More than one by one is not what light past the holder does.
    let parts = "three-profile,two-profile";
    shoot(home.path(), "two", &[(vec![even(2.0)], 1.0 / 15.0)]);
    assert!(run(home.path(), &["two", "--out", "two-profile"]).status.success());
    let found = profile(home.path(), &["both", "--parts", parts]);
    let differs = found["cautions"].as_array().unwrap().iter();
    let text = differs.clone().find(|c| c["code"] == "stack_differs").unwrap()["text"].as_str();
    assert!(text.is_some_and(|t| t.contains("more than") && !t.contains("weaker")), "{text:?}");
}
