//! Filters go from the window into the kit.

use crate::support::{program, small_shoot};
use lightloss_test_files::window::Window;
use serde_json::json;
use std::path::Path;

/// Kept once it is in the kit as the command line has it; other numbers of the same frames take its
/// place only when asked for; renamed and retired as the command does it.
#[test]
fn a_filter_is_kept_listed_renamed_and_retired() {
    let home = tempfile::tempdir().unwrap();
    let (folder, kit) = (home.path().join("cove-six"), home.path().join("kit"));
    small_shoot(&folder);
    let program = Path::new(env!("CARGO_BIN_EXE_lightloss"));
    let window = Window::with_kit(program, Some(&folder), &kit);
    window.sheet();
    assert_eq!(window.get("/kit/state").json()["filters"], json!([]));
    assert!(!kit.exists(), "looking makes no kit");
    let said = window.done("/keep", json!({}));
    assert!(said.as_str().unwrap().starts_with("Kept cove-six"), "{said}");
    let state = window.get("/kit/state").json();
    let filter = &state["filters"][0];
    assert_eq!((&filter["name"], &filter["times"]), (&json!("cove-six"), &json!(1)));
    // The number is the sheet's.
    assert_eq!(filter["takes"], window.sheet()["number"]);
    let kept: Vec<_> = walk(&kit).into_iter().filter(|p| p.ends_with("profile.json")).collect();
    assert_eq!(kept.len(), 1, "{kept:?}");
    assert_eq!(std::fs::read(&kept[0]).unwrap(), window.get("/profile.json").body);
    // Other numbers of the same frames.
    window.done("/claim", json!({ "rated": "6" }));
    let asked = window.post("/keep", json!({}));
    assert_eq!((asked.status, &asked.json()["ask"]), (409, &json!(true)));
    window.done("/keep", json!({ "replace": true }));
    assert_eq!(std::fs::read(&kept[0]).unwrap(), window.get("/profile.json").body);
    window.done("/kit/change", json!({ "what": "rename", "name": "cove-six", "to": "--help" }));
    let state = window.get("/kit/state").json();
    assert_eq!(state["filters"][0]["name"], "--help");
    window.done("/kit/change", json!({ "what": "retire", "name": "--help" }));
    assert_eq!(window.get("/kit/state").json()["filters"][0]["retired"], true);
    window.done("/kit/change", json!({ "what": "back", "name": "--help" }));
    for page in ["report", "sheet", "years"] {
        let answer = window.get(&format!("/kit/{page}?name=--help"));
        assert_eq!(answer.status, 200, "{page}");
        assert!(answer.head.contains("default-src 'none'; style-src 'unsafe-inline'"));
        assert!(!answer.head.contains("script-src"), "{}", answer.head);
        assert!(String::from_utf8(answer.body).unwrap().contains("--help"), "{page}");
    }
    // What is not there is said as text.
    let answer = window.get("/kit/report?name=%3Cb%3E");
    let text = String::from_utf8(answer.body).unwrap();
    assert!(text.contains("&lt;b&gt;") && !text.contains("<b>"), "{text}");
    assert_eq!(window.post("/kit/change", json!({ "what": "burn", "name": "x" })).status, 400);
}

/// What the kit refuses or does is said in words of the page, not of a command line.
#[test]
fn the_kit_speaks_of_the_page() {
    let home = tempfile::tempdir().unwrap();
    let kit = home.path().join("kit");
    let fixtures = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/kit");
    let paths = ["harbour-ten", "weir-three"].map(|name| fixtures.join(name));
    let added = program().env("LIGHTLOSS_KIT", &kit).args(["kit", "add"]).args(paths).output();
    assert!(added.unwrap().status.success());
    let window = Window::with_kit(Path::new(env!("CARGO_BIN_EXE_lightloss")), None, &kit);
    let rename = json!({ "what": "rename", "name": "Weir Three", "to": "harbour ten" });
    let refused = window.post("/kit/change", rename);
    let said = refused.json()["error"].to_string();
    assert_eq!(refused.status, 422);
    assert!(said.contains("Same as") && !said.contains("lightloss"), "{said}");
    // As it says.
    window.done(
        "/kit/change",
        json!({ "what": "merge", "name": "Weir Three", "into": "Harbour Ten" }),
    );
    let said = window.done("/kit/change", json!({ "what": "retire", "name": "Harbour Ten" }));
    assert_eq!(said.as_str().unwrap().trim(), "Harbour Ten is retired");
}

/// A camera record stands in the kit with its page; a damaged one is named there, and beside what was
/// measured without it.
#[test]
fn camera_records_are_listed_and_damaged_ones_are_named() {
    let home = tempfile::tempdir().unwrap();
    let (folder, kit) = (home.path().join("cove-six"), home.path().join("kit"));
    small_shoot(&folder);
    let records = kit.join("camera-records");
    std::fs::create_dir_all(&records).unwrap();
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus/camera_record");
    std::fs::copy(corpus.join("kelmora-two.json"), records.join("one.json")).unwrap();
    std::fs::write(records.join("two.json"), "{").unwrap();
    let program = Path::new(env!("CARGO_BIN_EXE_lightloss"));
    let window = Window::with_kit(program, Some(&folder), &kit);
    let said = window.sheet()["told"].to_string();
    assert!(said.contains("two.json") && said.contains("measured without it"), "{said}");
    let state = window.get("/kit/state").json();
    let name = "Kelmora Two, serial number K2-00417";
    assert_eq!(state["bodies"][0][0], name);
    assert_eq!(state["bodies"].as_array().unwrap().len(), 1, "{state}");
    assert!(state["damaged"][0].as_str().unwrap().contains("two.json"), "{state}");
    let page = window.get(&format!("/kit/body?name={}", name.replace(' ', "%20")));
    let text = String::from_utf8(page.body).unwrap();
    assert!(text.contains("True times of the dial"), "{text}");
    let none = String::from_utf8(window.get("/kit/body?name=%3Cb%3E").body).unwrap();
    assert!(none.contains("&lt;b&gt;") && !none.contains("<b>"), "{none}");
}

fn walk(folder: &Path) -> Vec<std::path::PathBuf> {
    let entries = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path());
    entries.flat_map(|p| if p.is_dir() { walk(&p) } else { vec![p] }).collect()
}
