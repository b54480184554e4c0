//! Damage that knows what it damages: well-formed files that are wrong, and the number is asked for.
//!
//! Each case is a whole shoot of nine small frames in one container (DNG plain and as lossless JPEG,
//! NEF, ARW, CR2, RAF, TIFF of both byte orders, JPEG) of which one to three files, or a document
//! beside them, were changed where their container has structure: values, types, counts, numbers and
//! order of directory entries, one value in all frames of a state, marks and tables of JPEG streams,
//! the header of a RAF, `shoot.json`, sidecars. `measure` must give the right number, doubt it with a
//! caution that the unchanged shoot does not have, or refuse with a reason; every eighth shoot is
//! given to `correct` and `which` as well. Fails on more than one number in a thousand that is wrong
//! in silence, and on what no file may do: panic text, an undocumented exit status, more than 20 s or
//! 1 GB, anything written outside the output folder.

mod containers;
mod documents;
mod entries;
mod marks;
mod outcome;

use crate::Verdict;
use crate::campaign::watched::{Fence, Run};
use crate::drawn::{Draw, Drawn};
use crate::kept::leave;
use crate::machine::machine;
use crate::program::Program;
use containers::{CONTAINERS, Container, EACH};
use entries::Change;
use outcome::{Judged, Said, Table};
use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use std::path::Path;
use std::time::{Duration, Instant};

/// One case in so many may be wrong in silence.
const ONE_IN: usize = 1000;
const SLOWEST: Duration = Duration::from_secs(20);
const MOST_MEMORY: u64 = 1 << 30;
/// Of so many shoots one is given to the other commands too.
const OTHERS_ONE_IN: usize = 8;
const PROFILE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/kit/quay-six");

#[derive(clap::Args)]
pub struct Options {
    /// Shoots with a changed file
    #[arg(long, default_value_t = 20_000)]
    cases: usize,
    #[command(flatten)]
    drawn: Drawn,
}

/// A shoot as it is before anything is changed.
struct Whole {
    container: Container,
    files: Vec<NamedFile>,
    said: Said,
}

/// Name and bytes.
type NamedFile = (String, Vec<u8>);
/// Changes files of a shoot; says what.
type Changing = fn(&mut [NamedFile], &mut ChaCha8Rng) -> String;

/// What is changed in the files of one shoot.
const CHANGES: [(&str, Changing); 10] = [
    ("a value", |files, random| some(files, random, Change::Value)),
    ("a type", |files, random| some(files, random, Change::Type)),
    ("a count", |files, random| some(files, random, Change::Count)),
    ("a tag's number", |files, random| some(files, random, Change::Tag)),
    ("two values exchanged", |files, random| some(files, random, Change::Swap)),
    ("an entry twice", |files, random| some(files, random, Change::Double)),
    ("an entry lost", |files, random| some(files, random, Change::Drop)),
    ("a value in a whole state", a_state),
    ("segments and marks", |files, random| {
        each(files, random, |bytes, random| {
            marks::change(bytes, random)
                .unwrap_or_else(|| entries::change(Change::Value, bytes, random))
        })
    }),
    ("header of a RAF, else a value", |files, random| {
        each(files, random, |bytes, random| {
            marks::change_raf(bytes, random)
                .unwrap_or_else(|| entries::change(Change::Value, bytes, random))
        })
    }),
];
/// Of so many cases one is a document.
const DOCUMENT_ONE_IN: u32 = 10;

/// Changes one to three files, each on its own.
fn each(
    files: &mut [NamedFile],
    random: &mut ChaCha8Rng,
    change: impl Fn(&mut [u8], &mut ChaCha8Rng) -> String,
) -> String {
    let mut what = Vec::new();
    for _ in 0..random.random_range(1..=3) {
        let at = random.random_range(0..files.len());
        let detail = change(&mut files[at].1, random);
        what.push(format!("{} {detail}", files[at].0));
    }
    what.join(", ")
}

fn some(files: &mut [NamedFile], random: &mut ChaCha8Rng, change: Change) -> String {
    each(files, random, |bytes, random| entries::change(change, bytes, random))
}

/// Changes one value in all frames of the first, second or third state.
fn a_state(files: &mut [NamedFile], random: &mut ChaCha8Rng) -> String {
    let state = random.random_range(0..3);
    let frames = &mut files[EACH * state..EACH * (state + 1)];
    let mut bytes: Vec<Vec<u8>> = frames.iter().map(|(_, bytes)| bytes.clone()).collect();
    let what = entries::change_for_all(&mut bytes, random);
    frames.iter_mut().zip(bytes).for_each(|(frame, bytes)| frame.1 = bytes);
    format!("frames {} to {}: {what}", EACH * state + 1, EACH * (state + 1))
}

/// Every container, with and without ShutterSpeedValue, measured unchanged.
fn wholes(fence: &Fence) -> Result<Vec<Whole>, String> {
    let mut all = Vec::new();
    for (container, apex) in CONTAINERS.iter().flat_map(|c| [(*c, true), (*c, false)]) {
        let files = container.files(apex);
        write(&fence.fresh("work/card"), &files);
        let run = measured(fence);
        let said = Said::of(&run);
        if !said.is_sound() {
            return Err(format!("{} unchanged: {said}\n{}", container.name(), run.err));
        }
        all.push(Whole { container, files, said });
    }
    Ok(all)
}

fn write(folder: &Path, files: &[NamedFile]) {
    for (name, bytes) in files {
        std::fs::write(folder.join(name), bytes).unwrap();
    }
}

fn measured(fence: &Fence) -> Run {
    run(fence, &["measure", "card", "--format", "json"])
}

/// Runs the program; a machine that is busy with something else may hold it up once.
fn run(fence: &Fence, words: &[&str]) -> Run {
    let first = fence.run(words);
    if first.took > SLOWEST { fence.run(words) } else { first }
}

/// What is wrong with a run whatever it was given.
fn faults(run: &Run) -> Vec<String> {
    let mut found = run.faults();
    if run.took > SLOWEST || run.memory > MOST_MEMORY {
        found.push(format!("{:.1} s, {} MB", run.took.as_secs_f64(), run.memory >> 20));
    }
    found
}

/// The other commands on the same frames.
fn others(fence: &Fence) -> Vec<String> {
    let out = fence.fresh("out");
    let path = |name: &str| out.join(name).display().to_string();
    let corrected = ["correct", "card", "--profile", PROFILE, "--out", &path("corrected")];
    let judged = ["which", "card", "--profile", PROFILE, "--out", &path("used.csv")];
    [&corrected[..], &judged].into_iter().flat_map(|words| faults(&run(fence, words))).collect()
}

pub fn check(options: &Options, program: &Program) -> Verdict {
    let began = Instant::now();
    let draw = options.drawn.draw(options.cases, "cases");
    let wholes = wholes(&Fence::new(program.path()))?;
    let fence = || Fence::new(program.path());
    let tried = |fence: &mut Fence, number| tried(fence, number, draw, &wholes);
    let cases: Vec<Case> = draw.numbers().into_par_iter().map_init(fence, tried).collect();
    let (mut table, mut wrong, mut bad) = (Table::default(), Vec::new(), Vec::new());
    for case in cases {
        table.add(&case);
        wrong.extend(case.wrong);
        bad.extend(case.bad);
    }
    let text = format!(
        "{} shoots, seed {}: lightloss-checks structure {draw}\n{}\n\n{table}\n\
         other faults: {}\n\nwrong in silence:\n{}\n{}\n{} s",
        draw.numbers().len(),
        draw.seed,
        machine(),
        bad.len(),
        wrong.join("\n"),
        bad.join("\n"),
        began.elapsed().as_secs()
    );
    options.drawn.told("campaign/structure.txt", &text);
    verdict(&table, draw.most(ONE_IN), &bad)
}

/// What came of one shoot.
struct Case {
    container: &'static str,
    change: &'static str,
    judged: Judged,
    took: Duration,
    memory: u64,
    /// In words where the number is wrong in silence.
    wrong: Option<String>,
    bad: Vec<String>,
}

/// One shoot with a change, through the program.
fn tried(fence: &Fence, number: usize, draw: Draw, wholes: &[Whole]) -> Case {
    let mut random = ChaCha8Rng::seed_from_u64(draw.seed ^ ((number as u64) << 32));
    let whole = wholes.choose(&mut random).unwrap();
    let folder = fence.fresh("work/card");
    let (change, detail) = changed(whole, &folder, &mut random);
    let before = fence.snapshot();
    let run = measured(fence);
    let said = Said::of(&run);
    let judged = said.judged(&whole.said);
    let what = format!("{number}, {}, {change}: {detail}", whole.container.name());
    if draw.is_one() {
        println!("{what}\n{}\n{said}", run.err);
        leave("structure", &folder);
    }
    let mut bad = faults(&run);
    if number.is_multiple_of(OTHERS_ONE_IN) {
        bad.extend(others(fence));
    }
    if fence.snapshot() != before {
        bad.push("something was written outside the output folder".to_owned());
    }
    Case {
        container: whole.container.name(),
        change,
        wrong: matches!(judged, Judged::Wrong).then(|| format!("{what}: {said}")),
        judged,
        took: run.took,
        memory: run.memory,
        bad: bad.into_iter().map(|fault| format!("{what}: {fault}")).collect(),
    }
}

fn verdict(table: &Table, most: usize, bad: &[String]) -> Verdict {
    if let Some(name) = table.untried() {
        return Err(format!("{name}: nothing that was changed made a difference"));
    }
    if table.wrong() > most || !bad.is_empty() {
        let wrong = table.wrong();
        return Err(format!(
            "{wrong} wrong in silence, at most {most}; {} other faults",
            bad.len()
        ));
    }
    Ok(())
}

/// Writes a shoot with a change; says which.
fn changed(whole: &Whole, folder: &Path, random: &mut ChaCha8Rng) -> (&'static str, String) {
    if random.random_ratio(1, DOCUMENT_ONE_IN) {
        write(folder, &whole.files);
        return ("a document beside the frames", documents::put(folder, &whole.files, random));
    }
    let (name, change) = CHANGES.choose(random).unwrap();
    let mut files = whole.files.clone();
    let detail = change(&mut files, random);
    write(folder, &files);
    (name, detail)
}
