//! Correcting where something is in the way: a full disk, a folder that cannot be written, a killed
//! program, another camera, a balance set through the filter; and real raw files.

#![allow(clippy::unwrap_used, clippy::print_stderr)]

use crate::editing::{
    LIGHT, SIX, dng, done, evening, lightloss, mosaic, planted, profile, text, through,
};
use crate::support::{SmallDisk, program};
use lightloss::tiff::Value;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::{Duration, Instant};

const ASK: [&str; 5] = ["correct", "L0002.dng", "--profile", "Heron Six.json", "--white"];

fn asked<'a>(more: &[&'a str]) -> Vec<&'a str> {
    [&ASK[..], more].concat()
}

fn files_in(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).unwrap();
    let mut names: Vec<String> =
        entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn a_full_disk_and_a_read_only_disk_are_one_line_and_leave_nothing_half() {
    let (folder, _) = planted();
    let at = folder.path();
    // One corrected file has 150 to 250 kB.
    let Some(disk) = SmallDisk::mounted(at.join("small"), 64) else {
        eprintln!("SKIPPED: no file system can be mounted here, a full disk was not tried");
        return;
    };
    let output = lightloss(at, &asked(&["5600", "--out", "small"]));
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(3), "{said}");
    let full: Vec<&str> = said.lines().filter(|l| l.contains("full")).collect();
    assert_eq!(full.len(), 1, "{said}");
    assert!(full[0].contains("L0002.dng") && !full[0].contains("os error"), "{said}");
    assert!(files_in(&disk.0).iter().all(|n| n == "corrections.csv"), "{:?}", files_in(&disk.0));
    // The table of numbers tells it too.
    let table = std::fs::read_to_string(disk.0.join("corrections.csv")).unwrap();
    assert!(table.contains("L0002.dng") && table.contains("not written: "), "{table}");
    disk.read_only();
    let which = ["which", ".", "--profile", "Heron Six.json", "--out", "small/used.csv"];
    let said = text(&lightloss(at, &which).stderr);
    let why =
        "small/used.csv cannot be written: the disk is read-only; choose another folder with --out";
    assert!(said.contains(why), "{said}");
    let output = lightloss(at, &asked(&["5600", "--out", "small", "--replace"]));
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(3), "{said}");
    let lines: Vec<&str> = said.lines().filter(|l| l.contains("read-only")).collect();
    assert!(!lines.is_empty() && !said.contains("os error"), "{said}");
}

#[test]
fn a_folder_that_cannot_be_made_is_one_line() {
    let (folder, _) = planted();
    // A path below a file: nobody may write there, not even the administrator.
    let output = lightloss(folder.path(), &asked(&["5600", "--out", "L0001.dng/corrected"]));
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(3), "{said}");
    let line = said.lines().last().unwrap();
    assert!(line.contains("L0001.dng/corrected") && line.contains("--out"), "{said}");
    assert!(!said.contains("os error"), "{said}");
}

/// The photographs of an evening are not read first.
#[test]
fn a_table_that_cannot_be_written_is_said_before_the_work() {
    let (folder, _) = planted();
    let at = folder.path();
    std::fs::write(at.join("L0009.dng"), "no photograph").unwrap();
    let which = ["which", ".", "--profile", "Heron Six.json", "--out"];
    let asked = |out: &str| lightloss(at, &[&which[..], &[out]].concat());
    let output = asked("nowhere/used.csv");
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(3), "{said}");
    assert!(said.contains("the folder nowhere does not exist"), "{said}");
    assert!(!said.contains("L0009.dng"), "{said}");
    let output = asked("used.csv");
    assert_eq!(output.status.code(), Some(1));
    assert!(text(&output.stderr).contains("L0009.dng"));
}

#[test]
fn killed_at_any_moment_it_leaves_whole_files_or_none() {
    let (folder, files) = planted();
    let at = folder.path();
    let mut written = 0;
    for round in 0..12_u64 {
        let out = at.join(format!("out{round}"));
        let mut child = program()
            .current_dir(at)
            .args(["correct", ".", "--profile", "Heron Six.json", "--white", "5600", "--out"])
            .arg(&out)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        // Spread over the run, however slow the machine is: after so many whole files, then a little
        // later each round.
        let seen = || if out.is_dir() { files_in(&out) } else { Vec::new() };
        let whole = || seen().iter().filter(|n| n.ends_with(".dng")).count() as u64;
        let since = Instant::now();
        while whole() < round / 3
            && since.elapsed() < Duration::from_secs(60)
            && child.try_wait().unwrap().is_none()
        {
            std::thread::sleep(Duration::from_millis(1));
        }
        std::thread::sleep(Duration::from_millis(7 * (round % 3)));
        child.kill().unwrap();
        child.wait().unwrap();
        for name in seen().iter().filter(|n| n.ends_with(".dng")) {
            let original = at.join(name.replace("-corrected", ""));
            assert_eq!(mosaic(&out.join(name)), mosaic(&original), "{name}");
            written += 1;
        }
    }
    assert!(written > 0, "no round lived long enough to write one of {} files", files.len());
}

#[test]
fn a_profile_of_another_camera_is_said_and_used() {
    let (folder, _) = planted();
    let at = folder.path();
    let other = profile("Heron Six", SIX).replace("\"One\"", "\"Two\"");
    std::fs::write(at.join("two.json"), other).unwrap();
    let asked = ["correct", "L0002.dng", "--profile", "two.json", "--white", "5600"];
    let output = lightloss(at, &asked);
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{said}");
    let lines: Vec<&str> = said.lines().filter(|l| l.contains("was measured with Two")).collect();
    assert_eq!(lines.len(), 1, "{said}");
    // Evenness needs the sensor's size, which this photograph does not tell.
    let output = lightloss(at, &[&asked[..], &["--evenness", "--replace"]].concat());
    assert!(text(&output.stderr).contains("sensor size is not known"), "{}", text(&output.stderr));
}

#[test]
fn a_balance_set_by_hand_through_the_filter_stops() {
    let (folder, _) = planted();
    let at = folder.path();
    let photo = &evening()[1];
    let by_hand = |neutral: [f64; 3], name: &str| {
        let mut file = dng(photo, through(photo));
        file.as_shot_neutral = Some(neutral);
        let exif = file.exif.as_mut().unwrap();
        // Exif 2.32: WhiteBalance 1 manual, LightSource 255 other.
        exif.more.retain(|(tag, _)| *tag != 0x9208);
        exif.more.push((0x9208, Value::Short(vec![255])));
        std::fs::write(at.join(name), file.encode().unwrap()).unwrap();
    };
    let filtered: [f64; 3] = std::array::from_fn(|c| LIGHT[c] * (SIX[1] - SIX[c]).exp2());
    by_hand(filtered, "hand.dng");
    by_hand(LIGHT, "before.dng");
    let ask = |name: &str| {
        let asked = ["correct", "L0001.dng", name, "--profile", "Heron Six.json"];
        let output = lightloss(at, &asked);
        (output.status.code(), text(&output.stderr))
    };
    let (status, said) = ask("hand.dng");
    assert_eq!(status, Some(3), "{said}");
    let told = said.contains("probably set through the filter");
    assert!(told || said.contains("nothing tells whether this balance"), "{said}");
    assert!(!at.join("corrected").join("hand-corrected.dng").exists());
    // The user's word wins, and a cast as small as this one leaves nothing else to go by.
    let word = ["correct", "before.dng", "--profile", "Heron Six.json", "--white", "as-shot"];
    done(at, &word);
}

#[test]
fn light_far_from_the_profiles_is_said() {
    let (folder, _) = planted();
    // 5600 K against 2856 K: 350 - 179 = 171 mired.
    let output = lightloss(folder.path(), &asked(&["2856"]));
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(said.contains("5600 K") && said.contains("171") || said.contains("172"), "{said}");
    // 5600 K against 4500 K: 44 mired.
    let output = lightloss(folder.path(), &asked(&["4500", "--replace"]));
    assert!(!text(&output.stderr).contains("mired"), "{}", text(&output.stderr));
}

#[test]
fn gains_alone_write_no_picture() {
    let (folder, _) = planted();
    let at = folder.path();
    done(at, &asked(&["5600", "--gains-only", "--out", "numbers"]));
    assert_eq!(files_in(&at.join("numbers")), ["corrections.csv"]);
    let table = std::fs::read_to_string(at.join("numbers/corrections.csv")).unwrap();
    // 2^(6.00 - 6.10) and 2^(6.25 - 6.10).
    assert!(table.contains("0.9330,1.0000,1.1096"), "{table}");
    assert!(table.contains("a direction, not a setting"), "{table}");
}

#[test]
fn real_raw_files_keep_every_count() {
    let Some(folder) = std::env::var_os("LIGHTLOSS_RAW_SAMPLES").map(PathBuf::from) else {
        eprintln!("SKIPPED: LIGHTLOSS_RAW_SAMPLES is not set, no real raw file to correct");
        return;
    };
    let room = tempfile::tempdir().unwrap();
    let at = room.path();
    std::fs::write(at.join("six.json"), profile("Heron Six", SIX)).unwrap();
    let mut kept = Vec::new();
    for name in files_in(&folder) {
        let original = folder.join(&name);
        let Ok(image) = rawler::decode_file(&original) else { continue };
        if image.cpp != 1 || !matches!(image.data, rawler::rawimage::RawImageData::Integer(_)) {
            continue;
        }
        let out = format!("out-{name}");
        let words = ["correct", original.to_str().unwrap(), "--profile", "six.json"];
        // A frame of their own light: cameras without a matrix know no temperature.
        let mut output = lightloss(at, &[&words[..], &["--white", "5600", "--out", &out]].concat());
        if text(&output.stderr).contains("no colour matrix") {
            output = lightloss(at, &[&words[..], &["--out", &out]].concat());
        }
        if !output.status.success() {
            eprintln!("{name}: {}", text(&output.stderr).trim());
            continue;
        }
        let stem = original.file_stem().unwrap().to_str().unwrap();
        let corrected = at.join(&out).join(format!("{stem}-corrected.dng"));
        let again = rawler::decode_file(&corrected).unwrap();
        assert_eq!((again.width, again.height), (image.width, image.height), "{name}");
        assert_eq!(mosaic(&corrected), mosaic(&original), "{name}");
        kept.push(name);
    }
    eprintln!("identical: {kept:?}");
    assert!(kept.len() >= 3, "{kept:?}");
}

#[test]
fn what_is_not_there_is_said_with_what_to_give() {
    let (folder, _) = planted();
    let at = folder.path();
    let no_profile = ["correct", "L0002.dng", "--profile", "nowhere"];
    let no_table = ["correct", "L0002.dng", "--used", "nowhere.csv"];
    for (words, give) in [(no_profile, "profile.json"), (no_table, "which writes one")] {
        let said = text(&lightloss(at, &words).stderr);
        assert_eq!(said.trim_end().lines().count(), 1, "{said}");
        assert!(said.contains("no such file") && said.contains(give), "{said}");
        assert!(!said.contains("os error"), "{said}");
    }
    let neither = text(&lightloss(at, &["correct", "L0002.dng"]).stderr);
    assert!(neither.contains("--profile") && neither.contains("--used"), "{neither}");
}
