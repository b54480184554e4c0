//! Folders of damaged image files, as a card may hold them.

use super::counts::{Counts, SLOWEST};
use super::mutations::{Mutated, Patient};
use super::seeds::{self, Seed};
use super::watched::{Fence, Run};
use lightloss::simulate::files::write_all;
use lightloss::write::dng::Compression;
use lightloss_planted::small_session;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::Path;
use std::time::Instant;

/// Files of one folder.
const FOLDER: usize = 50;
/// Of so many files one is real, where there are real ones: they are a hundred times as large.
const ONE_REAL_IN: u32 = 12;

/// One damaged file as it lies in a folder.
struct Case {
    name: String,
    kind: &'static str,
    mutated: Mutated,
}

pub fn campaign(fence: &Fence, files: usize, seed: u64, counts: &mut Counts) {
    let seeds = seeds::images(seed);
    check_seeds(fence, &seeds);
    let (own, real): (Vec<&Seed>, Vec<&Seed>) =
        seeds.iter().partition(|s| !s.kind.ends_with("real"));
    let mut own: Vec<(&Seed, Patient<'_>)> = own.into_iter().map(patient).collect();
    let mut real: Vec<(&Seed, Patient<'_>)> = real.into_iter().map(patient).collect();
    let others: Vec<u8> = seeds.iter().flat_map(|s| s.bytes.iter().take(20_000)).copied().collect();
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut made = 0;
    while made < files {
        let wanted = FOLDER.min(files - made);
        let cases: Vec<Case> = (made..made + wanted)
            .map(|number| {
                let from_real = !real.is_empty() && random.random_ratio(1, ONE_REAL_IN);
                let list = if from_real { &mut real } else { &mut own };
                let at = random.random_range(0..list.len());
                let (seed, patient) = &mut list[at];
                let mutated = patient.mutated(&mut random, &others);
                Case { name: format!("m{number:05}.{}", seed.extension), kind: seed.kind, mutated }
            })
            .collect();
        made += wanted;
        folder(fence, &cases, made / FOLDER, counts);
    }
}

fn patient(seed: &Seed) -> (&Seed, Patient<'_>) {
    (seed, Patient::new(&seed.bytes, seed.raised_black))
}

/// Whole files are what they are meant to be, or else nothing would be tried.
fn check_seeds(fence: &Fence, seeds: &[Seed]) {
    let folder = fence.fresh("work/seeds");
    for (number, seed) in seeds.iter().enumerate() {
        std::fs::write(folder.join(format!("s{number:02}.{}", seed.extension)), &seed.bytes)
            .unwrap();
    }
    let verdicts = verdicts(&fence.run(&["frames", "seeds", "--format", "json"]));
    for (number, seed) in seeds.iter().enumerate() {
        let found = &verdicts[&format!("s{number:02}.{}", seed.extension)];
        assert_eq!(found.is_none(), seed.readable, "{}, seed {number}: {found:?}", seed.kind);
    }
    std::fs::remove_dir_all(folder).unwrap();
}

/// Reason of refusal by file; `None` where the file was read.
fn verdicts(run: &Run) -> BTreeMap<String, Option<String>> {
    let json: Value = serde_json::from_str(&run.out).unwrap_or_default();
    let frames = json["frames"].as_array().cloned().unwrap_or_default();
    let of = |frame: &Value| {
        let text = |v: &Value| v.as_str().unwrap_or_default().to_owned();
        let unreadable = frame["verdict"]["code"] == "unreadable";
        (text(&frame["file"]), unreadable.then(|| text(&frame["verdict"]["text"])))
    };
    frames.iter().map(of).collect()
}

/// Good frames beside the damaged ones, so that there is something to measure.
fn fill(fence: &Fence, cases: &[Case], good: bool) -> std::path::PathBuf {
    let folder = fence.fresh("work/card");
    if good {
        let (session, shots) = small_session::shoot();
        write_all(&session, &session.take(&shots), &folder, Compression::None, false).unwrap();
    }
    for case in cases {
        std::fs::write(folder.join(&case.name), &case.mutated.bytes).unwrap();
    }
    folder
}

fn folder(fence: &Fence, cases: &[Case], number: usize, counts: &mut Counts) {
    fill(fence, cases, number.is_multiple_of(2));
    fence.fresh("out");
    let before = fence.snapshot();
    let what = format!("folder {number} ({} to {})", cases[0].name, cases[cases.len() - 1].name);
    let listed = fence.run(&["frames", "card", "--format", "json"]);
    let mut hidden = counts.run("frames", &listed, &what) || listed.took > SLOWEST;
    judge(cases, &verdicts(&listed), counts);
    let out = fence.path("out");
    let (run, name) = second(fence, &out, number);
    hidden |= counts.run(name, &run, &what) || run.took > SLOWEST;
    if name == "measure" && run.status != Some(3) {
        lacking(cases, &verdicts(&run), counts);
    }
    if fence.snapshot() != before {
        counts.fault(format!("{what}: something was written outside the output folder"));
        hidden = true;
    }
    if hidden {
        one_by_one(fence, cases, name, counts);
    }
}

/// One more command on the same folder, in turn.
fn second(fence: &Fence, out: &Path, number: usize) -> (Run, &'static str) {
    let profile = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/kit/quay-six");
    let path = |name: &str| out.join(name).display().to_string();
    match number % 4 {
        0 => (fence.run(&["measure", "card", "--format", "json"]), "measure"),
        1 => {
            let words = ["which", "card", "--profile", profile, "--out", &path("used.csv")];
            (fence.run(&words), "which")
        }
        2 => (fence.run(&["measure", "card", "--out", &path("profile")]), "measure"),
        _ => {
            let words = ["correct", "card", "--profile", profile, "--out", &path("corrected")];
            (fence.run(&words), "correct")
        }
    }
}

fn judge(cases: &[Case], verdicts: &BTreeMap<String, Option<String>>, counts: &mut Counts) {
    for case in cases {
        match verdicts.get(&case.name) {
            None => {
                counts.fault(format!("{}: {} is not listed by frames", case.kind, case.name));
                counts.faulty(&case.name, &case.mutated.bytes);
            }
            Some(refused) => {
                counts.file(case.kind, &case.mutated, refused.as_deref());
                if refused.as_deref().is_some_and(|r| r.contains("did not finish")) {
                    counts.fault(format!("{}, {}: the decoder hung", case.kind, case.name));
                    counts.faulty(&case.name, &case.mutated.bytes);
                }
            }
        }
    }
    lacking(cases, verdicts, counts);
}

fn lacking(cases: &[Case], verdicts: &BTreeMap<String, Option<String>>, counts: &mut Counts) {
    for case in cases.iter().filter(|c| c.mutated.lacks_pixels) {
        if verdicts.get(&case.name).is_some_and(Option::is_none) {
            let (kind, name, damage) = (case.kind, &case.name, case.mutated.damage);
            counts.fault(format!("{kind}, {name}: taken as read though it was {damage}"));
            counts.faulty(name, &case.mutated.bytes);
        }
    }
}

/// A folder at fault again, file by file, to name the one.
fn one_by_one(fence: &Fence, cases: &[Case], name: &'static str, counts: &mut Counts) {
    for case in cases {
        fill(fence, std::slice::from_ref(case), name == "measure");
        let out = fence.fresh("out");
        let began = Instant::now();
        let listed = fence.run(&["frames", "card", "--format", "json"]);
        let slow = began.elapsed() > SLOWEST;
        let number = ["measure", "which", "", "correct"].iter().position(|n| *n == name);
        let (run, name) = second(fence, &out, number.unwrap_or(0));
        let what = format!("{}, {}, {}", case.name, case.kind, case.mutated.damage);
        let at_fault = counts.run("frames", &listed, &what) | counts.run(name, &run, &what);
        if slow || run.took > SLOWEST {
            counts.fault(format!("{what}: took {:.1} s", run.took.max(listed.took).as_secs_f64()));
        }
        if at_fault || slow || run.took > SLOWEST {
            counts.faulty(&case.name, &case.mutated.bytes);
        }
    }
}
