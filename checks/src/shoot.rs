//! Shoots of 20 frames measured by the program, beside LibRaw through rawpy with numpy means
//! (`tests/oracle/means.py`), and beside the decoder crates as they come: the same bytes read, decoded
//! and hashed. All three take as many threads as there are processors.
//!
//!     shoot [--short] [--files DIR] [--keep]
//!
//! - `LIGHTLOSS_PYTHON` names a Python that has rawpy and numpy;
//! - `LIGHTLOSS_ARW` names a raw file of a real camera, of which 20 copies with other last bytes
//!   are made (files with the same content would count once).
//!
//! What is not there is left out, visibly. `--files` keeps the rendered frames for the next run;
//! `--keep` writes reports/speed/shoot.txt. Fails where a target is missed. `--short` takes the
//! rendered frames alone, runs each side again where a target is missed, and grants a tenth to a machine
//! that may be busy.

mod decoders;

use crate::machine::machine;
use crate::program::Program;
use crate::{Verdict, frames, kept, program};
use lightloss::write::dng::Compression;
use std::ffi::OsString;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

const FRAMES: usize = 20;
/// Runs of each side, in turns; the fastest counts, since other work on the machine only adds.
const RUNS: usize = 5;
/// Runs of each side of the short form where what it grants is not met yet.
const MOST_RUNS: usize = 20;
/// By so much the short form may miss a target of speed.
const GRANTED: f64 = 1.1;
/// What uncompressed frames have reached of [`FASTER`] so far (2.3 to 2.5 on a quiet and on a busy
/// machine of two threads, where hashing alone takes over half of the time): the short form holds that
/// less a tenth, the whole form misses its target and says so.
const REACHED_UNCOMPRESSED: f64 = 2.3;
/// Most memory of the program and its workers on two processors, megabytes.
const MOST_MEMORY: f64 = 250.0;
/// How many times as fast as LibRaw and numpy, at least, and how many times the crates' time, at most.
const FASTER: f64 = 3.0;
const OF_CRATES: f64 = 1.0;
/// Slowest start of `--help`, milliseconds; the middle of so many starts.
const MOST_START: f64 = 10.0;
const STARTS: usize = 41;

/// A shoot.
struct Case {
    name: &'static str,
    words: Vec<OsString>,
    files: Vec<PathBuf>,
}

#[derive(clap::Args)]
pub struct Options {
    /// Rendered frames alone, each side more often where a target is missed
    #[arg(long)]
    short: bool,
    /// Keep the rendered frames here for the next run
    #[arg(long, value_name = "DIR")]
    files: Option<PathBuf>,
    /// Write reports/speed/shoot.txt
    #[arg(long)]
    keep: bool,
}

fn simulated(room: &Path) -> Vec<Case> {
    let kinds = [
        ("24 MP DNG, uncompressed", "plain", Compression::None),
        ("24 MP DNG, lossless JPEG", "ljpeg", Compression::LosslessJpeg),
    ];
    let case = |(name, folder, compression)| {
        let folder = room.join(format!("{folder}-{FRAMES}"));
        let files = frames::shoot(&folder, FRAMES, (6_000, 4_000), compression);
        Case { name, words: program::measure(&folder, &room.join("out")), files }
    };
    kinds.map(case).into()
}

/// Copies of a real file, named as bare and as filtered, since nothing was in front of the lens.
fn real(room: &Path) -> Option<Case> {
    let bytes = std::fs::read(std::env::var_os("LIGHTLOSS_ARW")?).expect("LIGHTLOSS_ARW is a file");
    let folder = room.join(format!("real-{FRAMES}"));
    std::fs::create_dir_all(&folder).expect("a folder");
    let files: Vec<PathBuf> = (0..FRAMES)
        .map(|i| {
            let path = folder.join(format!("R{i:04}.ARW"));
            let mut copy = bytes.clone();
            copy.push(i as u8);
            std::fs::write(&path, copy).expect("room for a copy");
            path
        })
        .collect();
    let mut words = program::measure(&folder, &room.join("out"));
    for (flag, half) in ["--bare", "--filtered"].iter().zip(files.chunks(FRAMES.div_ceil(2))) {
        words.push(flag.into());
        words.extend(half.iter().map(OsString::from));
    }
    Some(Case { name: "18 MP ARW of a real camera", words, files })
}

/// Seconds that the Python script says it took.
fn plain_way(files: &[PathBuf]) -> Option<f64> {
    let python = std::env::var("LIGHTLOSS_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let script = kept::repository().join("tests/oracle/means.py");
    let threads = std::thread::available_parallelism().map_or(1, usize::from).to_string();
    let mut command = Command::new(python);
    let done = command.arg(script).arg("--threads").arg(threads).args(files).output().ok()?;
    let text = String::from_utf8(done.stdout).ok()?;
    done.status.success().then(|| text.lines().last()?.parse().ok()).flatten()
}

/// Least seconds of each side.
struct Least {
    ours: f64,
    cpu: f64,
    crates: f64,
    /// `None` where there is no Python with rawpy.
    plain: Option<f64>,
}

impl Least {
    fn meets(&self, faster: f64, of_crates: f64) -> bool {
        let is_faster = self.plain.is_none_or(|plain| plain / self.ours >= faster);
        is_faster && self.ours / self.crates <= of_crates
    }
}

/// How many times as fast as the plain way the short form wants it, before what it grants.
fn held(case: &Case) -> f64 {
    if case.name.ends_with("uncompressed") { REACHED_UNCOMPRESSED } else { FASTER }
}

/// All runs, or where `short` as many of them as it takes.
fn times(program: &Program, case: &Case, short: bool) -> Least {
    let most = f64::INFINITY;
    let mut least = Least { ours: most, cpu: most, crates: most, plain: Some(most) };
    for run in 1..=if short { MOST_RUNS } else { RUNS } {
        let cost = program::run(program, &case.words);
        least.ours = least.ours.min(cost.wall);
        least.cpu = least.cpu.min(cost.cpu.unwrap_or(f64::NAN));
        least.crates = least.crates.min(decoders::seconds(&case.files));
        least.plain = least.plain.and_then(|plain| Some(plain.min(plain_way(&case.files)?)));
        if short && run >= RUNS && least.meets(held(case) / GRANTED, OF_CRATES * GRANTED) {
            break;
        }
    }
    least
}

/// One row of the table; what missed its target is added to `missed`.
fn row(program: &Program, case: &Case, short: bool, missed: &mut Vec<String>) -> String {
    let Least { ours, cpu, crates, plain } = times(program, case, short);
    let granted = if short { GRANTED } else { 1.0 };
    let memory = program::peak_megabytes(program, &case.words);
    let mut judge = |good: bool, what: String| {
        if !good {
            missed.push(format!("{}: {what}", case.name));
        }
    };
    let part = ours / crates;
    judge(part <= OF_CRATES * granted, format!("{part:.2} times the crates' time"));
    let plain = match plain {
        Some(plain) => {
            let faster = plain / ours;
            let least = if short { held(case) } else { FASTER };
            judge(faster >= least / granted, format!("{faster:.2} x as fast as LibRaw and numpy"));
            format!("{plain:6.2} s {faster:5.2} x (>= {FASTER:.0})")
        }
        None => "no Python with rawpy   ".to_owned(),
    };
    let memory = match memory {
        Some(memory) => {
            judge(memory <= MOST_MEMORY, format!("{memory:.0} MB"));
            format!("{memory:4.0} MB (<= {MOST_MEMORY:.0})")
        }
        None => "memory unknown".to_owned(),
    };
    format!(
        "{:27} {ours:6.3} s {cpu:6.2} s  {plain}  {crates:6.3} s {part:5.2} x (<= {OF_CRATES:.0})  {memory}",
        case.name
    )
}

/// Milliseconds of the middle one of many starts of `--help`.
fn start(program: &Program) -> f64 {
    let help = [OsString::from("--help")];
    let mut times: Vec<f64> =
        (0..STARTS).map(|_| 1e3 * program::run(program, &help).wall).collect();
    times.sort_by(f64::total_cmp);
    times[STARTS / 2]
}

pub fn check(options: &Options, program: &Program) -> Verdict {
    let short = options.short;
    let temporary = tempfile::tempdir().expect("a temporary folder");
    let room = options.files.clone().unwrap_or_else(|| temporary.path().to_owned());
    let mut cases = simulated(&room);
    let real = if short { None } else { real(&room) };
    let mut text = format!(
        "{FRAMES} frames measured by the whole program; fastest of {RUNS} runs of each side, in turns{}.\n\
         Plain way: LibRaw through rawpy and four numpy means a frame, start of Python not counted.\n\
         Crates: the same files read, decoded and hashed by the decoder crates; tables loaded before.\n\
         All on as many threads as there are processors.\n\
         Memory: of the program and its workers together, from above.\n{}\n\n{:27} {:>8} {:>8}  {:>23}  {:>25}  memory\n",
        if short { ", more where a target is missed" } else { "" },
        machine(),
        "",
        "program",
        "its CPU",
        "plain way",
        "crates"
    );
    if real.is_none() && !short {
        text += "ARW of a real camera: left out, LIGHTLOSS_ARW names none\n";
    }
    cases.extend(real);
    let mut missed = Vec::new();
    print!("{text}");
    for case in &cases {
        let row = row(program, case, short, &mut missed);
        println!("{row}");
        writeln!(text, "{row}").expect("text grows");
    }
    let start = start(program);
    let mut end = format!("start of --help: {start:.1} ms (<= {MOST_START:.0})\n");
    if start > MOST_START {
        missed.push(format!("--help takes {start:.1} ms"));
    }
    end += &if missed.is_empty() {
        "every target is met\n".to_owned()
    } else {
        format!("missed: {}\n", missed.join("; "))
    };
    print!("{end}");
    text += &end;
    if options.keep {
        kept::keep("speed/shoot.txt", &text);
    }
    if missed.is_empty() { Ok(()) } else { Err(format!("missed: {}", missed.join("; "))) }
}
