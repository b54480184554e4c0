//! Photographs in the window: what the program finds and a person says, and that corrections there are as
//! careful as the command's.

use crate::editing::beside::picture;
use crate::editing::{LIGHT, SIX, dng, evening, planted, through};
use crate::support::program;
use lightloss::editing::used_csv::{UsedRow, read_used, write_used};
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
    let again = json!({ "white": "as-shot", "replace": true, "again": "anew" });
    window.done("/photographs/correct", again);
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
    // As it stands in the table.
    assert_eq!(photograph(&all_read(&window), "L0020.dng")["said"], "Heron Ten");
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
    window.done("/photographs/correct", json!({ "replace": true, "again": "anew" }));
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

fn words(window: &Window, file: &str) -> Value {
    photograph(&all_read(window), file)["said"].clone()
}

/// What stands in the table of a folder, row by row: file, filter and group.
fn table(folder: &Path) -> Vec<[String; 3]> {
    let text = std::fs::read_to_string(folder.join("used.csv")).unwrap();
    let rows = read_used(&text).unwrap();
    let filter = |names: &Option<Vec<String>>| match names {
        None => String::new(),
        Some(names) if names.is_empty() => "none".to_owned(),
        Some(names) => names.join(" + "),
    };
    rows.iter().map(|row| [row.file.clone(), filter(&row.filters), row.group.clone()]).collect()
}

/// The next day, in a new window: every answer of the day before is on the sheet, the blank one too, and
/// nothing is asked about.
#[test]
fn what_stands_in_the_table_is_on_the_sheet_the_next_day() {
    let (window, folder, kit) = opened();
    let said = [
        ("L0020.dng", json!({ "filter": "Heron Ten" }), "Heron Ten"),
        ("L0012.dng", json!("bare"), "without a filter"),
        ("L0003.dng", json!("not_known"), "not known"),
    ];
    for (file, saying, _) in &said {
        say(&window, file, saying.clone());
    }
    window.done("/photographs/table", json!({}));
    let written = table(folder.path());
    drop(window);
    let window = Window::with_kit(Path::new(PROGRAM), None, kit.path());
    window.done("/photographs/open", json!({ "path": folder.path() }));
    for (file, _, stands) in &said {
        assert_eq!(words(&window, file), *stands, "{file}");
    }
    assert_eq!(words(&window, "L0002.dng"), Value::Null, "nobody said anything of it");
    assert_eq!(window.get("/unsaved").json()["documents"], json!([]));
    window.done("/photographs/table", json!({ "replace": true }));
    assert_eq!(table(folder.path()), written);
}

/// A table that was put right by hand, as a spreadsheet leaves it: the window takes it at its word and
/// writes back what it has no place for.
#[test]
fn a_table_that_was_put_right_by_hand_is_taken_at_its_word() {
    let (window, folder, _kit) = opened();
    all_read(&window);
    window.done("/photographs/table", json!({}));
    let path = folder.path().join("used.csv");
    let mut rows = read_used(&std::fs::read_to_string(&path).unwrap()).unwrap();
    for row in &mut rows {
        match row.file.as_str() {
            "L0003.dng" => row.filters = Some(Vec::new()),
            "L0011.dng" => row.group = "pano".to_owned(),
            _ => {}
        }
        row.own = vec![("stars".to_owned(), row.file.len().to_string())];
    }
    let elsewhere = Some(vec!["Heron Six".to_owned()]);
    rows.push(UsedRow { file: "L0900.dng".into(), filters: elsewhere, ..UsedRow::default() });
    std::fs::write(&path, write_used(&rows).unwrap()).unwrap();
    window.done("/photographs/open", json!({ "path": folder.path() }));
    assert_eq!(words(&window, "L0003.dng"), "without a filter");
    say(&window, "L0020.dng", json!({ "filter": "Heron Ten" }));
    let asked = window.post("/photographs/table", json!({}));
    let question = asked.json()["error"].as_str().unwrap().to_owned();
    assert!(asked.status == 409 && question.contains("what it says was read"), "{question}");
    window.done("/photographs/table", json!({ "replace": true }));
    let row = |file: &str| table(folder.path()).into_iter().find(|row| row[0] == file).unwrap();
    assert_eq!(row("L0003.dng")[1], "none");
    assert_eq!(row("L0011.dng")[2], "pano");
    assert_eq!(row("L0020.dng")[1], "Heron Ten");
    assert_eq!(row("L0900.dng")[1], "Heron Six", "of a photograph in another folder");
    for row in read_used(&std::fs::read_to_string(&path).unwrap()).unwrap() {
        let stars = row.own.first().map(|(_, stars)| stars.as_str());
        let expected = if row.file == "L0900.dng" { "" } else { "9" };
        assert_eq!(stars, Some(expected), "a column of one's own: {row:?}");
    }
}

/// What the page does not hold is not written over as if it did: rows that cannot be understood, and what
/// somebody wrote meanwhile.
#[test]
fn a_table_that_says_more_than_the_sheet_is_asked_for_as_such() {
    let (window, folder, _kit) = opened();
    all_read(&window);
    let path = folder.path().join("used.csv");
    let text = "file,filter\nL0003.dng,Weir of Nobody\nL0012.dng,none\n";
    std::fs::write(&path, text).unwrap();
    window.done("/photographs/open", json!({ "path": folder.path() }));
    // One odd row does not hide the others.
    assert_eq!(words(&window, "L0012.dng"), "without a filter");
    let notes = all_read(&window)["notes"].to_string();
    assert!(notes.contains("used.csv, row of") && notes.contains("Weir of Nobody"), "{notes}");
    let asked = |window: &Window| {
        let answer = window.post("/photographs/table", json!({}));
        assert_eq!((answer.status, &answer.json()["ask"]), (409, &json!(true)));
        answer.json()["error"].as_str().unwrap().to_owned()
    };
    assert!(asked(&window).contains("could not be taken"), "{}", asked(&window));
    std::fs::write(&path, format!("{text}L0002.dng,none\n")).unwrap();
    assert!(asked(&window).contains("changed by somebody else"), "{}", asked(&window));
    assert!(std::fs::read_to_string(&path).unwrap().ends_with("L0002.dng,none\n"));
    window.done("/photographs/table", json!({ "replace": true }));
    // What is there already is no question.
    window.done("/photographs/table", json!({}));
}

/// A title that another program wrote into a corrected file outlives a word about the table.
#[test]
fn corrected_files_are_asked_for_by_themselves() {
    let (window, folder, _kit) = opened();
    all_read(&window);
    window.done("/photographs/correct", json!({}));
    until(&window, |state| state["correcting"]["ended"] == true);
    let copies = folder.path().join("corrected");
    let corrected = || -> Vec<std::path::PathBuf> {
        let all = std::fs::read_dir(&copies).unwrap().map(|entry| entry.unwrap().path());
        let mut all: Vec<_> = all.filter(|p| p.extension().is_some_and(|e| e == "dng")).collect();
        all.sort();
        all
    };
    let all = corrected();
    assert!(all.len() > 2, "{all:?}");
    let titled = [std::fs::read(&all[0]).unwrap(), b"a title".to_vec()].concat();
    std::fs::write(&all[0], &titled).unwrap();
    say(&window, "L0001.dng", json!("bare"));
    let asked = window.post("/photographs/correct", json!({ "replace": true }));
    let said = asked.json();
    let question = said["error"].as_str().unwrap();
    assert_eq!(asked.status, 409, "{said}");
    assert!(question.starts_with(&format!("{} corrected files lie", all.len())), "{question}");
    assert_eq!(said["choices"].as_array().unwrap().len(), 1, "none is left to be written: {said}");
    assert_eq!(std::fs::read(&all[0]).unwrap(), titled);
    // One is missing: the others may stay.
    std::fs::remove_file(&all[1]).unwrap();
    let said = window.post("/photographs/correct", json!({ "replace": true })).json();
    assert_eq!(said["choices"][1]["send"], json!({ "again": "keep" }), "{said}");
    window.done("/photographs/correct", json!({ "replace": true, "again": "keep" }));
    let state = until(&window, |state| state["correcting"]["ended"] == true);
    assert_eq!(corrected(), all, "{state}");
    assert_eq!(std::fs::read(&all[0]).unwrap(), titled);
    window.done("/photographs/correct", json!({ "again": "anew" }));
    until(&window, |state| state["correcting"]["ended"] == true);
    assert_ne!(std::fs::read(&all[0]).unwrap(), titled);
}

/// What was said of photographs is on the page as the table that would be written, and its loss is said
/// at the terminal.
#[cfg(unix)]
#[test]
fn words_on_photographs_are_not_lost_without_a_word() {
    let (window, folder, kit) = opened();
    assert_eq!(window.get("/unsaved").json(), json!({ "documents": [], "correcting": false }));
    say(&window, "L0020.dng", json!({ "filter": "Heron Ten" }));
    let kept = window.get("/unsaved").json()["documents"][0].clone();
    assert_eq!((&kept["file"], &kept["of"]), (&json!("used.csv"), &json!("photographs")));
    let said = window.end();
    assert!(said.contains("photographs stands in no table"), "{said}");
    // Put into the folder, it is as good as written.
    std::fs::write(folder.path().join("used.csv"), kept["text"].as_str().unwrap()).unwrap();
    let window = Window::with_kit(Path::new(PROGRAM), None, kit.path());
    window.done("/photographs/open", json!({ "path": folder.path() }));
    assert_eq!(words(&window, "L0020.dng"), "Heron Ten");
    let said = window.end();
    assert!(!said.contains("photographs"), "{said}");
    let pages = ["shoot", "filter", "kit", "photographs", "plan"];
    let script = include_str!("../../../templates/window/window.js");
    assert!(script.contains("beforeunload"), "every place asks before it is closed");
    for page in pages {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("templates/window");
        let own = std::fs::read_to_string(path.join(format!("{page}.js"))).unwrap();
        assert!(own.contains("listen("), "{page}");
    }
}

/// A decision that a page made of one folder's photographs is none of another's.
#[test]
fn a_page_that_means_another_folder_changes_nothing() {
    let (window, folder, _kit) = opened();
    let first = all_read(&window)["number"].to_string();
    window.done("/photographs/open", json!({ "path": folder.path() }));
    let second = all_read(&window)["number"].to_string();
    let say = |number: &str| {
        let origin = format!("http://127.0.0.1:{}", window.port);
        let headers =
            [("Cookie", window.cookie.as_str()), ("Origin", &origin), ("X-Folder", number)];
        let body = json!({ "photographs": [0], "saying": "bare" }).to_string();
        window.ask("POST", "/photographs/say", &headers, body.as_bytes())
    };
    let refused = say(&first);
    let said = refused.json()["error"].to_string();
    assert!(refused.status == 422 && said.contains("another folder"), "{said}");
    assert_eq!(words(&window, "L0001.dng"), Value::Null);
    assert_eq!(say("two").status, 400);
    assert_eq!(say(&second).status, 200);
    assert_eq!(words(&window, "L0001.dng"), "without a filter");
    // Every page says what it means.
    for script in ["shoot", "photographs", "filter"] {
        let path = format!("{}/templates/window/{script}.js", env!("CARGO_MANIFEST_DIR"));
        assert!(std::fs::read_to_string(path).unwrap().contains("shows(held."), "{script}");
    }
}

/// A mark is one of the ring's; anything else is refused by name, as by the command.
#[test]
fn a_mark_that_the_ring_does_not_have_is_refused() {
    let ring = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/kit/tide-ring");
    let (window, _folder, _kit) = with_kit(&["Heron Six.json", "Heron Ten.json", ring]);
    let id = photograph(&all_read(&window), "L0020.dng")["id"].clone();
    let mark = |mark: &str| {
        let saying = json!({ "photographs": [id], "saying": { "mark": mark } });
        let answer = window.post("/photographs/say", saying);
        (answer.status, answer.json()["error"].as_str().unwrap_or_default().to_owned())
    };
    say(&window, "L0020.dng", json!({ "filter": "Tide Ring" }));
    let (status, why) = mark("99");
    assert!(status == 422 && why.contains("no mark \"99\"; its marks are"), "{why}");
    assert!(why.starts_with("L0020.dng: "), "{why}");
    assert_eq!(mark(" 3 "), (200, String::new()));
    assert_eq!(words(&window, "L0020.dng"), "Tide Ring, mark 3");
    assert_eq!(mark(""), (200, String::new()));
    assert_eq!(words(&window, "L0020.dng"), "Tide Ring");
    // With the ring taken off, its mark is gone.
    mark("3");
    say(&window, "L0020.dng", json!({ "filter": "Heron Ten" }));
    say(&window, "L0020.dng", json!({ "filter": "Tide Ring" }));
    assert_eq!(words(&window, "L0020.dng"), "Heron Ten");
    let (status, why) = mark("3");
    assert!(status == 422 && why.contains("Heron Ten has no marks"), "{why}");
    say(&window, "L0020.dng", json!("bare"));
    assert_eq!(mark("3").0, 422);
    assert_eq!(words(&window, "L0020.dng"), "without a filter");
    // Nor does a mark make the program's own finding somebody's word.
    say(&window, "L0020.dng", json!("program"));
    assert_eq!(mark("3").0, 422);
    assert_eq!(words(&window, "L0020.dng"), Value::Null);
}

/// What rests on a person's word is said to, and what the light denies is not called likely.
#[test]
fn how_sure_a_word_is_stands_in_plain_words() {
    let (window, _folder, _kit) = opened();
    let reason =
        |file: &str| photograph(&all_read(&window), file)["reason"].as_str().unwrap().to_owned();
    say(&window, "L0020.dng", json!({ "filter": "Heron Ten" }));
    assert!(reason("L0020.dng").starts_with("As you said, "), "{}", reason("L0020.dng"));
    say(&window, "L0012.dng", json!({ "filter": "Heron Ten" }));
    let denied = reason("L0012.dng");
    assert!(denied.contains("which stands, but the light says Heron Six"), "{denied}");
    assert!(!denied.contains("ikely") && !denied.contains("sure"), "{denied}");
}

/// The bag is the kit as it is: filters that were renamed, put away, or just measured.
#[test]
fn the_bag_follows_the_kit() {
    let (window, folder, kit) = opened();
    let bag = || -> Vec<String> {
        let state = all_read(&window);
        let names = state["kit"].as_array().unwrap().iter().map(|f| f["name"].as_str().unwrap());
        names.map(str::to_owned).collect()
    };
    say(&window, "L0012.dng", json!({ "filter": "Heron Six" }));
    let rename = json!({ "what": "rename", "name": "Heron Six", "to": "Heron Sixth" });
    window.done("/kit/change", rename);
    assert_eq!(bag(), ["Heron Sixth", "Heron Ten"]);
    assert_eq!(words(&window, "L0012.dng"), "Heron Sixth");
    window.done("/kit/change", json!({ "what": "retire", "name": "Heron Ten" }));
    assert_eq!(bag(), ["Heron Sixth"]);
    // One that somebody names stays, wherever it lies now.
    window.done("/kit/change", json!({ "what": "retire", "name": "Heron Sixth" }));
    assert_eq!(bag(), ["Heron Sixth"]);
    window.done("/photographs/correct", json!({}));
    let state = until(&window, |state| state["correcting"]["ended"] == true);
    assert_eq!(state["correcting"]["fault"], Value::Null, "{state}");
    assert!(folder.path().join("corrected/L0012-corrected.dng").exists(), "{state}");
    // What another program did to the kit is seen when the page is.
    let output = program()
        .env("LIGHTLOSS_KIT", kit.path())
        .args(["kit", "retire", "--back", "Heron Ten"])
        .output()
        .unwrap();
    assert!(output.status.success());
    assert_eq!(window.get("/photographs").status, 200);
    assert!(bag().contains(&"Heron Ten".to_owned()), "{:?}", bag());
}
