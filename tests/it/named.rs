//! Frames that are named on the command line one by one.

#![allow(clippy::unwrap_used)]

use crate::cli::{expect, profile, rendered, run};
use lightloss::write::dng::Compression;
use serde_json::Value;

/// Frames that are named one by one tell their folder: it need not be said again.
#[test]
fn named_frames_need_no_folder() {
    let made = rendered(Compression::None, |_| {});
    let home = made.home.path();
    let bare = ["shoot/P0001.dng", "shoot/P0002.dng", "shoot/P0008.dng"];
    let filtered = ["shoot/P0004.dng", "shoot/P0005.dng"];
    let named = |folder: &[&str], command: &str, last: &[&str]| -> Vec<String> {
        let words = [&[command][..], folder, &["--bare"], &bare, &["--filtered"], &filtered, last];
        words.concat().into_iter().map(str::to_owned).collect()
    };
    let json = ["--format", "json"];
    let (out, _) = expect(&run(home, &named(&[], "measure", &json)), 0);
    let kept = profile(&out);
    let of = &kept["settings"][0]["frames"];
    assert_eq!(of["bare"], serde_json::json!(["P0001.dng", "P0002.dng", "P0008.dng"]));
    assert_eq!(of["filtered"], serde_json::json!(["P0004.dng", "P0005.dng"]));
    assert_eq!(kept["filter"]["name"], "shoot");
    let stops = kept["settings"][0]["strength"]["stops"].as_f64().unwrap();
    assert!((stops - made.planted[1]).abs() <= 0.03, "{stops}");
    // The folder said all the same changes nothing, and neither does the place where it is said.
    assert_eq!(profile(&expect(&run(home, &named(&["shoot"], "measure", &json)), 0).0), kept);
    let (frames, _) = expect(&run(home, &named(&[], "frames", &json)), 0);
    let frames: Value = serde_json::from_str(&frames).unwrap();
    assert_eq!(frames["frames"], kept["frames"]);
    // A time is given to a frame by the same name.
    let (out, _) = expect(
        &run(home, &named(&[], "measure", &["--time", "shoot/P0004.dng=12", "--format", "json"])),
        0,
    );
    let timed = profile(&out);
    let record = |p: &Value| {
        p["frames"].as_array().unwrap().iter().find(|f| f["file"] == "P0004.dng").cloned()
    };
    assert_eq!(record(&timed).unwrap()["exposure_s"], 12.0);
    // Written beside the folder, as ever.
    expect(&run(home, &named(&[], "measure", &[])), 0);
    assert!(home.join("shoot-profile/profile.json").exists());
    let (_, err) = expect(&run(home, &["measure", "--bare", "shoot/P0001.dng"]), 2);
    assert!(err.contains("--bare and --filtered go together"), "{err}");
    let (_, err) = expect(&run(home, &["measure"]), 2);
    assert!(err.contains("SHOOT"), "{err}");
}

/// Flags choose among the frames that shoot.json names; one that is not in the folder is told still.
#[test]
fn frames_named_by_flags_need_not_be_all_that_shoot_json_names() {
    let made = rendered(Compression::None, |_| {});
    let home = made.home.path();
    expect(&run(home, &["frames", "shoot", "--write"]), 0);
    let named = [
        "--bare",
        "shoot/P0001.dng",
        "shoot/P0008.dng",
        "--filtered",
        "shoot/P0004.dng",
        "shoot/P0005.dng",
        "--format",
        "json",
    ];
    for folder in [&["measure"][..], &["measure", "shoot"]] {
        let (out, _) = expect(&run(home, &[folder, &named].concat()), 0);
        let of = &profile(&out)["settings"][0]["frames"];
        assert_eq!(of["filtered"], serde_json::json!(["P0004.dng", "P0005.dng"]));
    }
    std::fs::remove_file(home.join("shoot/P0002.dng")).unwrap();
    let (_, err) = expect(&run(home, &[&["measure"][..], &named].concat()), 3);
    assert!(err.contains("P0002.dng\", which is not in the folder"), "{err}");
}
