//! What is decided on the sheet, and that it measures what the command line measures.

use super::open;
use crate::support::{program, small_shoot};
use serde_json::{Value, json};
use std::path::Path;

/// The profile that the command line writes to standard output.
fn measured(folder: &Path) -> Value {
    let output = program().arg("measure").arg(folder).args(["--format", "json"]).output().unwrap();
    serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|e| panic!("{e}: {}", String::from_utf8_lossy(&output.stderr)))
}

fn shoot() -> (tempfile::TempDir, std::path::PathBuf) {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("six-stop");
    small_shoot(&folder);
    (home, folder)
}

fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).unwrap();
    let mut names: Vec<String> =
        entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

fn states(profile: &Value) -> Vec<(String, String)> {
    let frames = profile["frames"].as_array().unwrap();
    let text = |v: &Value| v.as_str().unwrap().to_owned();
    frames.iter().map(|f| (text(&f["file"]), text(&f["state"]))).collect()
}

/// What lies in the folders for sharpness, veil and ghosts is measured as the command measures it,
/// and is no frame of the shoot.
#[test]
fn frames_for_the_picture_are_measured_and_stand_on_no_sheet() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("fen");
    lightloss::simulate::demo::fen_six().write(&folder, false).unwrap();
    let window = open(Some(&folder));
    let sheet = window.sheet();
    let profile = window.get("/profile.json").json();
    assert_eq!(profile, measured(&folder));
    assert!(profile["picture"]["sharpness_ratio"]["value"].as_f64().unwrap() < 0.95);
    assert!(!sheet.to_string().contains("sharpness/"), "{sheet}");
}

#[test]
fn the_sheet_measures_what_the_command_measures() {
    let (_home, folder) = shoot();
    let before = names(&folder);
    let window = open(Some(&folder));
    let sheet = window.sheet();
    let profile = window.get("/profile.json").json();
    assert_eq!(profile, measured(&folder));
    // Each print says what the profile says of its frame.
    for record in profile["frames"].as_array().unwrap() {
        let frame = window.frame(record["file"].as_str().unwrap());
        let exposure = frame["exposure"].to_string();
        let iso = format!("ISO {}", record["iso"].as_f64().unwrap());
        assert!(exposure.contains(&iso), "{exposure}");
        let words = match record["state"].as_str().unwrap() {
            "bare" => "bare",
            "setting" => "through the filter",
            other => panic!("{other} in a clean shoot"),
        };
        assert_eq!(frame["taken_text"], words);
        let picture = window.get(&format!("/picture/{}", frame["id"]));
        assert_eq!(picture.status, 200);
        assert!(picture.body.starts_with(b"\x89PNG\r\n\x1a\n"));
    }
    // The page of the filter shows them where the window gives them: its policy forbids all else.
    let body = String::from_utf8(window.get("/filter/body").body).unwrap();
    let shown: Vec<&str> =
        body.split("src=\"").skip(1).map(|rest| rest.split('"').next().unwrap()).collect();
    assert_eq!(shown.len(), profile["frames"].as_array().unwrap().len());
    for address in shown {
        assert!(address.starts_with("/picture/"), "{address}");
        assert_eq!(window.get(address).status, 200, "{address}");
    }
    let stops = profile["settings"][0]["strength"]["stops"].as_f64().unwrap();
    let said = sheet["number"].as_str().unwrap();
    let number: f64 = said.split('\u{a0}').next().unwrap().parse().unwrap();
    assert!((number - stops).abs() <= 0.005 + 1e-9, "{said} and {stops}");
    assert_eq!(names(&folder), before, "looking writes nothing");
}

/// A frame turned to what it is changes the answer, is told beside what the program sees, can be
/// taken back, and is written only when that is asked for.
#[test]
fn a_decision_is_measured_told_taken_back_and_saved() {
    let (_home, folder) = shoot();
    let window = open(Some(&folder));
    let first = window.get("/profile.json").status;
    let sheet = window.sheet();
    let whole = window.get("/profile.json").json();
    assert!(first == 200 || first == 422);
    let bare: Vec<String> =
        states(&whole).into_iter().filter(|(_, s)| s == "bare").map(|(f, _)| f).collect();
    assert!(!sheet["unsaved"].as_bool().unwrap());
    window.say(&bare[0], Some("out"));
    let without = window.get("/profile.json").json();
    assert_eq!(states(&without).iter().filter(|(_, s)| s == "bare").count(), bare.len() - 1);
    let frame = window.frame(&bare[0]);
    assert_eq!((&frame["said"], &frame["program"]), (&json!("left out"), &json!("bare")));
    assert_eq!(frame["differs"], true);
    assert!(!folder.join("shoot.json").exists());
    window.done("/undo", json!({}));
    assert_eq!(window.get("/profile.json").json(), whole);
    // Left to the program, nothing is said that could be saved.
    window.done("/redo", json!({}));
    window.say(&bare[0], None);
    assert!(!window.sheet()["unsaved"].as_bool().unwrap());
    assert_eq!(window.get("/profile.json").json(), whole);
    window.done("/undo", json!({}));
    window.done("/undo", json!({}));
    window.done("/redo", json!({}));
    assert_eq!(window.get("/profile.json").json(), without);
    // Saved, the command line measures the same.
    window.done("/save", json!({}));
    assert!(!window.sheet()["unsaved"].as_bool().unwrap());
    assert_eq!(measured(&folder), without);
    assert_eq!(window.get("/profile.json").json(), without);
    // What is there is not written over without a word.
    window.say(&bare[0], None);
    let asked = window.post("/save", json!({}));
    assert_eq!((asked.status, &asked.json()["ask"]), (409, &json!(true)));
    window.done("/save", json!({ "replace": true }));
    assert_eq!(states(&measured(&folder)), states(&whole));
}

/// A document that another program changed since is not taken for the one that was read.
#[test]
fn a_document_that_was_changed_meanwhile_is_asked_for_as_such() {
    let (_home, folder) = shoot();
    let window = open(Some(&folder));
    let file = window.file(0);
    let asked = |window: &lightloss_test_files::window::Window| {
        let answer = window.post("/save", json!({}));
        assert_eq!(answer.status, 409, "{}", answer.json());
        answer.json()["error"].as_str().unwrap().to_owned()
    };
    let path = folder.join("shoot.json");
    window.say(&file, Some("out"));
    std::fs::write(&path, "{\"note\": \"mine\"}").unwrap();
    assert!(asked(&window).contains("written by somebody else"), "{}", asked(&window));
    window.done("/save", json!({ "replace": true }));
    window.say(&file, Some("dark"));
    assert!(asked(&window).contains("was read when the folder was opened"), "{}", asked(&window));
    let text = std::fs::read_to_string(&path).unwrap();
    let changed = text.replacen('{', "{ \"own\": \"a remark\",", 1);
    std::fs::write(&path, &changed).unwrap();
    assert!(asked(&window).contains("changed by somebody else since"), "{}", asked(&window));
    std::fs::write(&path, "{").unwrap();
    assert!(asked(&window).contains("changed by somebody else since"), "{}", asked(&window));
    assert_eq!(std::fs::read_to_string(&path).unwrap(), "{");
}

/// A path as a file manager copies it, and that of a frame, lead to the folder.
#[test]
fn a_pasted_path_leads_to_its_folder() {
    let (_home, folder) = shoot();
    let window = open(None);
    let folder = folder.canonicalize().unwrap();
    let shown = folder.to_str().unwrap();
    let frame = folder.join("P0001.dng");
    for path in [
        shown.to_owned(),
        format!("\"{shown}\""),
        format!("file://{shown}"),
        frame.to_str().unwrap().to_owned(),
        format!("'{}'", frame.display()),
    ] {
        let inside = window.done("/places", json!({ "path": path }));
        assert_eq!(inside["path"], json!(folder), "{path}");
        assert!(inside["frames"].as_array().unwrap().contains(&json!("P0001.dng")), "{path}");
    }
    let refused = window.post("/places", json!({ "path": "six-stop" }));
    let said = refused.json()["error"].to_string();
    assert!(refused.status == 422 && said.contains("whole path"), "{said}");
}

/// The whole shoot named the other way round: the strength turns its sign, and each print says that
/// the light tells otherwise.
#[test]
fn what_contradicts_the_light_is_said() {
    let (_home, folder) = shoot();
    let window = open(Some(&folder));
    window.sheet();
    let profile = window.get("/profile.json").json();
    let filtered: Vec<String> =
        states(&profile).into_iter().filter(|(_, s)| s == "setting").map(|(f, _)| f).collect();
    window.say(&filtered[0], Some("bare"));
    let frame = window.frame(&filtered[0]);
    assert_eq!(frame["differs"], true);
    assert_eq!(frame["program"], "through the filter");
    // One frame of several alike that is named otherwise is not measured, and it is said why.
    let told = format!("{}{}", frame["taken_text"], frame["reason"]);
    assert!(told.contains("darker") || told.contains("left out"), "{told}");
    // Left to the program again, the frame is what it was.
    window.say(&filtered[0], None);
    assert_eq!(window.frame(&filtered[0])["taken"], "filtered");
    window.done("/decide", json!({ "frames": [], "all": true }));
    assert_eq!(window.get("/profile.json").json(), profile);
}

#[test]
fn name_and_rating_reach_the_profile() {
    let (_home, folder) = shoot();
    let window = open(Some(&folder));
    assert_eq!(window.sheet()["filter"]["name"], "six-stop");
    window.done("/claim", json!({ "name": "  Cove\nSix <b>", "rated": "1.8D", "kind": "solid" }));
    let profile = window.get("/profile.json").json();
    assert_eq!(profile["filter"]["name"], "Cove Six <b>");
    // ISO 5-1: density 1.8 is 1.8 / log10(2) stops.
    let rated = profile["filter"]["rated_stops"].as_f64().unwrap();
    assert!((rated - 1.8 / 2_f64.log10()).abs() < 1e-9, "{rated}");
    let refused = window.post("/claim", json!({ "rated": "ND2" }));
    assert_eq!(refused.status, 422);
    assert!(refused.json()["error"].as_str().unwrap().contains("2"), "{refused:?}");
    // On the page it is text.
    let body = String::from_utf8(window.get("/filter/body").body).unwrap();
    assert!(body.contains("Cove Six &#60;b&#62;") || body.contains("Cove Six &lt;b&gt;"));
    window.done("/claim", json!({ "name": "", "rated": "", "kind": "" }));
    assert_eq!(window.sheet()["unsaved"], false);
}

/// A rating that means a density: the caution says what to write on the page, and no page of the window
/// speaks of options.
#[test]
fn a_caution_says_what_to_do_on_the_page() {
    let (_home, folder) = shoot();
    let window = open(Some(&folder));
    window.sheet();
    window.done("/claim", json!({ "rated": "1.8stops" }));
    let command = measured(&folder);
    assert!(!command["cautions"].to_string().contains("far_from_rated"), "{command}");
    let profile = window.get("/profile.json").json();
    let texts = profile["cautions"].to_string();
    assert!(texts.contains("measure again with --rated 1.8D"), "{texts}");
    let sheet = window.sheet();
    let cautions = sheet["cautions"].to_string();
    assert!(cautions.contains("then write as its rating 1.8D"), "{cautions}");
    let body = String::from_utf8(window.get("/filter/body").body).unwrap();
    assert!(body.contains("then write as its rating 1.8D"), "{body}");
    for page in [sheet.to_string(), body] {
        assert!(!page.contains(" --"), "{page}");
    }
    // A plan that lacks the rating says so in words of its form.
    let plan = String::from_utf8(window.get("/plan/page?kind=solid").body).unwrap();
    assert!(plan.contains("write it like 10, 3.0D or 1000x") && !plan.contains("--"), "{plan}");
}

/// Written where the command would write it, once; a second time only when asked.
#[test]
fn the_profile_is_written_where_the_command_writes_it() {
    let (home, folder) = shoot();
    let window = open(Some(&folder));
    window.sheet();
    let page = window.done("/write", json!({}));
    let out = home.path().canonicalize().unwrap().join("six-stop-profile");
    assert_eq!(page, json!(out.join("report.html")));
    let text = std::fs::read_to_string(out.join("profile.json")).unwrap();
    assert_eq!(text.as_bytes(), window.get("/profile.json").body);
    assert_eq!(window.post("/write", json!({})).status, 409);
    window.done("/write", json!({ "replace": true }));
    assert_eq!(names(home.path()), ["six-stop", "six-stop-profile"]);
}

#[test]
fn another_folder_is_not_taken_while_decisions_would_be_lost() {
    let (_home, folder) = shoot();
    let (_other_home, other) = shoot();
    let window = open(Some(&folder));
    let file = window.file(0);
    window.say(&file, Some("out"));
    assert_eq!(window.post("/open", json!({ "path": other })).status, 409);
    window.done("/open", json!({ "path": other, "forget": true }));
    let sheet = window.sheet();
    assert_eq!(sheet["folder"], json!(other.canonicalize().unwrap()));
    assert_eq!(sheet["unsaved"], false);
    let empty = tempfile::tempdir().unwrap();
    let refused = window.post("/open", json!({ "path": empty.path() }));
    assert_eq!(refused.status, 422);
    assert_eq!(window.sheet()["folder"], json!(other.canonicalize().unwrap()));
}

/// A killed window leaves the frames and what was saved as they were, and nothing half written.
#[test]
fn a_killed_window_loses_nothing_that_was_saved() {
    let (_home, folder) = shoot();
    let mut window = open(Some(&folder));
    let file = window.file(0);
    window.say(&file, Some("out"));
    window.done("/save", json!({}));
    let saved = std::fs::read_to_string(folder.join("shoot.json")).unwrap();
    window.say(&file, Some("dark"));
    // What is not saved is on the page, as the document that would be written.
    let kept = window.get("/unsaved").json()["documents"][0].clone();
    assert_eq!((&kept["file"], &kept["of"]), (&json!("shoot.json"), &json!("frames")));
    let document = kept["text"].as_str().unwrap().to_owned();
    assert!(document.contains("\"dark\""), "{document}");
    window.child().kill().unwrap();
    window.child().wait().unwrap();
    assert_eq!(std::fs::read_to_string(folder.join("shoot.json")).unwrap(), saved);
    assert!(!names(&folder).iter().any(|name| name.ends_with(".part")));
    std::fs::write(folder.join("shoot.json"), &document).unwrap();
    let again = open(Some(&folder));
    again.sheet();
    assert_eq!(again.frame(&file)["said"], "dark");
}

/// A card that is taken out: what was read stays, saving says in one line why it cannot.
#[test]
fn a_removed_card_is_said_in_one_line() {
    let (home, folder) = shoot();
    let window = open(Some(&folder));
    let file = window.file(0);
    window.say(&file, Some("out"));
    let profile = window.get("/profile.json").json();
    std::fs::rename(&folder, home.path().join("taken-out")).unwrap();
    let refused = window.post("/save", json!({}));
    assert_eq!(refused.status, 422);
    let line = refused.json()["error"].as_str().unwrap().to_owned();
    assert!(line.contains("shoot.json") && !line.contains('\n'), "{line}");
    assert_eq!(window.get("/profile.json").json(), profile);
    std::fs::rename(home.path().join("taken-out"), &folder).unwrap();
    window.done("/save", json!({}));
}

/// Two windows on one folder: the second is told that the first has written.
#[test]
fn two_windows_on_one_folder_do_not_mix() {
    let (_home, folder) = shoot();
    let (one, two) = (open(Some(&folder)), open(Some(&folder)));
    let file = one.file(0);
    let other = two.file(1);
    one.say(&file, Some("out"));
    two.say(&other, Some("out"));
    one.done("/save", json!({}));
    let asked = two.post("/save", json!({}));
    assert_eq!(asked.status, 409);
    assert!(asked.json()["error"].as_str().unwrap().contains("somebody else"), "{asked:?}");
    assert_eq!(two.frame(&file)["said"], Value::Null);
    // The key of one is no key of the other.
    let headers = [("Cookie", one.cookie.as_str())];
    assert_eq!(two.ask("GET", "/state", &headers, b"").status, 401);
}

/// A ring of eight marks, one named for two of them by a slip: the right names mend it.
#[test]
fn a_mark_named_twice_by_mistake_can_be_named_again() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("ring");
    let ring = lightloss::simulate::demo::shoots().remove(2);
    assert_eq!(ring.folder, "tide-ring");
    ring.write(&folder, false).unwrap();
    let window = open(Some(&folder));
    let sheet = window.sheet();
    let strengths = || -> Vec<f64> {
        let profile = window.get("/profile.json").json();
        let settings = profile["settings"].as_array().unwrap();
        settings.iter().map(|s| s["strength"]["stops"].as_f64().unwrap()).collect()
    };
    let (eight, said) = (strengths(), sheet["marks_said"].clone());
    assert_eq!(eight.len(), 8);
    let name = |names: &str| window.done("/marks", json!({ "marks": names }));
    let shown = || -> String {
        let marks = window.sheet()["marks"].clone();
        let marks = marks.as_array().unwrap().iter().map(|m| m.as_str().unwrap().to_owned());
        marks.collect::<Vec<_>>().join(",")
    };
    name("min,1,1,3,4,5,6,max");
    assert_eq!(strengths().len(), 7);
    assert_eq!((shown().as_str(), &window.sheet()["marks_said"]), ("min,1,1,3,4,5,6,max", &said));
    name("min,1,2,3,4,5,6,max");
    assert_eq!(shown(), "min,1,2,3,4,5,6,max");
    assert_eq!(strengths(), eight, "as it was before the slip");
    // The same from a document that was saved with the slip in it.
    name("min,1,1,3,4,5,6,max");
    window.done("/save", json!({}));
    window.done("/open", json!({ "path": folder }));
    window.sheet();
    name("min,1,2,3,4,5,6,max");
    assert_eq!(strengths(), eight);
    // Names for the seven that were left are no slip.
    name("min,1,1,3,4,5,6,max");
    name("a,b,c,d,e,f,g");
    assert_eq!(strengths().len(), 7);
    let refused = window.post("/marks", json!({ "marks": "a,b" }));
    assert!(refused.json()["error"].as_str().unwrap().contains("2 names for"));
}

/// What a person said of the kind is no guess of the program's, and has no reason of its own.
#[test]
fn a_kind_that_was_said_is_not_explained() {
    let (_home, folder) = shoot();
    let window = open(Some(&folder));
    let guess = || window.sheet()["filter"]["kind_guess"].as_str().unwrap().to_owned();
    assert_eq!(guess(), "solid, since one level was found");
    for kind in ["graduated", "variable", "solid"] {
        window.done("/claim", json!({ "kind": kind }));
        assert_eq!(guess(), "as you said", "{kind}");
    }
    window.done("/claim", json!({ "kind": "" }));
    assert_eq!(guess(), "solid, since one level was found");
}

/// Frames of which nothing tells bare from filtered are good ones, not left out for being measured.
#[test]
fn frames_that_cannot_be_sorted_are_called_good() {
    let (_home, folder) = shoot();
    let window = open(Some(&folder));
    window.sheet();
    let all = states(&window.get("/profile.json").json());
    drop(window);
    for (file, _) in all.iter().filter(|(_, state)| state != "bare") {
        std::fs::remove_file(folder.join(file)).unwrap();
    }
    let bare = all.iter().find(|(_, state)| state == "bare").unwrap();
    let window = open(Some(&folder));
    assert!(window.sheet()["fault"].is_string());
    let frame = window.frame(&bare.0);
    assert_eq!(frame["taken_text"], "good", "{frame}");
    let reason = frame["reason"].as_str().unwrap();
    assert!(reason.contains("bare or through the filter"), "{reason}");
    let title = window.sheet()["groups"][0]["title"].as_str().unwrap().to_owned();
    assert!(!title.contains("left out"), "{title}");
}

/// Whichever file is in the way first, it is the profile that is asked for.
#[test]
fn a_profile_in_the_way_is_called_a_profile() {
    let (_home, folder) = shoot();
    let window = open(Some(&folder));
    window.sheet();
    let page = window.done("/write", json!({}));
    let out = Path::new(page.as_str().unwrap()).parent().unwrap().display().to_string();
    let asked = window.post("/write", json!({}));
    let said = asked.json()["error"].as_str().unwrap().to_owned();
    assert_eq!(asked.status, 409);
    assert_eq!(said, format!("{out} holds a profile already. Write over it?"));
    window.done("/write", json!({ "replace": true }));
}
