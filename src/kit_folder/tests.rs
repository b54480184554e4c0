//! A kit on a real disk.

use super::*;
use crate::kit::kept::Listing;
use std::fs;

fn fixture(name: &str) -> Document {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/kit").join(name).join(PROFILE);
    Document::parse(&fs::read_to_string(path).unwrap()).unwrap()
}

/// The same measurement with one frame through the filter, of this day.
fn again(document: &Document, day: &str) -> Document {
    let mut value = document.value.clone();
    value["frames"] = serde_json::json!([{
        "file": "A.dng",
        "sha256": format!("hash of {day}"),
        "state": "setting",
        "captured_at": format!("{day}T10:00:00+02:00"),
        "verdict": { "code": "ok", "text": "through the filter" },
    }]);
    Document::parse(&value.to_string()).unwrap()
}

/// Every file of a folder, relative.
fn files(root: &Path) -> Vec<String> {
    let mut found = Vec::new();
    let mut waiting = vec![root.to_owned()];
    while let Some(folder) = waiting.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                waiting.push(path);
            } else {
                found.push(path.strip_prefix(root).unwrap().display().to_string());
            }
        }
    }
    found.sort();
    found
}

fn kit() -> (tempfile::TempDir, KitFolder) {
    let home = tempfile::tempdir().unwrap();
    let kit = KitFolder::at(home.path().join("kit"));
    (home, kit)
}

#[test]
fn the_same_name_is_the_same_filter_and_nothing_is_kept_twice() {
    let (_home, kit) = kit();
    assert_eq!(kit.list().unwrap(), Listing::default());
    let ten = fixture("harbour-ten");
    let first = again(&ten, "2026-10-11");
    let kept = kit.keep(&first, &[("report.html".into(), "page".to_owned())], false).unwrap();
    assert!(matches!(kept, KeptAs::First(_)));
    assert!(matches!(kit.keep(&first, &[], false).unwrap(), KeptAs::Already(_)));
    // Other capitals and spaces: the same filter.
    let later = named(&again(&ten, "2031-10-12"), "HARBOUR  ten").unwrap();
    assert!(matches!(kit.keep(&later, &[], false).unwrap(), KeptAs::Again(_)));
    // Twice on one day.
    let mut other = again(&ten, "2031-10-12").value;
    other["frames"][0]["sha256"] = "x".into();
    let other = Document::parse(&other.to_string()).unwrap();
    kit.keep(&other, &[], false).unwrap();
    assert_eq!(
        files(kit.root()),
        [
            "harbour-ten/2026-10-11/profile.json",
            "harbour-ten/2026-10-11/report.html",
            "harbour-ten/2031-10-12-2/profile.json",
            "harbour-ten/2031-10-12/profile.json",
        ]
    );
    let listing = kit.list().unwrap();
    assert_eq!(listing.filters.len(), 1);
    let filter = listing.find("harbour ten").unwrap();
    let days: Vec<String> =
        filter.measurements.iter().map(|m| m.at.unwrap().date().to_string()).collect();
    assert_eq!(days, ["2026-10-11", "2031-10-12", "2031-10-12"]);
}

#[test]
fn the_kept_profile_is_the_given_one_to_the_byte_and_keeps_unknown_fields() {
    let (_home, kit) = kit();
    let given = again(&fixture("quay-six"), "2026-10-11");
    let written = crate::profile::json::to_text(&given.profile).unwrap();
    let mut value = given.value;
    value["filter"]["bought_at"] = "the pier".into();
    let document = Document::parse(&value.to_string()).unwrap();
    let kept = kit.keep(&document, &[], false).unwrap();
    let renamed = kit.rename("quay six", "Quay Six B").unwrap();
    let text = fs::read_to_string(&renamed[0].path).unwrap();
    assert!(text.contains("\"bought_at\": \"the pier\"") && text.contains("\"Quay Six B\""));
    assert!(
        !kept.path().exists() && renamed[0].path.ends_with("quay-six-b/2026-10-11/profile.json"),
        "{:?}",
        renamed[0].path
    );
    // What the document does not hold is not made up.
    let own = written.replace("hash of 2026-10-11", "hash of another day");
    let kept = kit.keep(&Document::parse(&own).unwrap(), &[], false).unwrap();
    assert_eq!(fs::read_to_string(kept.path()).unwrap(), own);
}

/// Two filters that are alike to the last digit could never be told apart in a photograph.
#[test]
fn frames_of_one_shoot_are_one_measurement_under_any_name() {
    let (_home, kit) = kit();
    let ten = again(&fixture("harbour-ten"), "2026-10-11");
    kit.keep(&ten, &[], false).unwrap();
    let other = named(&ten, "Harbour Ten B").unwrap();
    for replace in [false, true] {
        let refused = kit.keep(&other, &[], replace).unwrap_err();
        assert!(matches!(refused, KitError::SameFramesElsewhere { .. }), "{refused}");
        assert!(refused.to_string().contains("--name \"Harbour Ten\""), "{refused}");
    }
    // Laid there by hand they do not become two measurements of one filter either.
    let by_hand = kit.root().join("harbour-ten-b/2026-10-11/profile.json");
    fs::create_dir_all(by_hand.parent().unwrap()).unwrap();
    fs::write(&by_hand, crate::profile::json::to_text(&other.profile).unwrap()).unwrap();
    let refused = kit.merge("Harbour Ten B", "Harbour Ten").unwrap_err();
    assert!(matches!(refused, KitError::SameFramesTwice { .. }), "{refused}");
    assert_eq!(files(kit.root()).len(), 2);
}

#[test]
fn the_same_frames_are_not_counted_twice() {
    let (_home, kit) = kit();
    let first = again(&fixture("harbour-ten"), "2026-10-11");
    kit.keep(&first, &[], false).unwrap();
    let mut value = first.value.clone();
    value["settings"][0]["strength"]["u95"] = 0.5.into();
    let better = Document::parse(&value.to_string()).unwrap();
    let refused = kit.keep(&better, &[], false).unwrap_err();
    assert!(matches!(refused, KitError::SameFrames { .. }), "{refused}");
    assert!(matches!(kit.keep(&better, &[], true).unwrap(), KeptAs::Replaced(_)));
    let listing = kit.list().unwrap();
    assert_eq!(listing.filters[0].measurements.len(), 1);
    assert_eq!(listing.filters[0].newest().profile().settings[0].strength.u95.get(), 0.5);
}

#[test]
fn another_kind_of_the_same_name_is_refused() {
    let (_home, kit) = kit();
    kit.keep(&fixture("harbour-ten"), &[], false).unwrap();
    let ring = named(&fixture("tide-ring"), "Harbour Ten").unwrap();
    let refused = kit.keep(&ring, &[], false).unwrap_err();
    assert!(matches!(refused, KitError::OtherKind { .. }), "{refused}");
    let refused = kit.rename("Harbour Ten", " \n").unwrap_err();
    assert!(matches!(refused, KitError::NoName), "{refused}");
}

#[test]
fn two_names_become_one_filter_and_a_retired_one_comes_back() {
    let (_home, kit) = kit();
    let ten = fixture("harbour-ten");
    kit.keep(&again(&ten, "2026-10-11"), &[], false).unwrap();
    let other = named(&again(&ten, "2028-01-02"), "Ten of the harbour").unwrap();
    kit.keep(&other, &[], false).unwrap();
    let refused = kit.rename("harbour ten", "ten of the harbour").unwrap_err();
    assert!(matches!(refused, KitError::NameTaken { .. }), "{refused}");
    kit.merge("ten of the harbour", "harbour ten").unwrap();
    let places = ["harbour-ten/2026-10-11/profile.json", "harbour-ten/2028-01-02/profile.json"];
    assert_eq!(files(kit.root()), places);
    assert_eq!(kit.list().unwrap().filters.len(), 1);
    assert!(!kit.root().join("ten-of-the-harbour").exists());
    kit.retire("Harbour Ten").unwrap();
    assert_eq!(files(kit.root()), places.map(|place| format!("retired/{place}")));
    assert_eq!(kit.list().unwrap().in_use().count(), 0);
    kit.bring_back("Harbour Ten").unwrap();
    assert_eq!(files(kit.root()), places);
    // Measured again, a retired filter is in the bag with its whole history.
    kit.retire("Harbour Ten").unwrap();
    kit.keep(&again(&ten, "2031-03-04"), &[], false).unwrap();
    let listing = kit.list().unwrap();
    assert_eq!(listing.in_use().next().unwrap().measurements.len(), 3);
    let refused = kit.retire("Nowhere").unwrap_err();
    assert!(refused.to_string().contains("it holds \"Harbour Ten\""), "{refused}");
}

#[test]
fn odd_names_get_folders_of_their_own() {
    let (_home, kit) = kit();
    let names = ["Retired", "../up", "a/b", "A b", "\u{5e7}\u{5dc}\u{5e2}", "con.", "***", "!!!"];
    for (n, name) in names.iter().enumerate() {
        let day = format!("2026-10-{:02}", n + 1);
        let document = named(&again(&fixture("harbour-ten"), &day), name).unwrap();
        kit.keep(&document, &[], false).unwrap();
    }
    let listing = kit.list().unwrap();
    assert_eq!(listing.filters.len(), names.len());
    let mut folders: Vec<String> =
        files(kit.root()).iter().map(|f| f.split('/').next().unwrap().to_owned()).collect();
    folders.sort();
    let expected =
        ["a-b", "a-b-2", "con", "filter", "filter-2", "retired-2", "up", "\u{5e7}\u{5dc}\u{5e2}"];
    assert_eq!(folders, expected);
    for name in names {
        assert!(!listing.find(name).unwrap().retired(), "{name}");
    }
}

#[test]
fn what_is_damaged_is_named_and_stops_nothing() {
    let (_home, kit) = kit();
    kit.keep(&again(&fixture("harbour-ten"), "2026-10-11"), &[], false).unwrap();
    let bad = kit.root().join("harbour-ten/2030-01-01");
    fs::create_dir_all(&bad).unwrap();
    fs::write(bad.join(PROFILE), "{ half").unwrap();
    fs::create_dir_all(kit.root().join("odd/2030-01-01").join(PROFILE)).unwrap();
    fs::write(kit.root().join("a file"), "x").unwrap();
    let listing = kit.list().unwrap();
    assert_eq!(listing.filters.len(), 1);
    assert_eq!(listing.damaged.len(), 2, "{:?}", listing.damaged);
    assert!(listing.damaged[0].reason.contains("not a readable profile"));
    // The folder that it lies in does not follow a new name.
    kit.rename("harbour ten", "Other").unwrap();
    assert!(bad.join(PROFILE).exists());
}

#[test]
fn the_day_is_the_folders_where_it_names_one() {
    let (_home, kit) = kit();
    kit.keep(&again(&fixture("harbour-ten"), "1980-01-01"), &[], false).unwrap();
    let folder = kit.root().join("harbour-ten");
    fs::rename(folder.join("1980-01-01"), folder.join("2026-05-06 in the garden")).unwrap();
    let at = kit.list().unwrap().filters[0].newest().at.unwrap();
    assert_eq!(at.to_string(), "2026-05-06T00:00:00");
}

#[test]
fn a_kit_that_is_no_folder_is_said() {
    let home = tempfile::tempdir().unwrap();
    let file = home.path().join("kit");
    fs::write(&file, "x").unwrap();
    let kit = KitFolder::at(file.clone());
    assert!(matches!(kit.list().unwrap_err(), KitError::Unread { .. }));
    let refused = kit.keep(&fixture("quay-six"), &[], false).unwrap_err();
    assert!(matches!(refused, KitError::NoFolder { .. }), "{refused}");
    assert_eq!(fs::read(file).unwrap(), b"x");
}
