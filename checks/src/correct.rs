//! `lightloss correct` on raw files of 24 megapixels with lossless compression, process and all,
//! beside the decoder's own time and with the memory that the program and its workers take: the
//! proportional set size, in which a page that several processes share counts once.
//!
//! `correct` fails above two decoded frames a thread, or above 1.5 s a file.
//! Where other work slows the clock down, the processors' own time on two cores counts instead:
//! the files are independent of each other, so that both agree on an idle machine.
//! `--keep` writes the lines to reports/correct/correct.txt; `--short` does fewer files, once.
//! `--batch` corrects three hundred instead, once through and once killed in the middle and gone on with.

mod batch;

use crate::Verdict;
use crate::kept::keep;
use crate::machine::machine;
use crate::program::Program;
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::files;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::motif::Motif;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};
use lightloss::write::dng::Compression;
use serde_json::json;
use std::collections::HashMap;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

/// Files and runs; the fastest run counts, since other work on the machine only adds.
const LONG: (usize, usize) = (6, 3);
const SHORT: (usize, usize) = (4, 1);
/// Seconds a file, on two cores.
const MOST_SECONDS: f64 = 1.5;
const CORES: f64 = 2.0;
const PIXELS: f64 = 6_000.0 * 4_000.0;
const MEGABYTE: f64 = 1e6;
/// Decoded frames that a thread may hold.
const FRAMES: f64 = 2.0;
/// Of the clock in /proc, a second.
const TICKS: f64 = 100.0;
const OFTEN: Duration = Duration::from_millis(2);

fn render(folder: &Path, files: usize) -> Vec<PathBuf> {
    let camera = Camera::bayer(6_000, 4_000);
    let scene = Scene::daylight(0.5, [0.5, 1.0, 0.7]);
    let session = Session::new(camera, Lens::of(24.0), scene, 24);
    let filter = [Filter::even([6.2, 6.0, 5.9])];
    let shots: Vec<Shot> = Shot::repeated("C", 1, files, Time::Dial(30.0), &filter)
        .into_iter()
        .map(|shot| Shot { motif: Motif::Shore(0.0), ..shot })
        .collect();
    let taken = session.take(&shots);
    files::write_all(&session, &taken, folder, Compression::LosslessJpeg, false).unwrap();
    taken.iter().map(|t| folder.join(&t.shot.file)).collect()
}

fn profile() -> String {
    let channel = |stops: f64| json!({"stops": stops, "u95": 0.02});
    json!({
        "schema": "lightloss-profile/1",
        "made_by": {"program": "lightloss", "version": "0"},
        "filter": {"name": "Bench Six", "kind": "solid"},
        "camera": {}, "budget": [], "frames": [], "cautions": [],
        "settings": [{
            "mark": null,
            "strength": {"stops": 6.0, "u95": 0.02, "density": 1.8, "factor": 64.0,
                         "transmittance": 1.0 / 64.0},
            "channels": {"red": channel(6.2), "green": channel(6.0), "blue": channel(5.9)},
            "cast": {"gains": {"red": 0.2f64.exp2(), "green": 1.0, "blue": (-0.1f64).exp2()},
                     "gains_u95": {"red": 0.005, "blue": 0.005}, "words": ""},
            "frames": {"bare": [], "filtered": []}, "cautions": []
        }]
    })
    .to_string()
}

/// A figure in kilobytes out of a file of a process (proc(5)).
fn kilobytes(process: u32, file: &str, name: &str) -> Option<u64> {
    let text = std::fs::read_to_string(format!("/proc/{process}/{file}")).ok()?;
    let line = text.lines().find(|l| l.starts_with(name))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

fn children(process: u32) -> Vec<u32> {
    let Ok(tasks) = std::fs::read_dir(format!("/proc/{process}/task")) else { return Vec::new() };
    let of = |task: std::fs::DirEntry| std::fs::read_to_string(task.path().join("children")).ok();
    let all: Vec<String> = tasks.filter_map(|t| of(t.ok()?)).collect();
    all.iter().flat_map(|s| s.split_whitespace()).filter_map(|p| p.parse().ok()).collect()
}

/// Seconds of processor that a process and its ended children took (proc(5): fields 14 to 17).
fn processor(process: u32) -> Option<f64> {
    let stat = std::fs::read_to_string(format!("/proc/{process}/stat")).ok()?;
    let fields: Vec<&str> = stat.rsplit_once(')')?.1.split_whitespace().collect();
    let ticks: f64 = fields.get(11..15)?.iter().filter_map(|f| f.parse::<f64>().ok()).sum();
    Some(ticks / TICKS)
}

#[derive(Default)]
struct Run {
    seconds: f64,
    /// Seconds of processor, workers included.
    processor: f64,
    /// Peak of the program itself, of its largest worker, and of all at one moment, in megabytes.
    program: f64,
    worker: f64,
    together: f64,
}

fn correct(program: &Program, files: &[PathBuf], profile: &Path, out: &Path) -> Run {
    let (run, status) = watched(program, files, profile, out, &["--replace"], OFTEN, |_| false);
    assert!(status.is_some_and(|status| status.success()), "correct: {status:?}");
    run
}

/// Runs the command and looks at it often, until it ends or `enough` says to kill it, which gives no
/// status.
fn watched(
    program: &Program,
    files: &[PathBuf],
    profile: &Path,
    out: &Path,
    more: &[&str],
    often: Duration,
    enough: impl Fn(Duration) -> bool,
) -> (Run, Option<ExitStatus>) {
    let began = Instant::now();
    let mut child = Command::new(program.path())
        .arg("correct")
        .args(files)
        .args(["--white", "5600", "--profile"])
        .args([profile, Path::new("--out"), out])
        .args(more)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut peaks: HashMap<u32, u64> = HashMap::new();
    let (mut together, mut spent) = (0, 0.0);
    let status = loop {
        if let Some(status) = child.try_wait().unwrap() {
            break Some(status);
        }
        if enough(began.elapsed()) {
            child.kill().unwrap();
            child.wait().unwrap();
            break None;
        }
        let mut now = 0;
        spent = processor(child.id()).unwrap_or(0.0).max(spent);
        for process in std::iter::once(child.id()).chain(children(child.id())) {
            let share = kilobytes(process, "smaps_rollup", "Pss:");
            let peak = kilobytes(process, "status", "VmHWM:");
            let (Some(share), Some(peak)) = (share, peak) else { continue };
            now += share;
            let known = peaks.entry(process).or_default();
            *known = peak.max(*known);
        }
        together = now.max(together);
        std::thread::sleep(often);
    };
    let seconds = began.elapsed().as_secs_f64();
    let megabytes = |kilobytes: u64| kilobytes as f64 * 1024.0 / MEGABYTE;
    let program = peaks.remove(&child.id()).unwrap_or(0);
    let run = Run {
        seconds,
        processor: spent,
        program: megabytes(program),
        worker: megabytes(peaks.into_values().max().unwrap_or(0)),
        together: megabytes(together),
    };
    (run, status)
}

#[derive(clap::Args)]
pub struct Options {
    /// Fewer files, once
    #[arg(long)]
    short: bool,
    /// Three hundred files, once through and once killed in the middle
    #[arg(long, conflicts_with = "short")]
    batch: bool,
    /// Of so many files instead of three hundred
    #[arg(long, requires = "batch")]
    files: Option<usize>,
    /// Write the lines to reports/correct/correct.txt, those of a batch to batch.txt
    #[arg(long)]
    keep: bool,
}

pub fn check(&Options { short, batch, files, keep: kept }: &Options, program: &Program) -> Verdict {
    if batch {
        return batch::check(files, kept, program);
    }
    let (count, runs) = if short { SHORT } else { LONG };
    let room = tempfile::tempdir().unwrap();
    let folder = room.path().join("photos");
    std::fs::create_dir(&folder).unwrap();
    let files = render(&folder, count);
    let kit = room.path().join("six.json");
    std::fs::write(&kit, profile()).unwrap();

    let decoder = (0..runs)
        .map(|_| {
            let began = Instant::now();
            std::hint::black_box(rawler::decode_file(&files[0]).unwrap());
            began.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min);
    let mut best = Run { seconds: f64::INFINITY, ..Run::default() };
    let mut most = Run::default();
    for _ in 0..runs {
        let run = correct(program, &files, &kit, &room.path().join("out"));
        most.program = most.program.max(run.program);
        most.worker = most.worker.max(run.worker);
        most.together = most.together.max(run.together);
        best = if run.seconds < best.seconds { run } else { best };
    }
    let threads = std::thread::available_parallelism().map_or(1, usize::from) as f64;
    let a_file = best.seconds / count as f64;
    let on_two = a_file * threads / CORES;
    let busy = best.processor / count as f64 / CORES;
    let decoded = PIXELS * 2.0 / MEGABYTE;
    let a_thread = most.together / threads;
    let size = std::fs::metadata(&files[0]).unwrap().len() as f64 / MEGABYTE;

    let mut text = String::new();
    writeln!(
        text,
        "lightloss correct on {count} raw files of 24 megapixels, lossless JPEG both ways"
    )
    .unwrap();
    writeln!(text, "({size:.1} MB a file, {decoded:.0} MB decoded): lightloss-checks correct")
        .unwrap();
    writeln!(text, "{}\n", machine()).unwrap();
    writeln!(text, "a file, reading twice and writing: {a_file:.2} s").unwrap();
    writeln!(text, "the same on two cores:             {on_two:.2} s, at most {MOST_SECONDS} s")
        .unwrap();
    writeln!(text, "processor time, over two cores:    {busy:.2} s").unwrap();
    writeln!(text, "rawler's decoder by itself:        {decoder:.2} s on one core").unwrap();
    writeln!(text, "peak of the program:               {:.0} MB", most.program).unwrap();
    writeln!(text, "peak of a worker:                  {:.0} MB", most.worker).unwrap();
    writeln!(text, "all processes at one moment:       {:.0} MB", most.together).unwrap();
    writeln!(
        text,
        "of that a thread:                  {a_thread:.0} MB, {:.2} decoded frames, at most {FRAMES}",
        a_thread / decoded
    )
    .unwrap();
    print!("{text}");
    if kept {
        keep("correct/correct.txt", &text);
    }
    if on_two.min(busy) > MOST_SECONDS {
        return Err(format!("{on_two:.2} s a file on two cores"));
    }
    if a_thread > FRAMES * decoded {
        return Err(format!("{a_thread:.0} MB a thread"));
    }
    Ok(())
}
