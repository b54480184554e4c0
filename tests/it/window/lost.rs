//! What goes wrong around the window loses nothing and is said in one line: a full disk, a card that
//! was taken out, a browser and a program that were killed.

#![allow(clippy::print_stderr)]

use super::open;
use crate::support::{SmallDisk, small_shoot};
use lightloss_test_files::window::Window;
use serde_json::{Value, json};
use std::fs;
use std::io::Write;
use std::net::TcpStream;
use std::path::{Path, PathBuf};

const PROGRAM: &str = env!("CARGO_BIN_EXE_lightloss");

fn shoot() -> (tempfile::TempDir, PathBuf) {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("six-stop");
    small_shoot(&folder);
    (home, folder)
}

const FRAME: &str = "P0001.dng";

/// The number on the sheet, and how a bare frame stands on it.
fn shown(window: &Window) -> (Value, Value) {
    (window.sheet()["number"].clone(), window.frame(FRAME))
}

/// Says of that frame that it is left out, and gives what the sheet shows then.
fn decided(window: &Window) -> (Value, Value) {
    let before = shown(window);
    window.say(FRAME, Some("out"));
    let after = shown(window);
    assert_ne!(before.1, after.1, "the decision shows");
    after
}

/// A refusal as the page shows it.
fn one_line(answer: &lightloss_test_files::window::Answer) -> String {
    let said = String::from_utf8(answer.body.clone()).unwrap();
    assert!(answer.status >= 400, "{} {said}", answer.status);
    assert!(!said.trim().is_empty() && !said.contains('\n'), "{said:?}");
    assert!(!said.contains("os error") && !said.contains("panicked"), "{said}");
    said
}

fn below(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).unwrap().map(|e| e.unwrap().path());
    entries.flat_map(|p| if p.is_dir() { below(&p) } else { vec![p] }).collect()
}

#[test]
fn a_full_disk_keeps_the_decisions_and_leaves_nothing_half() {
    let (home, folder) = shoot();
    // A profile with its reports takes some hundred kilobytes.
    let Some(disk) = SmallDisk::mounted(home.path().join("small"), 48) else {
        eprintln!("SKIPPED: no file system can be mounted here, a full disk was not tried");
        return;
    };
    fs::write(disk.0.join("full"), vec![1; 44 << 10]).unwrap();
    let kit = disk.0.join("kit");
    let window = Window::with_kit(Path::new(PROGRAM), Some(&folder), &kit);
    window.sheet();
    let decided_so = decided(&window);
    let said = one_line(&window.post("/keep", json!({})));
    assert!(said.contains("full"), "{said}");
    let left: Vec<PathBuf> =
        if kit.exists() { below(&kit) } else { Vec::new() }.into_iter().filter(whole).collect();
    assert!(left.is_empty(), "{left:?}");
    assert_eq!(shown(&window), decided_so);
    assert_eq!(window.get("/kit/state").json()["filters"], json!([]));
    // Where there is room it is kept with what was decided.
    let elsewhere = Window::with_kit(Path::new(PROGRAM), Some(&folder), &home.path().join("kit"));
    elsewhere.sheet();
    assert_eq!(decided(&elsewhere), decided_so);
    elsewhere.done("/keep", json!({}));
}

/// A profile that a reader would take for one.
fn whole(path: &PathBuf) -> bool {
    let Ok(bytes) = fs::read(path) else { return false };
    path.extension().is_some_and(|e| e == "json")
        && serde_json::from_slice::<Value>(&bytes).is_ok_and(|v| v["settings"].is_array())
}

#[test]
fn a_card_that_was_taken_out_is_said_and_its_numbers_stay() {
    let (home, folder) = shoot();
    let window = open(Some(&folder));
    window.sheet();
    let decided_so = decided(&window);
    fs::rename(&folder, home.path().join("taken out")).unwrap();
    let said = one_line(&window.post("/save", json!({})));
    assert!(said.contains("six-stop"), "{said}");
    assert!(!folder.exists(), "nothing is made in place of the card");
    assert_eq!(shown(&window), decided_so);
    let gone = one_line(&window.post("/open", json!({ "path": folder, "forget": true })));
    assert!(gone.contains("six-stop"), "{gone}");
    // What was on the sheet is still there, and the card back in its place takes the decisions.
    assert_eq!(shown(&window), decided_so);
    fs::rename(home.path().join("taken out"), &folder).unwrap();
    window.done("/save", json!({}));
    assert_eq!(shown(&open(Some(&folder))), decided_so);
}

#[test]
fn a_killed_browser_finds_everything_again() {
    let (_home, folder) = shoot();
    let mut window = open(Some(&folder));
    window.sheet();
    let decided_so = decided(&window);
    // Hung up in the middle of a request, and of the answer to another, as a killed browser does.
    let port = window.port;
    for half in
        ["POST /decide HTTP/1.1\r\nContent-Le", "GET /events HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"]
    {
        for _ in 0..20 {
            let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
            stream.write_all(half.as_bytes()).unwrap();
        }
    }
    assert_eq!(shown(&window), decided_so);
    assert!(window.child().try_wait().unwrap().is_none(), "the program runs on");
}

#[test]
fn a_killed_program_leaves_the_shoot_and_what_was_saved() {
    let (_home, folder) = shoot();
    let before = below(&folder);
    let mut window = open(Some(&folder));
    window.sheet();
    window.child().kill().unwrap();
    window.child().wait().unwrap();
    assert_eq!(below(&folder).len(), before.len(), "nothing is written until asked for");
    let mut window = open(Some(&folder));
    window.sheet();
    let decided_so = decided(&window);
    window.done("/save", json!({}));
    window.child().kill().unwrap();
    window.child().wait().unwrap();
    assert_eq!(shown(&open(Some(&folder))), decided_so);
}
