//! One way in for profiles: every command takes a profile, its folder, or a folder of profiles.

#![allow(clippy::unwrap_used)]

use crate::support::{program, small_shoot, told};
use serde_json::json;
use std::path::{Path, PathBuf};

/// A folder with these profiles of the fixtures, each in a folder of its own.
fn kit(home: &Path, names: &[&str]) -> PathBuf {
    let kit = home.join(names.join("+"));
    for name in names {
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/kit").join(name);
        std::fs::create_dir_all(kit.join(name)).unwrap();
        std::fs::copy(from.join("profile.json"), kit.join(name).join("profile.json")).unwrap();
    }
    kit
}

fn run(words: &[&str]) -> (i32, String, String) {
    told(program().args(words))
}

#[test]
fn a_folder_of_one_profile_is_that_profile() {
    let home = tempfile::tempdir().unwrap();
    let (ten, six) = (kit(home.path(), &["harbour-ten"]), kit(home.path(), &["quay-six"]));
    let (ten, six) = (ten.to_str().unwrap(), six.to_str().unwrap());
    let (status, out, err) = run(&["report", ten]);
    assert_eq!(status, 0, "{err}");
    assert!(Path::new(out.trim()).ends_with("harbour-ten/report.html"), "{out}");
    let (status, out, err) = run(&["compare", ten, six]);
    assert_eq!(status, 0, "{err}");
    assert!(out.trim().ends_with("quay-six/compare.html"), "{out}");
}

/// Numbers that no filter has, or that contradict each other, are refused with their place; a byte
/// order mark (RFC 8259, section 8.1) is read over, and what was rounded by hand is good.
#[test]
fn a_profile_that_cannot_be_right_is_refused_with_the_place() {
    let home = tempfile::tempdir().unwrap();
    let folder = kit(home.path(), &["harbour-ten"]).join("harbour-ten");
    let path = folder.join("profile.json");
    let whole = std::fs::read_to_string(&path).unwrap();
    let changed = |place: &str, value: serde_json::Value| {
        let mut document: serde_json::Value = serde_json::from_str(&whole).unwrap();
        *document.pointer_mut(place).unwrap() = value;
        std::fs::write(&path, document.to_string()).unwrap();
        let out = home.path().join("refused");
        let asked = ["card", path.to_str().unwrap(), "--out", out.to_str().unwrap(), "--replace"];
        let (status, _, err) = run(&asked);
        (status, err)
    };
    for (place, value, words) in [
        ("/settings/0/strength/u95", json!(-1.0), "settings/0/strength/u95 is -1"),
        ("/settings/0/cast/gains/red", json!(9.0), "settings/0/cast/gains/red is 9"),
        ("/settings/0/strength/stops", json!(12.0), "settings/0/strength/stops is 12"),
        ("/filter/name", json!(" "), "filter/name is \" \""),
    ] {
        let (status, err) = changed(place, value);
        assert!(status != 0 && err.contains(words), "{place}: {status}: {err}");
    }
    let document: serde_json::Value = serde_json::from_str(&whole).unwrap();
    let stops = document["settings"][0]["strength"]["stops"].as_f64().unwrap();
    let out = home.path().join("card");
    let card =
        || run(&["card", path.to_str().unwrap(), "--out", out.to_str().unwrap(), "--replace"]);
    changed("/settings/0/strength/stops", json!((stops * 100.0).round() / 100.0));
    assert_eq!(card().0, 0);
    std::fs::write(&path, format!("\u{feff}{whole}")).unwrap();
    let (status, _, err) = card();
    assert_eq!(status, 0, "{err}");
}

#[test]
fn where_one_is_needed_and_several_are_found_they_are_named() {
    let home = tempfile::tempdir().unwrap();
    let both = kit(home.path(), &["harbour-ten", "quay-six"]);
    let both = both.to_str().unwrap();
    for words in [["report", both].as_slice(), &["compare", both, both]] {
        let (status, _, err) = run(words);
        assert_eq!(status, 2, "{err}");
        for word in ["holds 2 profiles", "harbour-ten", "quay-six"] {
            assert!(err.contains(word), "{err}");
        }
        assert_eq!(err.lines().count(), 1, "{err}");
    }
}

#[test]
fn a_folder_of_profiles_is_a_kit_for_every_command_that_takes_several() {
    let home = tempfile::tempdir().unwrap();
    let both = kit(home.path(), &["harbour-ten", "weir-three"]);
    let both = both.to_str().unwrap();
    let photos = home.path().join("photos");
    small_shoot(&photos);
    let photos = photos.to_str().unwrap();
    let card = home.path().join("card");
    let (status, out, err) = run(&["card", both, "--out", card.to_str().unwrap()]);
    assert!(status == 0 && out.contains("Weir Three"), "{out}{err}");
    let (status, out, err) = run(&["choose", both, "--metered", "1/15", "--want", "30s..2m"]);
    assert!(status == 0 && out.contains("Harbour Ten"), "{out}{err}");
    let (status, out, err) = run(&["which", photos, "--profile", both]);
    assert!(status == 0 && out.contains("of 6 photographs known"), "{out}{err}");
    let words = ["correct", photos, "--profile", both, "--white", "5500", "--gains-only"];
    // A wall in full light was not made through either: said by the profiles, so they were read.
    let (_, out, err) = run(&words);
    assert!(err.contains("cannot have been made through the filter"), "{out}{err}");
    let words = ["measure", photos, "--parts", both, "--name", "Both", "--format", "json"];
    let (status, out, err) = run(&words);
    assert!(status == 0 && out.contains("\"Harbour Ten\""), "{out}{err}");
}
