//! A shoot of 20 frames of 24 megapixels measured by the program, beside LibRaw through rawpy with
//! numpy means on the same files (`tests/oracle/means.py`).
//!
//! `cargo bench --bench shoot`; `LIGHTLOSS_PYTHON` names a Python that has rawpy and numpy, and the
//! comparison is left out, visibly, where there is none.

use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::files;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};
use lightloss::write::dng::Compression;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

const STOPS: f64 = 6.0;
/// Runs of either side; the fastest counts.
const RUNS: usize = 3;

fn shots() -> Vec<Shot> {
    let filter = [Filter::even([STOPS; 3])];
    [
        Shot::repeated("L", 1, 5, Time::Dial(1.0 / 60.0), &[]),
        Shot::repeated("L", 6, 10, Time::Dial(1.0), &filter),
        Shot::repeated("L", 16, 5, Time::Dial(1.0 / 60.0), &[]),
    ]
    .concat()
}

fn render(folder: &Path, compression: Compression) -> Vec<PathBuf> {
    let camera = Camera::bayer(6_000, 4_000);
    // Half of full scale in a sixtieth of a second.
    let scene = Scene::daylight(0.5 * 60.0, [0.5, 1.0, 0.7]);
    let session = Session::new(camera, Lens::of(50.0), scene, 20);
    let taken = session.take(&shots());
    files::write_all(&session, &taken, folder, compression, false).expect("room for the frames");
    taken.iter().map(|t| folder.join(&t.shot.file)).collect()
}

fn fastest(mut run: impl FnMut() -> Option<f64>) -> Option<f64> {
    (0..RUNS).map(|_| run()).collect::<Option<Vec<f64>>>()?.into_iter().reduce(f64::min)
}

/// Seconds of one measurement, process and all.
fn measured(folder: &Path, out: &Path) -> Option<f64> {
    let began = Instant::now();
    let done = Command::new(env!("CARGO_BIN_EXE_lightloss"))
        .args(["measure", "--replace", "--out"])
        .args([out, folder])
        .output()
        .expect("the program starts");
    let seconds = began.elapsed().as_secs_f64();
    assert!(done.status.success(), "measure: {}", String::from_utf8_lossy(&done.stderr));
    Some(seconds)
}

/// Seconds that the Python script says it took.
fn plain_way(files: &[PathBuf]) -> Option<f64> {
    let python = std::env::var("LIGHTLOSS_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/oracle/means.py");
    let done = Command::new(python).arg(script).args(files).output().ok()?;
    let text = String::from_utf8(done.stdout).ok()?;
    done.status.success().then(|| text.lines().last()?.parse().ok()).flatten()
}

fn main() {
    let mut out = std::io::stdout().lock();
    for (name, compression) in
        [("uncompressed", Compression::None), ("lossless JPEG", Compression::LosslessJpeg)]
    {
        let room = tempfile::tempdir().expect("a temporary folder");
        let folder = room.path().join("shoot");
        std::fs::create_dir(&folder).expect("a new folder");
        let files = render(&folder, compression);
        let ours = fastest(|| measured(&folder, &room.path().join("out"))).unwrap_or(f64::NAN);
        let line = match fastest(|| plain_way(&files)) {
            Some(plain) => format!("rawpy + numpy {plain:.2} s, {:.2} x as long", plain / ours),
            None => "no Python with rawpy: nothing to compare with".to_owned(),
        };
        // A closed pipe is no reason to fail a bench.
        writeln!(out, "{name}, 20 frames: lightloss measure {ours:.2} s; {line}").ok();
    }
}
