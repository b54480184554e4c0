//! Sharpness, veil and ghosts from folders of files to the profile, against what was planted.

#![allow(clippy::unwrap_used)]

use crate::support::program;
use lightloss::measure::picture::find;
use lightloss::reduce::reduce;
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::demo;
use lightloss::simulate::mosaic::render;
use lightloss::simulate::optics::image::{Image, Optics};
use lightloss::simulate::optics::subject::{SQUARES, Subject};
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};
use serde_json::Value;
use std::f64::consts::PI;
use std::sync::Arc;

/// Modulation of a Gaussian blur seen by square pixels at half its height, upright edge.
fn mtf50(sigma: f64, angle: f64) -> f64 {
    let sinc = |x: f64| (PI * x).sin() / (PI * x);
    let (sin, cos) = angle.to_radians().sin_cos();
    let at =
        |f: f64| (-2.0 * (PI * f * sigma).powi(2)).exp() * (sinc(f * cos) * sinc(f * sin)).abs();
    let (mut low, mut high) = (0.001, 0.8);
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if at(middle) > 0.5 { low = middle } else { high = middle }
    }
    low
}

fn number(value: &Value, path: &str) -> f64 {
    value.pointer(path).and_then(Value::as_f64).unwrap_or_else(|| panic!("no {path} in {value}"))
}

/// The resin sheet of the demo: blur, veil and a ghost; three times the stated uncertainty.
#[test]
fn what_a_sheet_does_to_the_picture_is_found_from_its_files() {
    let home = tempfile::tempdir().unwrap();
    let shoot = demo::fen_six();
    let folder = home.path().join("fen");
    shoot.write(&folder, false).unwrap();
    let output = program()
        .args(["measure", "fen", "--rated", "6", "--format", "json"])
        .current_dir(home.path())
        .output()
        .unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(0), "{said}");
    let profile: Value = serde_json::from_slice(&output.stdout).unwrap();
    let picture = &profile["picture"];
    let (_, planted) = shoot.picture.clone().unwrap();
    let truth = mtf50(planted.lens.hypot(planted.blur), 5.3) / mtf50(planted.lens, 5.3);
    let (ratio, u95) =
        (number(picture, "/sharpness_ratio/value"), number(picture, "/sharpness_ratio/u95"));
    assert!((ratio - truth).abs() < 1.5 * u95 && u95 < 0.02, "{ratio} +- {u95}, planted {truth}");
    let edges = picture["sharpness"].as_array().unwrap();
    for place in ["centre", "top left", "top right", "bottom left", "bottom right"] {
        let found = edges.iter().any(|edge| edge["place"] == place);
        assert!(found, "{place}: {}", picture["cautions"]);
    }
    // The hole is a twentieth of a white wall, and all light of the picture is spread alike.
    let index = |veil: f64| veil * 0.95 / (1.0 - veil + veil * 0.95);
    for (state, veil) in [("bare", planted.lens_veil), ("filtered", planted.veil)] {
        let found = number(picture, &format!("/veiling_glare/{state}/value"));
        // The lens darkens the wall around the hole by some four per cent against its middle.
        let truth = 100.0 * index(veil);
        assert!((found - truth).abs() < 0.02 + 0.05 * truth, "{state}: {found} %, planted {truth}");
    }
    let ghost = &picture["ghosts"][0];
    let stops = number(ghost, "/stops");
    assert!((stops + planted.ghost.log2()).abs() < 0.2, "{stops}");
    assert!((number(ghost, "/x_percent") - 71.0).abs() < 1.0, "{ghost}");
    assert!((number(ghost, "/y_percent") - 69.0).abs() < 1.0, "{ghost}");
    let cautions = picture["cautions"].as_array().unwrap();
    assert!(cautions.is_empty(), "{cautions:?}");
    // The sheet for a return says it.
    std::fs::write(home.path().join("fen.json"), &output.stdout).unwrap();
    let sheet =
        program().args(["kit", "sheet", "fen.json"]).current_dir(home.path()).output().unwrap();
    let page = String::from_utf8(sheet.stdout).unwrap();
    let page = std::fs::read_to_string(home.path().join(page.trim())).unwrap();
    assert!(page.contains("of its sharpness (MTF50)") && page.contains("A ghost of the lamp"));
}

/// What is measured of an edge ends before the square's corners do: at some angles a corner once
/// reached a few pixels into it between the cells, bent the edge's line, and let an honest shoot
/// look shaken.
#[test]
fn no_corner_of_a_target_s_square_reaches_into_an_edge() {
    const SIZE: (usize, usize) = (1152, 768);
    const SIDE: f64 = 0.24;
    let half = SIDE * SIZE.1 as f64 / 2.0;
    let middles = SQUARES.map(|(u, v)| (u * SIZE.0 as f64, v * SIZE.1 as f64));
    for angle in [4.04_f64, 5.3, 7.0] {
        let target = Subject::Target { angle, dark: 0.08, side: SIDE };
        let image = Arc::new(Image::of(&target, &Optics::blurred(0.8), SIZE));
        let scene = Scene { lean: (0.0, 0.0), ..Scene::daylight(0.6, [0.6, 1.0, 0.7]) };
        let lens = Lens { falloff: 0.0, ..Lens::of(50.0) };
        let session = Session::new(Camera::bayer(SIZE.0, SIZE.1), lens, scene, 5);
        let shot = Shot::of("P0000.dng", Time::Timer(1.0), Vec::new());
        let taken = session.take(&[Shot { image: Some(image), ..shot }]);
        let found = find::edges(&reduce(&render(&session, &taken[0])));
        assert_eq!(found.len(), 5, "{angle} degrees");
        let (sin, cos) = angle.to_radians().sin_cos();
        for area in found.iter().map(|site| site.area) {
            let (left, top) = (area.left as f64, area.top as f64);
            let (width, height) = (area.width as f64, area.height as f64);
            let (x, y) = (left + width / 2.0, top + height / 2.0);
            let nearest = middles
                .iter()
                .min_by(|a, b| (x - a.0).hypot(y - a.1).total_cmp(&(x - b.0).hypot(y - b.1)));
            let (u, v) = *nearest.unwrap();
            // The patch's ends along the square's side, turned with it.
            let turned =
                |x: f64, y: f64| ((x - u) * cos + (y - v) * sin, (y - v) * cos - (x - u) * sin);
            let (across, down) = turned(x, y);
            let ends = if across.abs() > down.abs() {
                [(x, top), (x, top + height)].map(|(x, y)| turned(x, y).1)
            } else {
                [(left, y), (left + width, y)].map(|(x, y)| turned(x, y).0)
            };
            for end in ends {
                assert!(end.abs() < half - 2.0, "{angle} degrees, {area:?}: {end} of {half}");
            }
        }
    }
}
