//! The share of the time that everything across the frame takes (maps, evenness, dark cross, shading,
//! edges, the fit of the two polarisers and what it foretells) when 20 frames of 24 megapixels are measured;
//! it fails at a tenth.
//!
//! `across`; `--keep` writes reports/speed/across.txt, `--short` takes fewer runs.

use crate::Verdict;
use crate::kept::keep;
use crate::machine::machine;
use crate::program::Program;
use lightloss::measure::{About, centre};
use lightloss::profile::{Kind, Profile};
use lightloss::shoot::{Candidate, Shoot, Wish, sort};
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::cells::draw;
use lightloss::simulate::files;
use lightloss::simulate::filter::{Filter, Graduation};
use lightloss::simulate::optics::Transition;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};
use lightloss::write::dng::Compression;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

/// Runs of either side; the fastest counts.
const RUNS: usize = 5;
const FEW_RUNS: usize = 2;
/// Share of the time that everything across the frame may take.
const MOST_ACROSS: f64 = 0.1;
/// The short form grants so many times that to two runs on a machine that may be busy.
const GRANTED: f64 = 1.5;

/// One shoot of 20 frames.
struct Case {
    name: &'static str,
    kind: Kind,
    word: &'static str,
    settings: usize,
    shots: Vec<Shot>,
}

/// Eight marks of two frames between bare frames.
fn ring() -> Case {
    let mut shots = Shot::repeated("R", 1, 2, Time::Dial(1.0 / 60.0), &[]);
    let turns = [10.0, 45.0, 60.0, 68.0, 73.0, 77.0, 80.0, 82.0];
    let times = [1.0 / 25.0, 1.0 / 13.0, 1.0 / 6.0, 0.25, 0.25, 0.3, 0.5, 0.5];
    for (k, (turn, time)) in turns.into_iter().zip(times).enumerate() {
        let ring = Filter::pair([1.3; 3], turn, 20.0 + turn / 2.0, [7e-4; 3]);
        shots.extend(Shot::repeated("R", 3 + 2 * k, 2, Time::Dial(time), &[ring]));
    }
    shots.extend(Shot::repeated("R", 19, 2, Time::Dial(1.0 / 60.0), &[]));
    let name = "variable filter of eight marks";
    Case { name, kind: Kind::Variable, word: "variable", settings: 8, shots }
}

/// Ten frames through a six-stop glass between bare frames.
fn glass() -> Case {
    let filter = Filter::glass([6.0, 6.1, 6.2]);
    let mut shots = Shot::repeated("R", 1, 5, Time::Dial(1.0 / 60.0), &[]);
    shots.extend(Shot::repeated("R", 6, 10, Time::Dial(1.0), &[filter]));
    shots.extend(Shot::repeated("R", 16, 5, Time::Dial(1.0 / 60.0), &[]));
    Case { name: "solid filter", kind: Kind::Solid, word: "solid", settings: 1, shots }
}

/// The same frames through a soft graduation of three stops.
fn graduation() -> Case {
    let graduation = Graduation {
        stops: 3.0,
        transition: Transition::Erf,
        width_percent: 30.0,
        centre_percent: 45.0,
        angle: 3.0,
    };
    let filter = Filter { graduation: Some(graduation), ..Filter::even([1.5; 3]) };
    let mut shots = Shot::repeated("R", 1, 5, Time::Dial(1.0 / 60.0), &[]);
    shots.extend(Shot::repeated("R", 6, 10, Time::Dial(1.0 / 20.0), &[filter]));
    shots.extend(Shot::repeated("R", 16, 5, Time::Dial(1.0 / 60.0), &[]));
    let name = "graduated filter";
    Case { name, kind: Kind::Graduated, word: "graduated", settings: 1, shots }
}

fn session() -> Session {
    let camera = Camera::bayer(6_000, 4_000);
    // Half of full scale in a sixtieth of a second.
    let scene = Scene::daylight(0.5 * 60.0, [0.5, 1.0, 0.7]);
    Session::new(camera, Lens::of(20.0), scene, 20)
}

fn fastest(runs: usize, run: impl FnMut() -> f64) -> f64 {
    std::iter::repeat_with(run).take(runs).fold(f64::INFINITY, f64::min)
}

/// Seconds of one measurement, process and all.
fn whole(program: &Program, folder: &Path, out: &Path, kind: &str) -> f64 {
    let began = Instant::now();
    let done = Command::new(program.path())
        .args(["measure", "--replace", "--kind", kind, "--out"])
        .args([out, folder])
        .output()
        .expect("the program starts");
    let seconds = began.elapsed().as_secs_f64();
    assert!(done.status.success(), "measure: {}", String::from_utf8_lossy(&done.stderr));
    seconds
}

fn sorted(session: &Session, case: &Case) -> Shoot {
    let candidates = session.take(&case.shots).into_iter().map(|taken| {
        let summary = draw(session, &taken);
        let file = summary.info.file.clone();
        Candidate { sha256: file.clone(), file, outcome: Ok(summary) }
    });
    let wish = Wish { kind: Some(case.kind), ..Wish::default() };
    sort(candidates.collect(), &wish).expect("a shoot that can be sorted")
}

/// Seconds after sorting: strengths and casts in the centre, and everything across the frame.
fn inside(runs: usize, shoot: &Shoot, case: &Case) -> [f64; 2] {
    let about = About { name: "Filter".to_owned(), ..About::default() };
    let took = |began: Instant| began.elapsed().as_secs_f64();
    let mut least = [f64::INFINITY; 2];
    for _ in 0..runs {
        let began = Instant::now();
        let centre = centre(shoot, &about).expect("a shoot that can be measured");
        least[0] = least[0].min(took(began));
        let began = Instant::now();
        let profile = centre.across();
        least[1] = least[1].min(took(began));
        complete(&profile, case);
    }
    least
}

/// Nothing was left out for the sake of speed.
fn complete(profile: &Profile, case: &Case) {
    assert_eq!(profile.settings.len(), case.settings);
    assert!(profile.settings.iter().all(|s| s.evenness.is_some()));
    assert_eq!(profile.polariser_pair.is_some(), case.kind == Kind::Variable);
}

#[derive(clap::Args)]
pub struct Options {
    /// Fewer runs
    #[arg(long)]
    short: bool,
    /// Write reports/speed/across.txt
    #[arg(long)]
    keep: bool,
}

pub fn check(&Options { short, keep: kept }: &Options, program: &Program) -> Verdict {
    let runs = if short { FEW_RUNS } else { RUNS };
    let session = session();
    let mut text = format!(
        "20 frames of 24 megapixels, measured by the whole program; fastest of {runs} runs.\n{}\n\n\
         {:<32}{:>10}{:>12}{:>14}{:>8}\n",
        machine(),
        "",
        "program",
        "strength",
        "across frame",
        "share"
    );
    let mut most: f64 = 0.0;
    for case in [ring(), glass(), graduation()] {
        let room = tempfile::tempdir().expect("a temporary folder");
        let folder = room.path().join("shoot");
        std::fs::create_dir(&folder).expect("a new folder");
        let taken = session.take(&case.shots);
        files::write_all(&session, &taken, &folder, Compression::None, false)
            .expect("room for the frames");
        let whole_s =
            fastest(runs, || whole(program, &folder, &room.path().join("out"), case.word));
        let [strength, across] = inside(runs, &sorted(&session, &case), &case);
        let share = across / whole_s;
        most = most.max(share);
        text += &format!(
            "{:<32}{whole_s:>8.2} s{strength:>10.3} s{across:>12.3} s{:>6.1} %\n",
            case.name,
            100.0 * share
        );
    }
    println!("{text}");
    if kept {
        keep("speed/across.txt", &text);
    }
    let limit = if short { MOST_ACROSS * GRANTED } else { MOST_ACROSS };
    if most < limit { Ok(()) } else { Err(format!("{:.1} % of the time", 100.0 * most)) }
}
