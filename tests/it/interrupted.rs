//! Nothing is lost: runs that are killed leave no half file, runs side by side do not mix, a full
//! disk is said in one line.

#![cfg(unix)]
#![allow(clippy::unwrap_used, clippy::print_stderr)]

use crate::support::{program, small_shoot, within};
use lightloss::profile::json::Document;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const PROGRAM: &str = env!("CARGO_BIN_EXE_lightloss");
const KIT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/kit/quay-six");
const SEED: u64 = 20_310_517;
const KILLED: usize = 24;
const PATIENCE: Duration = Duration::from_secs(60);

fn start(folder: &Path, words: &[&str]) -> Child {
    let mut command = program();
    command.current_dir(folder).args(words).stdout(Stdio::null()).stderr(Stdio::null());
    command.spawn().unwrap()
}

fn files_under(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let paths = entries.map(|e| e.unwrap().path());
    paths.flat_map(|p| if p.is_dir() { files_under(&p) } else { vec![p] }).collect()
}

/// Every file under its own name is whole; what was not finished has a name that says so.
fn all_whole(folder: &Path) -> usize {
    let mut whole = 0;
    for path in files_under(folder) {
        let name = path.file_name().unwrap().to_str().unwrap();
        if name.starts_with(".lightloss-") && name.ends_with(".part") {
            continue;
        }
        let bytes = std::fs::read(&path).unwrap();
        let text = || String::from_utf8(bytes.clone()).unwrap();
        let fine = match path.extension().unwrap().to_str().unwrap() {
            "json" => Document::parse(&text()).is_ok(),
            "html" => text().trim_end().ends_with("</html>"),
            "svg" => text().trim_end().ends_with("</svg>"),
            "csv" => text().ends_with('\n') && every_row(&text()),
            "dng" => lightloss::read::read_frame(&path, "it", Default::default()).is_ok(),
            "png" => image::load_from_memory(&bytes).is_ok(),
            other => panic!("{other}"),
        };
        assert!(fine, "{} is half a file of {} bytes", path.display(), bytes.len());
        whole += 1;
    }
    whole
}

/// Whether there are rows below the header, each with all of its cells.
fn every_row(table: &str) -> bool {
    let rows: Vec<_> = csv::Reader::from_reader(table.as_bytes()).into_records().collect();
    !rows.is_empty() && rows.iter().all(Result::is_ok)
}

/// How long a command takes that is not killed.
fn usual(folder: &Path, words: &[&str]) -> Duration {
    let began = Instant::now();
    assert!(start(folder, words).wait().unwrap().code().unwrap() < 2);
    began.elapsed()
}

#[test]
fn a_run_that_is_killed_leaves_no_half_file() {
    let home = tempfile::tempdir().unwrap();
    small_shoot(&home.path().join("shoot"));
    let commands: [&[&str]; 2] = [
        &["measure", "shoot", "--out", "out"],
        &["correct", "shoot", "--profile", KIT, "--out", "out"],
    ];
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    let mut some = 0;
    for words in commands {
        let usual = usual(home.path(), words);
        let complete = all_whole(&home.path().join("out"));
        assert!(complete > 2, "{complete}");
        std::fs::remove_dir_all(home.path().join("out")).unwrap();
        for _ in 0..KILLED / 2 {
            let mut child = start(home.path(), words);
            std::thread::sleep(usual.mul_f64(random.random_range(0.2..1.0)));
            child.kill().unwrap();
            child.wait().unwrap();
            let whole = all_whole(&home.path().join("out"));
            some += usize::from(whole > 0 && whole < complete);
            drop(std::fs::remove_dir_all(home.path().join("out")));
        }
        // What remains does not stand in the way of the next run.
        let mut child = start(home.path(), words);
        std::thread::sleep(usual.mul_f64(0.8));
        child.kill().unwrap();
        child.wait().unwrap();
        let again = [words, &["--replace"]].concat();
        assert!(start(home.path(), &again).wait().unwrap().code().unwrap() < 2);
        assert_eq!(all_whole(&home.path().join("out")), complete);
        std::fs::remove_dir_all(home.path().join("out")).unwrap();
    }
    eprintln!("{some} of {KILLED} runs were killed while they wrote");
}

#[test]
fn a_killed_replacement_leaves_the_old_file_or_the_new_one() {
    let home = tempfile::tempdir().unwrap();
    small_shoot(&home.path().join("shoot"));
    let words = ["measure", "shoot", "--out", "out", "--replace", "--name"];
    let usual = usual(home.path(), &[words.as_slice(), &["Old Name"]].concat());
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    for _ in 0..KILLED / 2 {
        let mut child = start(home.path(), &[words.as_slice(), &["New Name"]].concat());
        std::thread::sleep(usual.mul_f64(random.random_range(0.5..1.1)));
        child.kill().unwrap();
        child.wait().unwrap();
        all_whole(&home.path().join("out"));
        let text = std::fs::read_to_string(home.path().join("out/profile.json")).unwrap();
        let name = Document::parse(&text).unwrap().profile.filter.name;
        assert!(["Old Name", "New Name"].contains(&name.as_str()), "{name}");
    }
}

#[test]
fn two_runs_into_one_folder_do_not_mix() {
    let home = tempfile::tempdir().unwrap();
    for (name, stops) in [("one", "6"), ("two", "6.3")] {
        small_shoot(&home.path().join(name));
        std::fs::write(home.path().join(name).join("note.txt"), stops).unwrap();
    }
    for round in 0..4 {
        let out = format!("out{round}");
        let run = |name: &'static str| {
            let mut command = program();
            command.current_dir(home.path()).args(["measure", name, "--name", name, "--out", &out]);
            command.stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap()
        };
        let children = [run("one"), run("two")];
        let ends = children.map(|c| c.wait_with_output().unwrap());
        let statuses: Vec<i32> = ends.iter().map(|o| o.status.code().unwrap()).collect();
        let winners = statuses.iter().filter(|s| **s == 0).count();
        assert_eq!(winners, 1, "{statuses:?}: one writes, the other is refused");
        let loser = &ends[statuses.iter().position(|s| *s != 0).unwrap()];
        assert_eq!(loser.status.code(), Some(3));
        let said = String::from_utf8_lossy(&loser.stderr);
        assert!(said.lines().last().unwrap().contains(&out), "{said}");
        // Everything in the folder is of the run that won.
        let name = ["one", "two"][statuses.iter().position(|s| *s == 0).unwrap()];
        let folder = home.path().join(&out);
        all_whole(&folder);
        let text = std::fs::read_to_string(folder.join("profile.json")).unwrap();
        assert_eq!(Document::parse(&text).unwrap().profile.filter.name, name);
        let page = std::fs::read_to_string(folder.join("report.html")).unwrap();
        assert!(page.contains(&format!("<title>{name}")), "{}", &page[..400]);
        assert!(files_under(&folder).iter().all(|p| !p.to_string_lossy().ends_with(".part")));
    }
}

/// A small memory disk where one may be mounted; otherwise the limit on a file's size stands for it.
fn small_disk(home: &Path) -> Option<PathBuf> {
    let place = home.join("disk");
    std::fs::create_dir(&place).unwrap();
    let mut mount = Command::new("mount");
    mount.args(["-t", "tmpfs", "-o", "size=64k", "tmpfs"]).arg(&place).stderr(Stdio::null());
    mount.status().is_ok_and(|s| s.success()).then_some(place)
}

#[test]
fn a_full_disk_is_said_in_one_line() {
    let home = tempfile::tempdir().unwrap();
    small_shoot(&home.path().join("shoot"));
    let Some(disk) = small_disk(home.path()) else {
        eprintln!("SKIPPED: no disk may be mounted here; the limit on files is tried instead");
        return;
    };
    let out = disk.join("out").display().to_string();
    for words in [
        vec!["measure", "shoot", "--out", &out],
        vec!["correct", "shoot", "--profile", KIT, "--out", &out],
    ] {
        let output = within(program().current_dir(home.path()).args(&words), PATIENCE);
        let said = String::from_utf8(output.stderr).unwrap();
        let left = files_under(&disk);
        let lines: Vec<&str> = said.lines().filter(|l| l.contains("the disk is full")).collect();
        assert_eq!(output.status.code(), Some(3), "{said}");
        assert!(!lines.is_empty(), "{said}");
        assert!(said.lines().last().unwrap().starts_with("lightloss: "), "{said}");
        all_whole(&disk);
        assert!(left.iter().all(|p| !p.to_string_lossy().ends_with(".part")), "{left:?}");
        drop(std::fs::remove_dir_all(disk.join("out")));
    }
    assert!(Command::new("umount").arg(&disk).status().unwrap().success());
}

#[test]
fn a_file_that_may_not_grow_is_said_in_one_line() {
    let home = tempfile::tempdir().unwrap();
    small_shoot(&home.path().join("shoot"));
    // In blocks of 512 bytes: less than the page and the profile need. The signal that would end
    // the program is ignored, as disks send none.
    let line = format!("trap '' XFSZ; ulimit -f 8; exec {PROGRAM} measure shoot --out out");
    let output = within(Command::new("sh").current_dir(home.path()).args(["-c", &line]), PATIENCE);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(3), "{said}");
    let last = said.lines().last().unwrap();
    assert!(last.starts_with("lightloss: ") && last.contains("cannot be written"), "{said}");
    assert!(!files_under(&home.path().join("out")).iter().any(|p| p.ends_with("profile.json")));
    all_whole(&home.path().join("out"));
}
