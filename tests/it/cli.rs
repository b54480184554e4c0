//! The program as its user runs it: whole folders of files in, documents, summaries and exit
//! statuses out.

#![allow(clippy::unwrap_used, clippy::print_stderr)]

mod across;

use crate::support::program;
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::files::write_all;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};
use lightloss::write::dng::Compression;
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Output;

pub fn run<S: AsRef<std::ffi::OsStr>>(folder: &Path, words: &[S]) -> Output {
    program().current_dir(folder).args(words).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// Status as expected, no panic text, and what was said.
pub fn expect(output: &Output, status: i32) -> (String, String) {
    let (out, err) = (text(&output.stdout), text(&output.stderr));
    for word in ["panicked", "RUST_BACKTRACE", "stack backtrace"] {
        assert!(!err.contains(word) && !out.contains(word), "{err}");
    }
    assert_eq!(output.status.code(), Some(status), "{out}\n{err}");
    (out, err)
}

pub struct Rendered {
    pub home: tempfile::TempDir,
    pub planted: [f64; 3],
}

impl Rendered {
    pub fn shoot(&self) -> PathBuf {
        self.home.path().join("shoot")
    }
}

/// Ten stops, three bare, three filtered, three bare, as DNG files.
pub fn rendered(compression: Compression, change: impl Fn(&mut Vec<Shot>)) -> Rendered {
    let mut camera = Camera::bayer(576, 384);
    camera.shutter.offsets = 0.0;
    let scene = Scene::daylight(27.0, [0.55, 1.0, 0.7]);
    let session = Session::new(camera, Lens::of(50.0), scene, 71);
    let filter = Filter::even([10.2, 10.0, 9.9]);
    let one = std::slice::from_ref(&filter);
    let mut shots = Shot::repeated("P", 1, 3, Time::Dial(1.0 / 60.0), &[]);
    shots.extend(Shot::repeated("P", 4, 3, Time::Dial(15.0), one));
    shots.extend(Shot::repeated("P", 7, 3, Time::Dial(1.0 / 60.0), &[]));
    change(&mut shots);
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("shoot");
    std::fs::create_dir(&folder).unwrap();
    write_all(&session, &session.take(&shots), &folder, compression, false).unwrap();
    Rendered { planted: session.centre_stops(one), home }
}

pub fn profile(json: &str) -> Value {
    let value: Value = serde_json::from_str(json).unwrap();
    let contract: Value = serde_json::from_str(
        &std::fs::read_to_string("fixtures/profile.contract.schema.json").unwrap(),
    )
    .unwrap();
    for schema in [contract, lightloss::profile::json::schema()] {
        let validator = jsonschema::validator_for(&schema).unwrap();
        let faults: Vec<String> = validator.iter_errors(&value).map(|e| e.to_string()).collect();
        assert!(faults.is_empty(), "{faults:?}");
    }
    value
}

#[test]
fn a_folder_dropped_on_the_program_is_measured_and_kept() {
    let made = rendered(Compression::LosslessJpeg, |_| {});
    let home = made.home.path();
    let (out, err) = expect(&run(home, &["shoot"]), 0);
    assert!(out.starts_with("Taken as bare: 6 frames, P0001.dng to P0009.dng"), "{out}");
    let folder = home.canonicalize().unwrap().join("shoot-profile");
    let page = folder.join("report.html");
    assert_eq!(out.lines().last().unwrap(), page.display().to_string());
    assert!(!err.contains("caution"), "{err}");
    assert!(out.lines().all(|line| line.chars().count() <= 80 || line.contains('/')), "{out}");
    let kept = profile(&std::fs::read_to_string(folder.join("profile.json")).unwrap());
    let strength = &kept["settings"][0]["strength"];
    let (stops, u95) = (strength["stops"].as_f64().unwrap(), strength["u95"].as_f64().unwrap());
    assert!((stops - made.planted[1]).abs() <= u95.min(0.02), "{stops} +- {u95}");
    assert!(std::fs::read_dir(folder.join("plots")).unwrap().count() > 0);
    // The same again: nothing that exists is written over.
    let (_, err) = expect(&run(home, &["shoot"]), 3);
    assert!(err.contains("--replace"), "{err}");
    expect(&run(home, &["shoot", "--replace"]), 0);
}

#[test]
fn json_is_the_profile_and_nothing_else() {
    let made = rendered(Compression::None, |_| {});
    let output =
        run(made.home.path(), &["measure", "shoot", "--format", "json", "--rated", "3.0D"]);
    let (out, _) = expect(&output, 0);
    let kept = profile(&out);
    assert!((kept["filter"]["rated_stops"].as_f64().unwrap() - 9.9658).abs() < 1e-4);
    assert!(!made.home.path().join("shoot-profile").exists());
    let (out, _) = expect(&run(made.home.path(), &["frames", "shoot", "--format", "json"]), 0);
    let frames: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(frames["frames"], kept["frames"]);
}

#[test]
fn a_folder_named_bare_is_taken_at_its_word() {
    let made = rendered(Compression::None, |_| {});
    let shoot = made.shoot();
    for (folder, numbers) in [("bare", [1, 2, 3].as_slice()), ("filter", &[4, 5, 6])] {
        std::fs::create_dir(shoot.join(folder)).unwrap();
        for n in numbers {
            let name = format!("P{n:04}.dng");
            std::fs::rename(shoot.join(&name), shoot.join(folder).join(&name)).unwrap();
        }
    }
    let (out, _) = expect(&run(made.home.path(), &["shoot", "--format", "json"]), 0);
    let kept = profile(&out);
    assert_eq!(kept["settings"][0]["frames"]["bare"][0], "bare/P0001.dng");
    let left =
        kept["frames"].as_array().unwrap().iter().find(|f| f["file"] == "P0007.dng").unwrap();
    assert_eq!(left["verdict"]["code"], "not_wanted");
}

#[test]
fn bad_files_are_named_and_the_rest_is_measured() {
    let made = rendered(Compression::None, |_| {});
    let shoot = made.shoot();
    let whole = std::fs::read(shoot.join("P0001.dng")).unwrap();
    std::fs::write(shoot.join("P0020.dng"), &whole[..whole.len() / 2]).unwrap();
    std::fs::write(shoot.join("P0021.dng"), []).unwrap();
    std::fs::write(shoot.join("P0022.dng"), b"a letter to a friend").unwrap();
    std::fs::write(shoot.join("P0001.xmp"), b"<x/>").unwrap();
    std::fs::write(shoot.join("copy.dng"), &whole).unwrap();
    let (out, _) = expect(&run(made.home.path(), &["shoot", "--format", "json"]), 1);
    let kept = profile(&out);
    let code = |file: &str| {
        let frames = kept["frames"].as_array().unwrap();
        let frame = frames.iter().find(|f| f["file"] == file).unwrap();
        frame["verdict"].clone()
    };
    for file in ["P0020.dng", "P0021.dng", "P0022.dng"] {
        assert_eq!(code(file)["code"], "unreadable", "{file}");
        assert!(code(file)["text"].as_str().unwrap().len() > 10, "{file}");
    }
    let twins = [code("copy.dng")["code"].clone(), code("P0001.dng")["code"].clone()];
    assert!(twins.contains(&Value::from("duplicate")), "{twins:?}");
    let stops = kept["settings"][0]["strength"]["stops"].as_f64().unwrap();
    assert!((stops - made.planted[1]).abs() < 0.02);
}

#[test]
fn frames_without_exposure_ask_for_it() {
    let made = rendered(Compression::None, |shots| {
        for shot in shots.iter_mut() {
            shot.time = Time::Bulb(shot.time.set());
        }
    });
    let (_, err) = expect(&run(made.home.path(), &["shoot", "--format", "json"]), 3);
    assert!(err.contains("--time FILE=SECONDS"), "{err}");
}

#[test]
fn frames_are_listed_even_where_nothing_can_be_measured() {
    let made = rendered(Compression::None, |shots| shots.truncate(3));
    let (out, err) = expect(&run(made.home.path(), &["frames", "shoot"]), 3);
    for file in ["P0001.dng", "P0002.dng", "P0003.dng"] {
        let line = out.lines().find(|line| line.contains(file)).unwrap();
        assert!(line.contains("1/60") && line.ends_with("good"), "{line}");
    }
    assert!(err.contains("--bare FILE"), "{err}");
}

#[test]
fn what_frames_writes_is_edited_and_obeyed() {
    let made = rendered(Compression::None, |_| {});
    let (home, shoot) = (made.home.path(), made.shoot());
    expect(&run(home, &["frames", "shoot", "--write"]), 0);
    let path = shoot.join("shoot.json");
    let mut document: Value =
        serde_json::from_str(&std::fs::read_to_string(&path).unwrap()).unwrap();
    assert_eq!(document["frames"].as_array().unwrap().len(), 9);
    assert_eq!(document["frames"][4]["state"], "filtered");
    expect(&run(home, &["frames", "shoot", "--write"]), 3);
    document["frames"][8]["left_out"] = true.into();
    document["filter"]["name"] = "Quay Ten".into();
    document["filter"]["rated"] = serde_json::json!([10.0]);
    document["mood"] = "grey".into();
    std::fs::write(&path, document.to_string()).unwrap();
    let (out, _) = expect(&run(home, &["measure", "shoot", "--format", "json"]), 0);
    let kept = profile(&out);
    assert_eq!(kept["filter"]["name"], "Quay Ten");
    assert_eq!(kept["filter"]["rated_stops"], 10.0);
    assert_eq!(kept["settings"][0]["frames"]["bare"].as_array().unwrap().len(), 5);
    // Flags win.
    let words = ["measure", "shoot", "--format", "json", "--name", "Pier"];
    assert_eq!(profile(&expect(&run(home, &words), 0).0)["filter"]["name"], "Pier");
    // What is not known is kept when it is written again.
    expect(&run(home, &["frames", "shoot", "--write", "--replace"]), 0);
    let again: Value = serde_json::from_str(&std::fs::read_to_string(&path).unwrap()).unwrap();
    assert_eq!(again["mood"], "grey");
    assert_eq!(again["frames"][8]["left_out"], true);
    std::fs::write(&path, "{").unwrap();
    let (_, err) = expect(&run(home, &["measure", "shoot"]), 3);
    assert!(err.contains("shoot.json"), "{err}");
}

#[test]
fn wrong_words_get_one_line_and_status_two() {
    let made = rendered(Compression::None, |_| {});
    for words in [
        &["shoot", "--rated", "ND2"][..],
        &["shoot", "--rated", "nonsense"],
        &["shoot", "--bare", "P0001.dng"],
        &["shoot", "--bare", "P0001.dng", "--filtered", "nowhere.dng"],
        &["shoot", "--time", "P0004.dng"],
        &["shoot", "--time", "P0004.dng=0"],
        &["shoot", "--f", "0"],
        &["measure"],
        &["frobnicate"],
    ] {
        let (out, err) = expect(&run(made.home.path(), words), 2);
        assert!(out.is_empty(), "{out}");
        assert!(!err.trim().is_empty());
    }
    let (_, err) = expect(&run(made.home.path(), &["measure", "nowhere"]), 3);
    assert!(err.contains("does not exist"), "{err}");
    let (_, err) = expect(&run(made.home.path(), &["measure", "shoot/P0001.dng"]), 3);
    assert!(err.contains("is not a folder"), "{err}");
    std::fs::create_dir(made.home.path().join("empty")).unwrap();
    let (_, err) = expect(&run(made.home.path(), &["empty"]), 3);
    assert!(err.contains("no frames"), "{err}");
}

#[test]
fn wrong_words_are_told_what_to_write() {
    let made = rendered(Compression::None, |_| {});
    let wrong: [(&[&str], &str); 7] = [
        (&["--kind=solid", "--rated=2-5"], "write one strength, like --rated 10"),
        (&["--kind=variable", "--rated=5"], "write --rated 2-5"),
        (&["--parts=six,three", "--rated=2-5"], "write one strength, like --rated 10"),
        (&["--rated", "-1"], "\"-1\" is no filter"),
        (&["--marks", "1,,2"], "--marks \"1,,2\" has an empty mark"),
        (&["--focal", "abc"], "a number of millimetres, like 24"),
        (&["--sensor", "1x1"], "--sensor \"1x1\" is not possible"),
    ];
    for (words, told) in wrong {
        let words = [["shoot"].as_slice(), words].concat();
        let (out, err) = expect(&run(made.home.path(), &words), 2);
        assert!(out.is_empty(), "{out}");
        assert!(err.contains(told), "{words:?}: {err}");
    }
}

/// What only the measurement can tell is told when it has.
#[test]
fn a_range_for_one_strength_is_not_used_in_silence() {
    let made = rendered(Compression::None, |_| {});
    let words = ["measure", "shoot", "--rated", "2-5", "--format", "json"];
    let output = run(made.home.path(), &words);
    let profile: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(profile["filter"]["kind"], "solid");
    assert!(profile["filter"]["rated_range_stops"].is_null(), "{}", profile["filter"]);
    let err = text(&output.stderr);
    assert!(err.contains("the rating \"2-5\" was not used") && err.contains("solid"), "{err}");
}

#[test]
fn real_camera_files_are_measured_or_refused_in_plain_words() {
    let Some(folder) = std::env::var_os("LIGHTLOSS_RAW_SAMPLES") else {
        eprintln!("SKIPPED: LIGHTLOSS_RAW_SAMPLES names no folder of real raw files");
        return;
    };
    let output = program().args(["frames", "--format", "json"]).arg(&folder).output().unwrap();
    let status = output.status.code().unwrap();
    // Pictures of all sorts, from several bodies: nothing to measure, each file with its reason.
    let (_, err) = expect(&output, status);
    assert!([1, 3].contains(&status), "{status}");
    if status == 3 {
        assert!(err.lines().any(|line| line.starts_with("lightloss: ")), "{err}");
    }
}

/// Half a stop over the shoot is the most that drifting light does here, stops per minute.
const DRIFT: f64 = -0.03;

/// A flat folder with everything that goes wrong: two clipped bare frames, a buried frame, a cloud.
fn mixed_shoot(camera: Camera, stops: f64) -> (Session, Vec<Shot>, Filter) {
    let bare = if stops > 11.0 { 1.0 / 125.0 } else { 1.0 / 60.0 };
    let through = lightloss::quantity::Seconds::new((bare * stops.exp2()).min(30.0));
    let through = lightloss::exposure::DialTime::nearest(through).unwrap().shown().get();
    let scene = Scene { drift: DRIFT, ..Scene::daylight(0.45 / bare, [0.55, 1.0, 0.7]) };
    let mut session = Session::new(camera, Lens::of(50.0), scene, 83);
    session.camera.shutter.offsets = 0.0;
    let filter = Filter::even([stops + 0.2, stops, stops - 0.1]);
    let one = std::slice::from_ref(&filter);
    let mut shots = Shot::repeated("P", 1, 2, Time::Dial(bare * 4.0), &[]);
    shots.extend(Shot::repeated("P", 3, 3, Time::Dial(bare), &[]));
    shots.extend(Shot::repeated("P", 6, 4, Time::Dial(through), one));
    shots.extend(Shot::repeated("P", 10, 3, Time::Dial(bare), &[]));
    shots[7].brighter = -0.4;
    // Short enough to be lost in black: less than a tenth of a count.
    let lost = (bare * stops.exp2() / 100_000.0).max(1.0 / 32_000.0);
    if stops > 5.0 {
        let lost = lightloss::exposure::DialTime::nearest(lightloss::quantity::Seconds::new(lost));
        let time = lost.map_or(1.0 / 32_000.0, |d| d.shown().get());
        shots.insert(5, Shot::of("P0005b.dng", Time::Dial(time), one.to_vec()));
    }
    (session, shots, filter)
}

#[test]
fn a_flat_folder_of_good_and_bad_frames_needs_no_flag() {
    for (camera, stops) in [
        (Camera::bayer(576, 384), 2.0),
        (Camera::xtrans(576, 384), 6.0),
        (Camera::bayer(576, 384).with_border(25, 17), 10.35),
        (Camera::xtrans(576, 384), 15.0),
    ] {
        let (session, shots, filter) = mixed_shoot(camera, stops);
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("shoot");
        std::fs::create_dir(&folder).unwrap();
        write_all(&session, &session.take(&shots), &folder, Compression::None, false).unwrap();
        let (out, _) = expect(&run(home.path(), &["shoot", "--format", "json"]), 1);
        let kept = profile(&out);
        let planted = session.centre_stops(std::slice::from_ref(&filter));
        let setting = &kept["settings"][0];
        let number = |value: &Value| value.as_f64().unwrap();
        let u95 = number(&setting["strength"]["u95"]);
        let error = number(&setting["strength"]["stops"]) - planted[1];
        assert!(error.abs() <= u95.min(0.02), "{stops}: off by {error:.4}, claimed {u95:.4}");
        assert!(u95 <= 0.08, "{stops}: {u95}");
        for (name, channel) in [("red", 0), ("blue", 2)] {
            let gain = (planted[channel] - planted[1]).exp2();
            let apart = number(&setting["cast"]["gains"][name]) / gain - 1.0;
            assert!(apart.abs() <= 0.005, "{stops}: {name} off by {apart:.5}");
        }
        let code = |file: &str| {
            let frames = kept["frames"].as_array().unwrap();
            frames.iter().find(|f| f["file"] == file).map(|f| f["verdict"]["code"].clone())
        };
        assert_eq!(code("P0001.dng"), Some("clipped".into()), "{stops}");
        assert_eq!(code("P0002.dng"), Some("clipped".into()), "{stops}");
        assert_eq!(code("P0008.dng"), Some("outlier".into()), "{stops}");
        if stops > 5.0 {
            assert_eq!(code("P0005b.dng"), Some("buried_or_capped".into()), "{stops}");
        }
    }
}

/// A plain picture of one grey, given as linear light.
fn grey(path: &Path, linear: f64, encode: impl Fn(f64) -> f64) {
    let value = (encode(linear) * 65_535.0).round() as u16;
    let picture = image::ImageBuffer::from_pixel(320, 240, image::Rgb([value; 3]));
    image::DynamicImage::ImageRgb16(picture).save(path).unwrap();
}

/// IEC 61966-2-1, the encoding of sRGB.
fn srgb(linear: f64) -> f64 {
    if linear <= 0.003_130_8 { 12.92 * linear } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 }
}

#[test]
fn pictures_are_measured_at_a_wider_doubt() {
    for (flag, suffix) in [(None, "png"), (Some("--linear"), "tif")] {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("shoot");
        std::fs::create_dir(&folder).unwrap();
        for (number, linear) in [(1, 0.5), (2, 0.5), (3, 0.125), (4, 0.125), (5, 0.5)] {
            let path = folder.join(format!("S{number:04}.{suffix}"));
            grey(&path, linear, |l| if flag.is_some() { l } else { srgb(l) });
        }
        let mut words = vec!["measure", "shoot", "--format", "json"];
        words.extend(flag);
        // Without exposure data the program asks; on the user's word it goes on.
        let (_, err) = expect(&run(home.path(), &words), 3);
        assert!(err.contains("--same-exposure"), "{err}");
        words.push("--same-exposure");
        let (out, err) = expect(&run(home.path(), &words), 0);
        assert!(err.contains("on your word all were taken as exposed alike"), "{err}");
        let kept = profile(&out);
        let strength = &kept["settings"][0]["strength"];
        let (stops, u95) = (strength["stops"].as_f64().unwrap(), strength["u95"].as_f64().unwrap());
        assert!((stops - 2.0).abs() < 0.01, "{stops}");
        let codes: Vec<&str> = kept["cautions"]
            .as_array()
            .unwrap()
            .iter()
            .map(|c| c["code"].as_str().unwrap())
            .collect();
        assert_eq!(codes.contains(&"not_raw"), flag.is_none(), "{codes:?}");
        assert!(if flag.is_none() { u95 >= 0.15 } else { u95 < 0.05 }, "{u95}");
    }
}
