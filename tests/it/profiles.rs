//! One way in for profiles: every command takes a profile, its folder, or a folder of profiles.

#![allow(clippy::unwrap_used)]

use crate::support::{program, small_shoot};
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
    let output = program().args(words).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
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
