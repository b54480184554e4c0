//! What must hold whatever the folder, the links and the command line are: no input becomes an
//! output, nothing is read without end, every file is told of, and what one command takes every
//! other takes.

#![cfg(unix)]
#![allow(clippy::unwrap_used)]

use crate::support::{program, small_shoot, within};
use serde_json::Value;
use std::fs;
use std::os::unix::fs::symlink;
use std::path::Path;
use std::process::{Command, Output};
use std::time::Duration;

const PATIENCE: Duration = Duration::from_secs(60);
const KIT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/kit/quay-six");
/// Bytes of address space with which the program itself must do.
const MEMORY: u64 = 1 << 30;

fn run(folder: &Path, words: &[&str]) -> Output {
    let mut command = program();
    let output = within(command.current_dir(folder).args(words), PATIENCE);
    assert!(!said(&output).contains("panicked"), "{}", said(&output));
    assert!(!said(&output).contains("os error"), "{}", said(&output));
    output
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// The same with little memory.
fn run_small(folder: &Path, words: &[&str]) -> Output {
    let script = format!("ulimit -v {}; exec \"$0\" \"$@\"", MEMORY >> 10);
    let mut command = Command::new("sh");
    command.args(["-c", &script, env!("CARGO_BIN_EXE_lightloss")]).args(words);
    let output = within(command.current_dir(folder), PATIENCE);
    assert!(!said(&output).contains("panicked"), "{}", said(&output));
    output
}

fn home() -> tempfile::TempDir {
    let home = tempfile::tempdir().unwrap();
    small_shoot(&home.path().join("shoot"));
    home
}

/// A profile of the kit, to be written at will.
fn profile(home: &Path, name: &str) {
    fs::create_dir(home.join(name)).unwrap();
    fs::copy(Path::new(KIT).join("profile.json"), home.join(name).join("profile.json")).unwrap();
}

#[test]
fn no_photograph_becomes_a_table() {
    let home = home();
    let photo = home.path().join("shoot/P0001.dng");
    let before = fs::read(&photo).unwrap();
    symlink("shoot/P0001.dng", home.path().join("link.csv")).unwrap();
    fs::hard_link(&photo, home.path().join("hard.csv")).unwrap();
    symlink("shoot", home.path().join("other")).unwrap();
    let spellings = [
        "shoot/P0001.dng",
        "./shoot/../shoot/P0001.dng",
        "other/P0001.dng",
        "link.csv",
        "hard.csv",
    ];
    for out in spellings {
        let words = ["which", "shoot/P0001.dng", "--profile", KIT, "--out", out, "--replace"];
        let output = run(home.path(), &words);
        assert_eq!(output.status.code(), Some(2), "{out}: {}", said(&output));
        assert!(said(&output).contains("P0001.dng"), "{}", said(&output));
        assert_eq!(fs::read(&photo).unwrap(), before, "{out}");
    }
}

#[test]
fn no_profile_or_photograph_is_written_over_by_what_comes_of_it() {
    let home = home();
    let shoot = home.path().join("shoot");
    profile(home.path(), "six");
    // The corrected file's name leads back to the photograph.
    fs::create_dir(home.path().join("out")).unwrap();
    symlink("../shoot/P0003.dng", home.path().join("out/P0003-corrected.dng")).unwrap();
    let before = fs::read(shoot.join("P0003.dng")).unwrap();
    let words =
        ["correct", "shoot/P0003.dng", "--profile", "six", "--white", "5600", "--out", "out"];
    let output = run(home.path(), &[&words[..], &["--replace"]].concat());
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    assert_eq!(fs::read(shoot.join("P0003.dng")).unwrap(), before);
    // A part of a stack is no place for the stack.
    let kept = fs::read(home.path().join("six/profile.json")).unwrap();
    profile(home.path(), "three");
    let words = ["measure", "shoot", "--parts", "six,three", "--out", "./six", "--replace"];
    let output = run(home.path(), &words);
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    assert!(!said(&output).contains("is one filter"), "{}", said(&output));
    assert_eq!(fs::read(home.path().join("six/profile.json")).unwrap(), kept);
}

#[test]
fn pipes_devices_and_giants_are_refused_in_every_place() {
    let home = home();
    assert!(
        Command::new("mkfifo").arg("pipe").current_dir(home.path()).status().unwrap().success()
    );
    symlink("/dev/zero", home.path().join("zero")).unwrap();
    let giant = fs::File::create(home.path().join("giant")).unwrap();
    giant.set_len(6 << 30).unwrap();
    for odd in ["pipe", "zero", "giant"] {
        let places: [&[&str]; 5] = [
            &["report", odd],
            &["compare", odd, KIT],
            &["choose", odd, "--metered", "1/15", "--want", "30s"],
            &["which", "shoot", "--profile", odd],
            &["correct", "shoot", "--used", odd],
        ];
        for words in places {
            let output = run_small(home.path(), words);
            assert!(matches!(output.status.code(), Some(2 | 3)), "{words:?}: {}", said(&output));
        }
        for beside in ["shoot.json", "P0001.xmp"] {
            let place = home.path().join("shoot").join(beside);
            symlink(home.path().join(odd), &place).unwrap();
            let words = match beside {
                "shoot.json" => vec!["frames", "shoot"],
                _ => vec![
                    "which",
                    "shoot/P0001.dng",
                    "--profile",
                    KIT,
                    "--out",
                    "t.csv",
                    "--replace",
                ],
            };
            let output = run_small(home.path(), &words);
            let status = if beside == "shoot.json" { 3 } else { 0 };
            assert_eq!(output.status.code(), Some(status), "{odd}, {beside}: {}", said(&output));
            fs::remove_file(place).unwrap();
        }
    }
}

#[test]
fn a_giant_neighbour_takes_no_memory() {
    let home = home();
    let giant = fs::File::create(home.path().join("shoot/P0001.jpg")).unwrap();
    giant.set_len(1 << 30).unwrap();
    let output = run_small(home.path(), &["frames", "shoot", "--format", "json"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
}

#[test]
fn a_sidecar_of_open_items_takes_no_memory() {
    let home = home();
    let text = format!("<dc:subject>{}</dc:subject>", "<rdf:li>".repeat(30_000));
    fs::write(home.path().join("shoot/P0001.xmp"), text).unwrap();
    let words = ["which", "shoot/P0001.dng", "--profile", KIT, "--out", "table.csv"];
    let output = run_small(home.path(), &words);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
}

#[test]
fn every_file_below_the_folder_is_listed_or_counted() {
    let home = home();
    let shoot = home.path().join("shoot");
    let put = |folder: &str| {
        fs::create_dir_all(shoot.join(folder)).unwrap();
        fs::copy(shoot.join("P0001.dng"), shoot.join(folder).join("P0099.dng")).unwrap();
    };
    put("a/b/c/d/e");
    put("ten-profile");
    fs::write(shoot.join("ten-profile/profile.json"), "{}").unwrap();
    // The page of the plan that the shoot was made by is no stranger.
    fs::write(shoot.join("plan.html"), "").unwrap();
    symlink(home.path(), shoot.join("all")).unwrap();
    let output = run(home.path(), &["frames", "shoot"]);
    let text = said(&output);
    for told in [
        "1 frame more than three folders down",
        "1 frame beside a profile.json",
        "1 linked folder, not followed",
        "1 file that is no frame",
    ] {
        assert!(text.contains(told), "{told:?}: {text}");
    }
}

/// The program as an ordinary user runs it: root may open everything.
fn ordinary(home: &Path) -> Command {
    open(home, 0o755);
    let program = home.join("lightloss");
    if !program.exists() {
        fs::copy(env!("CARGO_BIN_EXE_lightloss"), &program).unwrap();
    }
    let mut command = Command::new("setpriv");
    let nobody = ["--reuid=65534", "--regid=65534", "--clear-groups"];
    if command.args(nobody).arg("true").status().is_ok_and(|done| done.success()) {
        command = Command::new("setpriv");
        command.args(nobody).arg(program);
    } else {
        command = Command::new(program);
    }
    command.current_dir(home).env("HOME", home);
    command
}

fn open(path: &Path, mode: u32) {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
}

#[test]
fn a_closed_folder_stops_nothing() {
    let home = home();
    let shoot = home.path().join("shoot");
    fs::create_dir(shoot.join("System Volume Information")).unwrap();
    open(&shoot.join("System Volume Information"), 0o000);
    let mut command = ordinary(home.path());
    let output = within(command.args(["frames", "shoot", "--format", "json"]), PATIENCE);
    open(&shoot.join("System Volume Information"), 0o700);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let frames: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(frames["frames"].as_array().unwrap().len(), 6);
    assert!(said(&output).contains("1 folder that may not be opened"), "{}", said(&output));
}

/// What was found, and what to do that the command can take; and never what it cannot.
#[test]
fn what_is_refused_says_what_to_do() {
    let home = home();
    let put = |name: &str, text: &str| {
        let path = home.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    };
    put("note.txt", "tide 0412\n");
    put("notes/a.dng", "tide 0412\n");
    put("notes/b.dng", "tide 0426\n");
    put("bare/profile.json", "{}");
    put("planned/shoot.json", r#"{"schema": "lightloss-shoot/7", "frames": "otherwise"}"#);
    fs::copy(home.path().join("shoot/P0001.dng"), home.path().join("planned/P0001.dng")).unwrap();
    fs::create_dir(home.path().join("empty")).unwrap();
    let which = |out: &'static str| ["which", "shoot", "--profile", KIT, "--out", out];
    let replaced: Vec<&str> = [&which("empty")[..], &["--replace"]].concat();
    let refused: [(&[&str], i32, &str); 11] = [
        (&["report", "note.txt"], 3, "); give a profile.json that lightloss wrote"),
        (&["report", "bare"], 3, "has no schema, expected \"lightloss-profile/1\"; give a profile"),
        (&which("empty"), 3, "empty is a folder; give the name of a file"),
        (&replaced, 3, "empty is a folder; give the name of a file"),
        (&which("gone/t.csv"), 3, "gone does not exist; make it first, or choose another"),
        (&["measure", "planned"], 3, "lightloss-shoot/7\", this program reads"),
        (&["measure", "planned"], 3, "use a later version of lightloss, or take it out of"),
        (&["open", "--no-browser", "gone"], 3, "; give the folder that holds the frames"),
        (
            &["frames", "notes"],
            3,
            "a.dng: this is not a photograph (a text); leave it out (nor could",
        ),
        (&["demo", "--out", "note.txt"], 2, "note.txt is not a folder; name a new one with --out"),
        (&["report", KIT, "--out", "o"], 2, "unexpected argument '--out' found\n\nUsage"),
    ];
    for (words, status, says) in refused {
        let output = run(home.path(), words);
        assert_eq!(output.status.code(), Some(status), "{words:?}: {}", said(&output));
        assert!(said(&output).contains(says), "{words:?}: {}", said(&output));
    }
}

/// What a person may not read or write is said as that, with a way that is open to them.
#[test]
fn what_is_closed_says_how_to_go_on() {
    let home = home();
    fs::create_dir(home.path().join("closed")).unwrap();
    open(&home.path().join("closed"), 0o000);
    profile(home.path(), "secret");
    open(&home.path().join("secret/profile.json"), 0o000);
    profile(home.path(), "theirs");
    open(&home.path().join("theirs"), 0o555);
    let refused: [(&[&str], &str); 5] = [
        (&["measure", "closed"], "(permission denied); give yourself the right to read it"),
        (&["which", "closed", "--profile", KIT], "; give yourself the right to read it"),
        (&["report", "secret"], "(permission denied); give yourself the right to read it"),
        (
            &["report", "theirs"],
            "beside its profile, so copy that into a folder in which you may write",
        ),
        (&["measure", "shoot", "--out", "theirs/new"], "choose another with --out"),
    ];
    for (words, says) in refused {
        let output = within(ordinary(home.path()).args(words), PATIENCE);
        assert_eq!(output.status.code(), Some(3), "{words:?}: {}", said(&output));
        assert!(said(&output).contains(says), "{words:?}: {}", said(&output));
        let advised = said(&output).contains("--out");
        assert!(!advised || words.contains(&"--out"), "{words:?}: {}", said(&output));
    }
    for closed in ["closed", "theirs"] {
        open(&home.path().join(closed), 0o755);
    }
}

#[test]
fn numbers_that_no_camera_has_are_refused_at_every_door() {
    let home = home();
    let choose = |flag: &'static str, value: &'static str| {
        ["choose", KIT, "--metered", "1/15", "--want", "30s", flag, value]
    };
    for (flag, value) in
        [("--f", "1e300"), ("--f", "0"), ("--iso", "1e300"), ("--focal", "1e9"), ("--focal", "nan")]
    {
        let output = run(home.path(), &choose(flag, value));
        assert_eq!(output.status.code(), Some(2), "{flag} {value}: {}", said(&output));
        if flag != "--iso" {
            let output = run(home.path(), &["measure", "shoot", flag, value, "--out", "o"]);
            assert_eq!(output.status.code(), Some(2), "{flag} {value}: {}", said(&output));
        }
    }
    for time in ["1/99999999999", "0.0000000000001", "25h"] {
        let words = ["choose", KIT, "--metered", time, "--want", "30s"];
        assert_eq!(run(home.path(), &words).status.code(), Some(2), "{time}");
        let named = format!("P0003.dng={time}");
        let words = ["measure", "shoot", "--time", &named, "--out", "o"];
        assert_eq!(run(home.path(), &words).status.code(), Some(2), "{time}");
    }
}

#[test]
fn a_long_name_is_no_obstacle() {
    let home = home();
    let name = "Förde ".repeat(80);
    let output = run(home.path(), &["measure", "shoot", "--name", &name]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    // As long as the disk takes, so that nothing can be put behind it.
    let long = format!("shoot/{}.dng", "n".repeat(250));
    fs::rename(home.path().join("shoot/P0003.dng"), home.path().join(&long)).unwrap();
    let words = ["correct", &long, "--profile", KIT, "--white", "5600", "--out", "out"];
    let output = run(home.path(), &words);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
}

/// Names that break lines, turn the direction of text or are no XML.
#[test]
fn a_name_is_one_line_that_shows_what_it_holds() {
    let home = home();
    let hostile = "Six\n\u{202e}xiS\u{7}\u{ffff} & <b>\"'";
    let output = run(home.path(), &["measure", "shoot", "--name", hostile, "--out", "out"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let written: Value =
        serde_json::from_slice(&fs::read(home.path().join("out/profile.json")).unwrap()).unwrap();
    assert_eq!(written["filter"]["name"], "Six xiS & <b>\"'");
    // Written by somebody else, straight into the document.
    let mut foreign = written.clone();
    foreign["filter"]["name"] = hostile.into();
    foreign["camera"]["model"] = hostile.into();
    fs::write(home.path().join("out/profile.json"), foreign.to_string()).unwrap();
    for words in [
        &["report", "out"][..],
        &["card", "out", "--out", "card"],
        &["plan", "--kind", "solid", "--rated", "6", "--name", hostile, "--out", "plan"],
    ] {
        let output = run(home.path(), words);
        assert_eq!(output.status.code(), Some(0), "{words:?}: {}", said(&output));
        let text = String::from_utf8_lossy(&output.stdout).into_owned() + &said(&output);
        assert!(!text.contains(['\u{202e}', '\u{7}', '\u{ffff}']), "{text:?}");
    }
    let mut pages = 0;
    for file in files_below(home.path()) {
        let end = file.extension().unwrap_or_default().to_string_lossy().into_owned();
        if !["svg", "html"].contains(&end.as_str()) {
            continue;
        }
        let text = fs::read_to_string(&file).unwrap();
        assert!(!text.contains(['\u{202e}', '\u{7}', '\u{ffff}']), "{}", file.display());
        assert!(!text.contains("<b>\""), "{}", file.display());
        if end == "html" {
            pages += 1;
            assert!(
                text.contains("Content-Security-Policy\" content=\"default-src 'none'"),
                "{}",
                file.display()
            );
        }
    }
    assert!(pages >= 4, "{pages} pages");
}

/// The texts travel with the program, not only with its source.
#[test]
fn the_program_prints_the_licences_of_what_it_is_linked_from() {
    let output = run(Path::new("."), &["licences"]);
    assert_eq!(output.status.code(), Some(0));
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    for part in ["rawler 0.8", "rawloader 0.37", "GNU LESSER GENERAL PUBLIC LICENSE", "nalgebra "] {
        assert!(text.contains(part), "{part} is not in it");
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for whole in ["THIRD-PARTY.md", "LICENSES/LGPL-2.1.txt", "LICENSES/third-party.txt"] {
        let file = fs::read_to_string(root.join(whole)).unwrap();
        assert!(file.len() > 1000 && text.contains(file.trim()), "{whole} is not in it");
    }
}

fn files_below(folder: &Path) -> Vec<std::path::PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { found.extend(files_below(&path)) } else { found.push(path) }
    }
    found
}

/// The same number is stops for one filter and a density for another (ISO 5-1: density 3 is a
/// factor of 1000, 3 / log10(2) = 9.966 stops): the measurement settles it, aloud.
#[test]
fn a_rating_of_three_point_nought_is_what_the_filter_shows() {
    use crate::cli::rendered;
    use lightloss::write::dng::Compression;
    let home = tempfile::tempdir().unwrap();
    small_shoot(&home.path().join("six"));
    let ten = rendered(Compression::None, |_| {});
    for (shoot, rated, taken_as) in [
        (home.path().join("six"), "3.0", 3.0),
        (ten.shoot(), "3.0", 9.966),
        (home.path().join("six"), "1.8", 5.979),
    ] {
        let folder = shoot.display().to_string();
        let output = run(home.path(), &["measure", &folder, "--rated", rated, "--format", "json"]);
        let profile: Value = serde_json::from_slice(&output.stdout).unwrap();
        let held = profile["filter"]["rated_stops"].as_f64().unwrap();
        assert!((held - taken_as).abs() < 0.001, "{rated}: {held}");
        let aloud = said(&output).contains(&format!("the rating {rated} is taken as a density"));
        assert_eq!(aloud, taken_as > 4.0, "{}", said(&output));
    }
}
