//! What five edges cost: twenty frames of 24 megapixels measured with twenty frames of a target beside
//! them, against the same number of frames without edges.

use super::Line;
use crate::frames;
use crate::program::{self, Program};
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::demo_picture::TARGET;
use lightloss::simulate::files;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::optics::image::{Image, Optics};
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};
use lightloss::write::dng::Compression;
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::sync::Arc;

const FRAMES: usize = 20;
const SIZE: (usize, usize) = (6_000, 4_000);
/// Most of the shoot's time without them.
const MOST: f64 = 0.1;
/// Runs of each side, in turns; the fastest counts, since other work on the machine only adds.
const RUNS: usize = 7;

/// The shoot in `folder` with `FRAMES` frames of the target in its folder for sharpness.
fn with_edges(folder: &Path, plain: &Path) {
    fs::create_dir_all(folder).expect("a new folder");
    for entry in fs::read_dir(plain).expect("the shoot is there") {
        let from = entry.expect("an entry").path();
        let name = from.file_name().expect("frames have names");
        fs::hard_link(&from, folder.join(name)).expect("one file system");
    }
    let filter = Filter::even([6.0; 3]);
    let lens = Optics::blurred(0.55);
    let [bare, filtered] =
        [&lens, &lens.clone().softened(0.3)].map(|o| Arc::new(Image::of(&TARGET, o, SIZE)));
    let shots: Vec<Shot> = (0..FRAMES)
        .map(|i| {
            let through = (FRAMES / 4..FRAMES - FRAMES / 4).contains(&i);
            let (state, time, image, filters) = if through {
                ("filter", 1.0, &filtered, vec![filter.clone()])
            } else {
                ("bare", 1.0 / 64.0, &bare, Vec::new())
            };
            let file = format!("sharpness/{state}/S{i:03}.dng");
            Shot { image: Some(Arc::clone(image)), ..Shot::of(&file, Time::Dial(time), filters) }
        })
        .collect();
    let scene = Scene::daylight(0.5 * 60.0, [0.5, 1.0, 0.7]);
    let session = Session::new(Camera::bayer(SIZE.0, SIZE.1), Lens::of(50.0), scene, 21);
    files::write_all(&session, &session.take(&shots), folder, Compression::None, false)
        .expect("room for the frames");
}

pub fn line(program: &Program) -> Line {
    let room = tempfile::tempdir().expect("a temporary folder");
    let of = |name: &str| room.path().join(name);
    frames::shoot(&of("twenty"), FRAMES, SIZE, Compression::None);
    frames::shoot(&of("forty"), 2 * FRAMES, SIZE, Compression::None);
    with_edges(&of("edges"), &of("twenty"));
    let mut fastest = [f64::INFINITY; 3];
    for _ in 0..RUNS {
        for (name, least) in ["twenty", "forty", "edges"].iter().zip(&mut fastest) {
            let words = program::measure(&of(name), &of(&format!("{name}-out")));
            *least = least.min(program::run(program, &words).wall);
        }
    }
    let profile = fs::read(of("edges-out").join("profile.json")).expect("it was measured");
    let profile: Value = serde_json::from_slice(&profile).expect("a profile is JSON");
    let edges = profile["picture"]["sharpness"].as_array().map_or(0, Vec::len);
    let [twenty, forty, with] = fastest;
    let part = (with - forty) / twenty;
    Line::new(
        "time of edges in 20 frames of 24 megapixels",
        format!("{edges} edges, {:.1} % of {twenty:.2} s", 100.0 * part),
        "5 edges, 10 % of the shoot",
        edges == 5 && part <= MOST,
    )
}
