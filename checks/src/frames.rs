//! Shoots of simulated frames for the speed benches.

use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::files;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};
use lightloss::write::dng::Compression;
use std::path::{Path, PathBuf};

/// What the filter takes.
const STOPS: f64 = 6.0;

/// Renders a shoot, a quarter of it bare, half through the filter, a quarter bare, unless the
/// folder is there already.
pub fn shoot(
    folder: &Path,
    frames: usize,
    (width, height): (usize, usize),
    compression: Compression,
) -> Vec<PathBuf> {
    let filter = [Filter::even([STOPS; 3])];
    let quarter = frames / 4;
    let shots = [
        Shot::repeated("L", 1, quarter, Time::Dial(1.0 / 60.0), &[]),
        Shot::repeated("L", 1 + quarter, frames - 2 * quarter, Time::Dial(1.0), &filter),
        Shot::repeated("L", 1 + frames - quarter, quarter, Time::Dial(1.0 / 60.0), &[]),
    ]
    .concat();
    // Half of full scale in a sixtieth of a second.
    let scene = Scene::daylight(0.5 * 60.0, [0.5, 1.0, 0.7]);
    let session = Session::new(Camera::bayer(width, height), Lens::of(50.0), scene, 20);
    let taken = session.take(&shots);
    let paths = taken.iter().map(|t| folder.join(&t.shot.file)).collect();
    if !folder.exists() {
        std::fs::create_dir_all(folder).expect("a new folder");
        files::write_all(&session, &taken, folder, compression, false)
            .expect("room for the frames");
    }
    paths
}
