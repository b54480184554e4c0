//! The window beside the command line: how soon the first picture stands there, how long all frames
//! take, how soon a decision shows its numbers, and how much memory all of it holds.
//!
//!     window [--short] [--files DIR] [--keep]
//!
//! Twenty frames of 24 megapixels for pictures, time and memory; forty of them for decisions. The
//! server is asked byte by byte, as a page asks it. `--keep` writes reports/speed/window.txt. Fails
//! where a target is missed; `--short` grants a tenth to a machine that may be busy.

use crate::machine::machine;
use crate::program::{self, Program};
use crate::{Verdict, frames, kept};
use lightloss::write::dng::Compression;
use lightloss_test_files::window::Window;
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

const FRAMES: usize = 20;
/// Frames of the shoot whose decisions are timed.
const DECIDED: usize = 40;
/// First picture after the folder was chosen, seconds.
const FIRST: f64 = 0.5;
/// All frames against the command's time.
const OF_COMMAND: f64 = 1.2;
/// A decision until its numbers are there, seconds.
const DECISION: f64 = 0.1;
/// Memory of program and workers, megabytes.
const MOST_MEMORY: f64 = 350.0;
/// Runs of each side, in turns; the fastest counts, since other work on the machine only adds.
const RUNS: usize = 4;
/// By so much the short form may miss a target of speed.
const GRANTED: f64 = 1.1;
/// How often the server is asked whether something is new.
const LOOK: Duration = Duration::from_millis(4);

#[derive(clap::Args)]
pub struct Options {
    /// Grant a tenth to a machine that may be busy
    #[arg(long)]
    short: bool,
    /// Keep the rendered frames here for the next run
    #[arg(long, value_name = "DIR")]
    files: Option<PathBuf>,
    /// Write reports/speed/window.txt
    #[arg(long)]
    keep: bool,
}

/// Seconds from choosing to the first picture and to all frames judged.
fn choose(window: &Window, folder: &Path) -> (f64, f64) {
    let began = Instant::now();
    window.done("/open", json!({ "path": folder, "forget": true }));
    let mut first = None;
    loop {
        let sheet = window.get("/state").json();
        if first.is_none() {
            first = picture(&sheet)
                .filter(|id| window.get(&format!("/picture/{id}")).status == 200)
                .map(|_| began.elapsed().as_secs_f64());
        }
        if sheet["read"][0] == sheet["read"][1] {
            let all = began.elapsed().as_secs_f64();
            return (first.unwrap_or(all), all);
        }
        std::thread::sleep(LOOK);
    }
}

/// A frame that has a picture.
fn picture(sheet: &Value) -> Option<u64> {
    let groups = sheet["groups"].as_array()?;
    let mut frames = groups.iter().flat_map(|g| g["frames"].as_array().into_iter().flatten());
    frames.find(|f| f["picture"] == true)?["id"].as_u64()
}

/// Seconds until a decision has shown its numbers: the middle one of some.
fn decide(window: &Window) -> f64 {
    let mut seconds: Vec<f64> = (0..9)
        .map(|i| {
            let said = if i % 2 == 0 { json!("out") } else { Value::Null };
            let began = Instant::now();
            window.done("/decide", json!({ "frames": [3], "said": said }));
            let sheet = window.get("/state").json();
            assert!(sheet["number"].is_string(), "no number: {sheet}");
            began.elapsed().as_secs_f64()
        })
        .collect();
    seconds.sort_by(f64::total_cmp);
    seconds[seconds.len() / 2]
}

struct Seen {
    first: f64,
    all: f64,
    command: f64,
    decision: f64,
    memory: Option<f64>,
}

fn look(program: &Program, room: &Path) -> Seen {
    let folder = room.join(format!("plain-{FRAMES}"));
    frames::shoot(&folder, FRAMES, (6_000, 4_000), Compression::None);
    let many = room.join(format!("plain-{DECIDED}"));
    frames::shoot(&many, DECIDED, (6_000, 4_000), Compression::None);
    let words = program::measure(&folder, &room.join("out"));
    let most = f64::INFINITY;
    let mut seen = Seen { first: most, all: most, command: most, decision: most, memory: None };
    for _ in 0..RUNS {
        seen.command = seen.command.min(program::run(program, &words).wall);
        let mut window = Window::open(program.path(), None);
        let id = window.child().id();
        let ((first, all), memory) = program::watched(id, || choose(&window, &folder));
        (seen.first, seen.all) = (seen.first.min(first), seen.all.min(all));
        seen.memory = memory.map(|now| seen.memory.map_or(now, |before| before.max(now)));
    }
    let window = Window::open(program.path(), Some(&many));
    window.sheet();
    seen.decision = decide(&window);
    seen
}

pub fn check(options: &Options, program: &Program) -> Verdict {
    let temporary = tempfile::tempdir().expect("a temporary folder");
    let room = options.files.clone().unwrap_or_else(|| temporary.path().to_owned());
    let seen = look(program, &room);
    let granted = if options.short { GRANTED } else { 1.0 };
    let of_command = seen.all / seen.command;
    let mut text = format!(
        "The window on {FRAMES} frames of 24 megapixels; fastest of {RUNS} runs of each side, in turns.\n{}\n\n",
        machine()
    );
    let mut missed = Vec::new();
    let mut row = |what: &str, value: f64, unit: &str, most: f64, allowed: f64| {
        writeln!(text, "{what:44} {value:8.3} {unit:3} (<= {most})").expect("text grows");
        if value > allowed {
            missed.push(format!("{what}: {value:.3} {unit}"));
        }
    };
    row("first picture after choosing", seen.first, "s", FIRST, FIRST * granted);
    row("all frames, of the command's time", of_command, "", OF_COMMAND, OF_COMMAND * granted);
    let decision = format!("a decision among {DECIDED} frames");
    row(&decision, seen.decision, "s", DECISION, DECISION * granted);
    if let Some(memory) = seen.memory {
        row("memory of program and workers", memory, "MB", MOST_MEMORY, MOST_MEMORY);
    }
    print!("{text}");
    if options.keep {
        kept::keep("speed/window.txt", &text);
    }
    if missed.is_empty() { Ok(()) } else { Err(format!("missed: {}", missed.join("; "))) }
}
