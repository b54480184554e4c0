//! File names are data: links, pipes, devices, names that begin with a dash, that are no text, that
//! would be a formula or speak to a terminal. Unix, where all of them exist.

#![cfg(unix)]
#![allow(clippy::unwrap_used)]

use crate::support::{program, small_shoot, within};
use serde_json::Value;
use std::ffi::{OsStr, OsString};
use std::os::unix::ffi::OsStrExt;
use std::os::unix::fs::symlink;
use std::path::Path;
use std::process::{Command, Output};
use std::time::Duration;

/// A pipe or a device that is opened would be waited for without end.
const PATIENCE: Duration = Duration::from_secs(60);

fn run<S: AsRef<OsStr>>(folder: &Path, words: &[S]) -> Output {
    let mut command = program();
    let output = within(command.current_dir(folder).args(words), PATIENCE);
    let text = String::from_utf8_lossy(&output.stderr);
    assert!(!text.contains("panicked"), "{text}");
    output
}

fn json(output: &Output) -> Value {
    let error = String::from_utf8_lossy(&output.stderr);
    serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{e}: {error}"))
}

/// Six frames that measure, three of them under odd names, among everything that is no frame.
fn odd_folder() -> tempfile::TempDir {
    let home = tempfile::tempdir().unwrap();
    let shoot = home.path().join("shoot");
    small_shoot(&shoot);
    let long = "n".repeat(250) + ".dng";
    let renamed: [(&str, &OsStr); 4] = [
        ("P0001.dng", OsStr::new("-rf.dng")),
        ("P0004.dng", OsStr::from_bytes(b"P\xff\xfe2.dng")),
        ("P0003.dng", OsStr::new("=2+5 \u{1b}[31m\n3.dng")),
        ("P0002.dng", OsStr::new(&long)),
    ];
    for (from, to) in renamed {
        std::fs::rename(shoot.join(from), shoot.join(to)).unwrap();
    }
    symlink("loop-b.dng", shoot.join("loop-a.dng")).unwrap();
    symlink("loop-a.dng", shoot.join("loop-b.dng")).unwrap();
    symlink("gone.dng", shoot.join("dangling.dng")).unwrap();
    symlink("/dev/zero", shoot.join("zero.dng")).unwrap();
    symlink("/dev/full", shoot.join("full.jpg")).unwrap();
    symlink(".", shoot.join("again")).unwrap();
    symlink("P0005.dng", shoot.join("link.dng")).unwrap();
    std::fs::create_dir(shoot.join("folder.dng")).unwrap();
    let made = Command::new("mkfifo").args(["pipe.dng", "pipe"]).current_dir(&shoot).status();
    assert!(made.unwrap().success());
    home
}

#[test]
fn every_name_is_a_name_and_nothing_else() {
    let home = odd_folder();
    let output = run(home.path(), &["frames", "shoot", "--format", "json"]);
    let frames = json(&output)["frames"].clone();
    let verdict = |file: &str| {
        let all = frames.as_array().unwrap();
        let frame = all.iter().find(|f| f["file"] == file);
        frame.unwrap_or_else(|| panic!("{file:?} is not in {all:#?}"))["verdict"].clone()
    };
    let long = "n".repeat(250) + ".dng";
    // What is no text, or speaks to a terminal, is spelt out; different names stay different.
    let odd = ["-rf.dng", "P\\xFF\\xFE2.dng", "=2+5 \\x1B[31m\\x0A3.dng", &long, "P0006.dng"];
    for file in odd {
        assert_eq!(verdict(file)["code"], "used", "{file}");
    }
    for file in ["loop-a.dng", "loop-b.dng", "dangling.dng", "zero.dng", "full.jpg", "pipe.dng"] {
        assert_eq!(verdict(file)["code"], "unreadable", "{file}");
    }
    let text = |file: &str| verdict(file)["text"].as_str().unwrap().to_owned();
    assert!(text("zero.dng").contains("device"), "{}", text("zero.dng"));
    assert!(text("pipe.dng").contains("pipe"), "{}", text("pipe.dng"));
    // The same bytes twice are counted once.
    let twins = [verdict("link.dng")["code"].clone(), verdict("P0005.dng")["code"].clone()];
    assert!(twins.contains(&"duplicate".into()) && twins.contains(&"used".into()), "{twins:?}");
    assert_eq!(output.status.code(), Some(1));
}

#[test]
fn no_name_speaks_to_the_terminal() {
    let home = odd_folder();
    for words in [["frames", "shoot"], ["measure", "shoot"]] {
        let output = run(home.path(), &words);
        assert_eq!(output.status.code(), Some(1));
        for said in [&output.stdout, &output.stderr] {
            assert!(!said.contains(&0x1b), "{}", String::from_utf8_lossy(said));
        }
    }
}

#[test]
fn photographs_of_odd_names_are_found_and_corrected() {
    let home = odd_folder();
    let profile = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/kit/quay-six");
    let output = run(home.path(), &["which", "shoot", "--profile", profile, "--out", "used.csv"]);
    // Of a folder of photographs what is no regular file is none.
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    let table = std::fs::read_to_string(home.path().join("used.csv")).unwrap();
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(|r| r.unwrap()).collect();
    for cell in rows.iter().flatten() {
        assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r']), "{cell:?}");
    }
    // Where a relative path begins with a dash, `--` or `./` says that it is one.
    let shoot = home.path().join("shoot");
    for dashed in ["-rf.dng", "./-rf.dng"] {
        let output = run(&shoot, &["which", "--profile", profile, "--replace", "--", dashed]);
        assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    }
    let filtered = OsString::from("shoot/=2+5 \u{1b}[31m\n3.dng");
    let no_text = OsStr::from_bytes(b"shoot/P\xff\xfe2.dng").to_owned();
    let mut words: Vec<OsString> = vec!["correct".into(), filtered, no_text];
    words.extend(["--white", "5500", "--profile", profile, "--out", "out"].map(OsString::from));
    let output = run(home.path(), &words);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(home.path().join("out").join("=2+5 \u{1b}[31m\n3-corrected.dng").is_file(), "{said}");
    let table = std::fs::read_to_string(home.path().join("out/corrections.csv")).unwrap();
    assert!(!table.contains('\u{1b}'), "{table}");
}

#[test]
fn a_folder_may_be_named_anything() {
    let home = odd_folder();
    for name in [OsStr::new("-shoot"), OsStr::from_bytes(b"s\xffhoot"), OsStr::new("../x\u{7}\ny")]
    {
        let name =
            OsStr::from_bytes(name.as_bytes().strip_prefix(b"../").unwrap_or(name.as_bytes()));
        std::fs::rename(home.path().join("shoot"), home.path().join(name)).unwrap();
        let words = [OsStr::new("measure"), OsStr::new("--format"), OsStr::new("json")];
        let output = run(home.path(), &[words.as_slice(), &[OsStr::new("--"), name]].concat());
        assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stderr));
        assert!(json(&output)["settings"][0]["strength"]["stops"].is_number());
        std::fs::rename(home.path().join(name), home.path().join("shoot")).unwrap();
    }
}
