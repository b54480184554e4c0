//! A variable filter of eight marks in 20 frames of 24 megapixels: the share of the time that
//! evenness, dark cross and the fit of the two polarisers take; it fails at a tenth.
//!
//! `cargo bench --bench across`

use lightloss::measure::{About, measure};
use lightloss::profile::Kind;
use lightloss::shoot::{Candidate, Wish, sort};
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::cells::draw;
use lightloss::simulate::files;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};
use lightloss::write::dng::Compression;
use std::io::Write;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

/// Runs of either side; the fastest counts.
const RUNS: usize = 3;
/// Share of the time that everything across the frame may take.
const MOST_ACROSS: f64 = 0.1;

/// Eight marks of two frames between bare frames.
fn ring_shots() -> Vec<Shot> {
    let mut shots = Shot::repeated("R", 1, 2, Time::Dial(1.0 / 60.0), &[]);
    let turns = [10.0, 45.0, 60.0, 68.0, 73.0, 77.0, 80.0, 82.0];
    let times = [1.0 / 25.0, 1.0 / 13.0, 1.0 / 6.0, 0.25, 0.25, 0.3, 0.5, 0.5];
    for (k, (turn, time)) in turns.into_iter().zip(times).enumerate() {
        let ring = Filter::pair([1.3; 3], turn, 20.0 + turn / 2.0, [7e-4; 3]);
        shots.extend(Shot::repeated("R", 3 + 2 * k, 2, Time::Dial(time), &[ring]));
    }
    shots.extend(Shot::repeated("R", 19, 2, Time::Dial(1.0 / 60.0), &[]));
    shots
}

fn session(focal_length: f64) -> Session {
    let camera = Camera::bayer(6_000, 4_000);
    // Half of full scale in a sixtieth of a second.
    let scene = Scene::daylight(0.5 * 60.0, [0.5, 1.0, 0.7]);
    Session::new(camera, Lens::of(focal_length), scene, 20)
}

fn fastest(mut run: impl FnMut() -> Option<f64>) -> Option<f64> {
    (0..RUNS).map(|_| run()).collect::<Option<Vec<f64>>>()?.into_iter().reduce(f64::min)
}

/// Seconds of one measurement, process and all.
fn measured(folder: &Path, out: &Path, words: &[&str]) -> Option<f64> {
    let began = Instant::now();
    let done = Command::new(env!("CARGO_BIN_EXE_lightloss"))
        .args(["measure", "--replace", "--out"])
        .args([out, folder])
        .args(words)
        .output()
        .expect("the program starts");
    let seconds = began.elapsed().as_secs_f64();
    assert!(done.status.success(), "measure: {}", String::from_utf8_lossy(&done.stderr));
    Some(seconds)
}

/// Seconds that everything after sorting takes: the joint fit of the strengths as well, so the share
/// is rather overstated.
fn after_sorting(session: &Session) -> f64 {
    let candidates = session.take(&ring_shots()).into_iter().map(|taken| {
        let summary = draw(session, &taken);
        let file = summary.info.file.clone();
        Candidate { sha256: file.clone(), file, outcome: Ok(summary) }
    });
    let wish = Wish { kind: Some(Kind::Variable), ..Wish::default() };
    let shoot = sort(candidates.collect(), &wish).expect("a shoot that can be sorted");
    let about = About { name: "Ring".to_owned(), ..About::default() };
    let once = || {
        let began = Instant::now();
        let profile = measure(&shoot, &about).expect("a shoot that can be measured");
        assert_eq!(profile.settings.len(), 8);
        assert!(profile.polariser_pair.is_some());
        Some(began.elapsed().as_secs_f64())
    };
    fastest(once).unwrap_or(f64::NAN)
}

/// The share of a variable filter's measurement that goes into everything across the frame.
fn across_the_frame(out: &mut impl Write) {
    let session = session(20.0);
    let room = tempfile::tempdir().expect("a temporary folder");
    let folder = room.path().join("ring");
    std::fs::create_dir(&folder).expect("a new folder");
    let taken = session.take(&ring_shots());
    files::write_all(&session, &taken, &folder, Compression::None, false)
        .expect("room for the frames");
    let words = ["--kind", "variable"];
    let whole = fastest(|| measured(&folder, &room.path().join("out"), &words));
    let whole = whole.unwrap_or(f64::NAN);
    let across = after_sorting(&session);
    let share = across / whole;
    writeln!(
        out,
        "variable filter, 20 frames: {whole:.2} s, {across:.3} s of it after sorting, {:.1} %",
        100.0 * share
    )
    .ok();
    assert!(share < MOST_ACROSS, "{share}");
}

fn main() {
    across_the_frame(&mut std::io::stdout().lock());
}
