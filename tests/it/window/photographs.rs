//! Photographs in the window: what the program finds and a person says, and that corrections there are as
//! careful as the command's.

use crate::editing::{LIGHT, SIX, dng, evening, planted, through};
use crate::editing_beside::picture;
use crate::support::program;
use lightloss::tiff::Value as Tiff;
use lightloss_test_files::window::Window;
use serde_json::{Value, json};
use std::path::Path;
use std::time::{Duration, Instant};

const PROGRAM: &str = env!("CARGO_BIN_EXE_lightloss");
const PATIENCE: Duration = Duration::from_secs(60);

/// A window on the planted evening, and its folder, with both filters in the kit.
fn opened() -> (Window, tempfile::TempDir, tempfile::TempDir) {
    with_kit(&["Heron Six.json", "Heron Ten.json"])
}

fn with_kit(profiles: &[&str]) -> (Window, tempfile::TempDir, tempfile::TempDir) {
    let (folder, _) = planted();
    let kit = tempfile::tempdir().unwrap();
    for profile in profiles {
        let output = program()
            .env("LIGHTLOSS_KIT", kit.path())
            .current_dir(folder.path())
            .args(["kit", "add", profile])
            .output()
            .unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    }
    let window = Window::with_kit(Path::new(PROGRAM), None, kit.path());
    window.done("/photographs/open", json!({ "path": folder.path() }));
    (window, folder, kit)
}

fn until(window: &Window, holds: impl Fn(&Value) -> bool) -> Value {
    let began = Instant::now();
    loop {
        let state = window.get("/photographs/state").json();
        if holds(&state) {
            return state;
        }
        assert!(began.elapsed() < PATIENCE, "{state}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn all_read(window: &Window) -> Value {
    until(window, |state| state["read"][0] == state["read"][1])
}

fn photograph(state: &Value, file: &str) -> Value {
    let scenes = state["scenes"].as_array().unwrap();
    let photographs = scenes.iter().flat_map(|s| s["photographs"].as_array().unwrap());
    photographs.into_iter().find(|p| p["file"] == file).cloned().unwrap()
}

fn say(window: &Window, file: &str, saying: Value) {
    let id = photograph(&all_read(window), file)["id"].clone();
    window.done("/photographs/say", json!({ "photographs": [id], "saying": saying }));
}

/// The page's own choice of the light, untouched, lets the program judge each balance: one that was
/// set through the filter holds no cast any more.
#[test]
fn a_balance_set_through_the_filter_is_not_corrected_unless_a_person_says_so() {
    let (window, folder, _kit) = opened();
    all_read(&window);
    let photo = &evening()[1];
    let mut file = dng(photo, through(photo));
    file.as_shot_neutral = Some(std::array::from_fn(|c| LIGHT[c] * (SIX[1] - SIX[c]).exp2()));
    let exif = file.exif.as_mut().unwrap();
    // Exif 2.32: WhiteBalance 1 manual, LightSource 255 other.
    exif.more.retain(|(tag, _)| *tag != 0x9208);
    exif.more.push((0x9208, Tiff::Short(vec![255])));
    std::fs::write(folder.path().join("L0002.dng"), file.encode().unwrap()).unwrap();
    window.done("/photographs/open", json!({ "path": folder.path() }));
    say(&window, "L0002.dng", json!({ "filter": "Heron Six" }));
    window.done("/photographs/correct", json!({}));
    let state = until(&window, |state| state["correcting"]["ended"] == true);
    let corrected = |name: &str| folder.path().join("corrected").join(name).exists();
    assert!(corrected("L0011-corrected.dng"), "the others are corrected: {}", state["correcting"]);
    assert!(!corrected("L0002-corrected.dng"), "{}", state["correcting"]);
    let lines = state["correcting"]["lines"].to_string();
    assert!(lines.contains("L0002.dng") && lines.contains("balance"), "{lines}");
    // In words of the page, without paths that it shows already.
    assert!(lines.contains("as shot: I set it without the filter"), "{lines}");
    let folder_name = folder.path().file_name().unwrap().to_str().unwrap();
    assert!(!lines.contains("--") && !lines.contains(folder_name), "{lines}");
    window.done("/photographs/correct", json!({ "white": "as-shot", "replace": true }));
    until(&window, |_| corrected("L0002-corrected.dng"));
    until(&window, |state| state["correcting"]["ended"] == true);
}

#[test]
fn what_was_said_is_not_left_without_a_question() {
    let (window, folder, _kit) = opened();
    say(&window, "L0020.dng", json!({ "filter": "Heron Ten" }));
    let again = json!({ "path": folder.path() });
    let asked = window.post("/photographs/open", again.clone());
    assert_eq!((asked.status, &asked.json()["ask"]), (409, &json!(true)));
    window.done("/photographs/table", json!({}));
    window.done("/photographs/open", again);
    say(&window, "L0020.dng", json!("bare"));
    window.done("/photographs/open", json!({ "path": folder.path(), "forget": true }));
    assert_eq!(photograph(&all_read(&window), "L0020.dng")["said"], Value::Null);
}

/// Corrected copies are called so, and are neither judged nor corrected again; a folder that is open
/// under Shoot is offered here.
#[test]
fn corrected_copies_are_named_and_an_open_folder_is_offered() {
    let (window, folder, _kit) = opened();
    all_read(&window);
    window.done("/photographs/correct", json!({}));
    until(&window, |state| state["correcting"]["ended"] == true);
    let copies = folder.path().join("corrected");
    let copy = std::fs::read_dir(&copies).unwrap().next().unwrap().unwrap().path();
    std::fs::copy(&copy, folder.path().join("Z-copy.dng")).unwrap();
    window.done("/photographs/open", json!({ "path": folder.path(), "forget": true }));
    let state = all_read(&window);
    let one = photograph(&state, "Z-copy.dng");
    assert_eq!(one["through"], "Corrected copy", "{one}");
    assert!(one["reason"].as_str().unwrap().contains("corrected already"), "{one}");
    window.done("/photographs/correct", json!({ "replace": true }));
    let state = until(&window, |state| state["correcting"]["ended"] == true);
    let lines = state["correcting"]["lines"].to_string();
    assert!(!lines.contains("Z-copy") && copies.join("L0011-corrected.dng").exists(), "{lines}");
    // Nothing but copies.
    window.done("/photographs/open", json!({ "path": copies, "forget": true }));
    all_read(&window);
    let refused = window.post("/photographs/correct", json!({}));
    let said = refused.json()["error"].to_string();
    assert!(refused.status == 422 && said.contains("originals"), "{said}");
    assert!(!said.contains("--"), "{said}");
    window.done("/open", json!({ "path": folder.path() }));
    let places = window.get("/places").json();
    let canonical = folder.path().canonicalize().unwrap();
    let open = json!({ "name": "Open under Shoot", "path": canonical });
    assert!(places.as_array().unwrap().contains(&open), "{places}");
}

/// A filter left at home is never found; one that a person names was there.
#[test]
fn a_filter_that_is_named_was_in_the_bag() {
    let (window, _folder, _kit) = opened();
    let there = |state: &Value| state["kit"].as_array().unwrap().iter().all(|f| f["there"] == true);
    let through = |state: &Value| photograph(state, "L0003.dng")["through"].clone();
    assert_eq!(through(&all_read(&window)), "Heron Ten");
    window.done("/photographs/bag", json!({ "name": "Heron Ten", "there": false }));
    let state = all_read(&window);
    assert!(!there(&state) && through(&state) != "Heron Ten", "{state}");
    say(&window, "L0020.dng", json!({ "filter": "Heron Ten" }));
    let state = all_read(&window);
    assert_eq!(photograph(&state, "L0020.dng")["through"], "Heron Ten");
    assert!(there(&state) && through(&state) == "Heron Ten", "{state}");
}

/// With nothing to look for, darkness is no proof of a bare frame.
#[test]
fn without_a_filter_in_the_kit_nothing_is_claimed() {
    let (window, _folder, _kit) = with_kit(&[]);
    let state = all_read(&window);
    assert_eq!(state["known"], 0, "{state}");
    let one = photograph(&state, "L0002.dng");
    assert!(one["reason"].as_str().unwrap().contains("no filter to look for"), "{one}");
    say(&window, "L0001.dng", json!("bare"));
    assert_eq!(all_read(&window)["known"], 1);
}

/// Other photographs of a scene are called by their names.
#[test]
fn no_reason_holds_a_path() {
    let (window, _folder, _kit) = opened();
    let state = all_read(&window);
    let reason = photograph(&state, "L0002.dng")["reason"].as_str().unwrap().to_owned();
    assert!(reason.contains("L0001.dng") && !reason.contains('/'), "{reason}");
}

/// A name is never written otherwise than its owner wrote it; what is no name begins as a sentence.
#[test]
fn names_of_filters_stay_as_they_are() {
    let (window, folder, _kit) = opened();
    all_read(&window);
    let rename = json!({ "what": "rename", "name": "Heron Ten", "to": "heron-ten" });
    window.done("/kit/change", rename);
    window.done("/photographs/open", json!({ "path": folder.path(), "forget": true }));
    let state = all_read(&window);
    let scenes = state["scenes"].as_array().unwrap();
    let all: Vec<&Value> =
        scenes.iter().flat_map(|s| s["photographs"].as_array().unwrap()).collect();
    assert!(all.iter().any(|p| p["through"] == "heron-ten"), "{state}");
    for photo in all {
        for words in [&photo["through"], &photo["reason"]].map(|w| w.as_str().unwrap()) {
            let small = words.starts_with(char::is_lowercase);
            assert!(!small || words.starts_with("heron-ten"), "{words}");
            assert!(!words.starts_with("Heron-ten"), "{words}");
        }
    }
    // The page writes them as they come.
    let page = include_str!("../../../templates/window/photographs.js");
    assert!(!page.contains("sentence(photo."), "{page}");
}

/// The camera's picture beside each frame is what the frame is.
#[test]
fn pictures_beside_raw_frames_are_what_these_are() {
    let (window, folder, _kit) = opened();
    let alone = all_read(&window);
    for photo in evening() {
        picture(&folder.path().join(format!("{}.JPG", photo.name)), photo.clock, photo.seconds);
    }
    window.done("/photographs/open", json!({ "path": folder.path() }));
    let both = all_read(&window);
    let known = alone["known"].as_u64().unwrap();
    assert!(known >= 8, "{alone}");
    assert_eq!(both["known"].as_u64(), Some(2 * known), "{both}");
    for photo in evening() {
        let frame = photograph(&both, &format!("{}.dng", photo.name));
        assert_eq!(
            frame["through"],
            photograph(&alone, frame["file"].as_str().unwrap())["through"]
        );
        let beside = photograph(&both, &format!("{}.JPG", photo.name));
        assert_eq!(beside["through"], frame["through"], "{beside}");
    }
}
