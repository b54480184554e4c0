//! Damaged documents: profiles, `shoot.json`, `used.csv`, each read by every command that reads it.

use super::counts::{Counts, SLOWEST};
use super::documents::{csv_damage, json_damage};
use super::mutations::Mutated;
use super::watched::Fence;
use lightloss::simulate::files::write_all;
use lightloss::write::dng::Compression;
use lightloss_planted::small_session;
use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::path::{Path, PathBuf};

const GOOD: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/kit/quay-six");
/// Profiles that are given to a command together.
const KIT: usize = 20;

pub fn campaign(fence: &Fence, files: usize, seed: u64, counts: &mut Counts) {
    let mut random = ChaCha8Rng::seed_from_u64(seed ^ 0x5eed);
    let shoot = fence.fresh("work/shoot");
    let (session, shots) = small_session::shoot();
    write_all(&session, &session.take(&shots), &shoot, Compression::None, false).unwrap();
    profiles(fence, files / 2, &mut random, counts);
    shoot_files(fence, files / 4, &mut random, counts);
    tables(fence, files - files / 2 - files / 4, &mut random, counts);
    std::fs::remove_dir_all(shoot).unwrap();
}

/// The fixtures' profiles.
fn profile_texts() -> Vec<String> {
    let mut paths: Vec<PathBuf> = ["kit", "profiles"]
        .iter()
        .flat_map(|folder| {
            let folder = crate::kept::repository().join("fixtures").join(folder);
            std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path().join("profile.json"))
        })
        .collect();
    paths.sort();
    paths.iter().map(|p| std::fs::read_to_string(p).unwrap()).collect()
}

/// One run under watch, whose faults are put down to one damaged document.
fn watched(
    fence: &Fence,
    words: &[&str],
    what: &str,
    bytes: &[u8],
    counts: &mut Counts,
) -> Option<String> {
    let command = ["report", "card", "choose", "compare", "which", "correct", "frames", "measure"];
    let name = command.iter().find(|c| **c == words[0]).unwrap();
    let before = fence.snapshot();
    let run = fence.run(words);
    let mut at_fault = counts.run(name, &run, what);
    if run.took > SLOWEST {
        counts.fault(format!("{name}, {what}: took {:.1} s", run.took.as_secs_f64()));
        at_fault = true;
    }
    if fence.snapshot() != before {
        counts.fault(format!("{name}, {what}: something was written outside the output folder"));
        at_fault = true;
    }
    if at_fault {
        counts.faulty(&format!("{name}-{what}"), bytes);
    }
    matches!(run.status, Some(2 | 3)).then_some(run.err)
}

fn profiles(fence: &Fence, files: usize, random: &mut ChaCha8Rng, counts: &mut Counts) {
    let texts = profile_texts();
    let others = texts.concat().into_bytes();
    let mut made = 0;
    while made < files {
        let out = fence.fresh("out");
        let mut folders = Vec::new();
        for number in made..(made + KIT).min(files) {
            // Long ones are a few: a mutation hits their header just as well in the short ones.
            let text = texts.choose(random).unwrap();
            let text = if text.len() > 500_000 { texts.choose(random).unwrap() } else { text };
            let mutated = json_damage(text, random, &others);
            let folder = out.join(format!("p{number:05}"));
            std::fs::create_dir(&folder).unwrap();
            std::fs::write(folder.join("profile.json"), &mutated.bytes).unwrap();
            let path = folder.display().to_string();
            one_profile(fence, &path, number, &mutated, random, counts);
            folders.push(path);
        }
        made += folders.len();
        together(fence, &out, &folders, made, counts);
    }
}

fn one_profile(
    fence: &Fence,
    path: &str,
    number: usize,
    mutated: &Mutated,
    random: &mut ChaCha8Rng,
    counts: &mut Counts,
) {
    let what = format!("p{number:05}.json");
    let out = |name: &str| format!("{path}/{name}");
    let mut run = |words: &[&str]| watched(fence, words, &what, &mutated.bytes, counts);
    let refused = run(&["report", path]);
    match random.random_range(0..5) {
        0 => _ = run(&["compare", path, GOOD, "--out", &out("a")]),
        1 => _ = run(&["compare", GOOD, path, "--out", &out("b")]),
        2 => _ = run(&["which", "shoot", "--profile", path, "--out", &out("used.csv")]),
        3 => {
            let photo = "shoot/P0003.dng";
            let even = ["correct", photo, "--profile", path, "--evenness", "--mounted-alike"];
            run(&[even.as_slice(), &["--out", &out("corrected")]].concat());
        }
        _ => _ = run(&["choose", path, "--metered", "1/60", "--want", "1s..2m"]),
    }
    counts.file("profile.json", mutated, refused.as_deref());
}

/// Many profiles as one kit.
fn together(fence: &Fence, out: &Path, folders: &[String], number: usize, counts: &mut Counts) {
    let paths: Vec<&str> = folders.iter().map(String::as_str).collect();
    let what = format!("profiles before {number}");
    let card = out.join("card").display().to_string();
    watched(fence, &[&["card"], paths.as_slice(), &["--out", &card]].concat(), &what, &[], counts);
    let want = ["--metered", "1/60", "--want", "30s", "--focal", "24", "--stack", "2"];
    watched(fence, &[&["choose"], paths.as_slice(), &want].concat(), &what, &[], counts);
}

const SHOOT_FILE: &str = r#"{"schema":"lightloss-shoot/1","filter":{"name":"Quay Six","kind":"solid",
"rated":[6.0],"size":"77 mm","form":"screw-in","note":"a note"},"times":"dial","focal":50.0,
"sensor":"36x24","f_number":8.0,"iso":100.0,"planned":[
{"order":1,"state":"bare","dial_time":"1/60","count":2},
{"order":2,"state":"filtered","mark":null,"rotation":0.0,"focal":50.0,"dial_time":"1","count":2},
{"order":3,"state":"bare","dial_time":"1/60","count":2}],
"frames":[{"file":"P0001.dng","state":"bare"},{"file":"P0003.dng","state":"filtered","rotation":90.0},
{"file":"P0005.dng","state":"bare"}]}"#;

fn shoot_files(fence: &Fence, files: usize, random: &mut ChaCha8Rng, counts: &mut Counts) {
    let place = fence.path("work/shoot/shoot.json");
    let mut plain: serde_json::Value = serde_json::from_str(SHOOT_FILE).unwrap();
    plain["frames"] = serde_json::json!([]);
    let texts = [SHOOT_FILE.to_owned(), plain.to_string()];
    for text in &texts {
        std::fs::write(&place, text).unwrap();
        let whole = fence.run(&["frames", "shoot"]);
        assert!(whole.status.is_some_and(|s| s < 2), "{}", whole.err);
    }
    for number in 0..files {
        let mutated = json_damage(texts.choose(random).unwrap(), random, SHOOT_FILE.as_bytes());
        std::fs::write(&place, &mutated.bytes).unwrap();
        let out = fence.fresh("out").join("profile").display().to_string();
        let what = format!("shoot{number:05}.json");
        let words = if number % 2 == 0 {
            vec!["frames", "shoot"]
        } else {
            vec!["measure", "shoot", "--out", &out]
        };
        let refused = watched(fence, &words, &what, &mutated.bytes, counts);
        counts.file("shoot.json", &mutated, refused.as_deref());
    }
    drop(std::fs::remove_file(place));
}

fn tables(fence: &Fence, files: usize, random: &mut ChaCha8Rng, counts: &mut Counts) {
    let out = fence.fresh("out");
    let made = out.join("used.csv").display().to_string();
    let which = fence.run(&["which", "shoot", "--profile", GOOD, "--out", &made]);
    assert_eq!(which.status, Some(0), "{}", which.err);
    let text = std::fs::read_to_string(&made).unwrap();
    let texts = [text.replace(',', ";"), text];
    let place = fence.path("work/used.csv");
    for number in 0..files {
        let mutated = csv_damage(texts.choose(random).unwrap(), random, texts[1].as_bytes());
        std::fs::write(&place, &mutated.bytes).unwrap();
        let out = fence.fresh("out").display().to_string();
        let what = format!("used{number:05}.csv");
        let mut words = vec!["correct", "shoot", "--used", "used.csv", "--profile", GOOD];
        words.extend(["--out", &out, "--gains-only"]);
        let refused = watched(fence, &words, &what, &mutated.bytes, counts);
        counts.file("used.csv", &mutated, refused.as_deref());
    }
    drop(std::fs::remove_file(place));
}
