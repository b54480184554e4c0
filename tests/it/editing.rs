//! `which` and `correct` as the user runs them, on an evening of photographs planted here.

#![allow(clippy::unwrap_used)]

pub mod beside;
mod faults;
pub mod kinds;
mod light;
mod named;
pub mod pictures;
mod programs;
mod refusals;
mod sky;
mod told;
mod twice;
mod words;

use crate::support::program;
use lightloss::editing::used_csv::{UsedRow, read_used};
use lightloss::frame::cfa::Cfa;
use lightloss::frame::{Area, BlackPattern, ColourMatrix};
use lightloss::measure::colour::{FrozenMatrix, ciede2000, lab};
use lightloss::tiff::Value;
use lightloss::write::dng::{DngFile, Pattern};
use lightloss::write::exif::ExifData;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use rawler::rawimage::RawImageData;
use serde_json::json;
use std::path::{Path, PathBuf};
use std::process::Output;

pub const WIDTH: usize = 396;
pub const HEIGHT: usize = 264;
const BLACK: f64 = 512.0;
const WHITE: f64 = 16_000.0;
/// Electrons per count of the planted sensor.
const ELECTRONS: f64 = 4.0;
/// Camera RGB of a neutral in the planted light.
pub const LIGHT: [f64; 3] = [0.55, 1.0, 0.62];
/// XYZ (D65) to linear sRGB, IEC 61966-2-1, scaled so that the planted light is near white.
const MATRIX: [f64; 9] =
    [1.7823, -0.8455, -0.2742, -0.9689, 1.8758, 0.0415, 0.0345, -0.1265, 0.6553];
pub const SIX: [f64; 3] = [6.00, 6.10, 6.25];
pub const TEN: [f64; 3] = [10.15, 10.00, 9.80];

pub struct Photo {
    pub name: &'static str,
    pub clock: &'static str,
    pub seconds: f64,
    pub loss: [f64; 3],
    pub scene: usize,
    pub filters: &'static [&'static str],
}

pub const BARE: [f64; 3] = [0.0; 3];

pub fn sum(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|i| a[i] + b[i])
}

/// Two scenes: a bare metering, each filter, the stack, a bracket of three, and a photograph of a
/// third scene that has no metering.
pub fn evening() -> Vec<Photo> {
    let photo = |name, clock, seconds, loss, scene, filters| Photo {
        name,
        clock,
        seconds,
        loss,
        scene,
        filters,
    };
    vec![
        photo("L0001", "19:00:00", 1.0 / 64.0, BARE, 0, &[]),
        photo("L0002", "19:01:00", 1.0, SIX, 0, &["Heron Six"]),
        photo("L0003", "19:02:00", 16.0, TEN, 0, &["Heron Ten"]),
        photo("L0004", "19:03:00", 512.0, sum(SIX, TEN), 0, &["Heron Six", "Heron Ten"]),
        photo("L0010", "19:20:00", 1.0 / 64.0, BARE, 1, &[]),
        photo("L0011", "19:20:30", 0.5, SIX, 1, &["Heron Six"]),
        photo("L0012", "19:20:32", 1.0, SIX, 1, &["Heron Six"]),
        photo("L0013", "19:20:35", 2.0, SIX, 1, &["Heron Six"]),
        photo("L0020", "19:50:00", 8.0, TEN, 2, &["Heron Ten"]),
    ]
}

/// Large forms, and rocks and waves over them: what tells one place from another.
fn scene_light(scene: usize, x: f64, y: f64) -> f64 {
    let place = scene as f64;
    let rocks = (19.0 * x + 2.0 * place).sin() * (16.0 * y + place).cos();
    (0.75 + 0.25 * rocks) * large_forms(scene, x, y)
}

fn large_forms(scene: usize, x: f64, y: f64) -> f64 {
    match scene {
        0 => {
            if y < 0.4 + 0.2 * x {
                0.9
            } else {
                0.05 + 0.2 * x
            }
        }
        1 => 0.1 + 0.7 * (1.0 - 2.0 * (x - 0.5).abs()),
        _ => 0.4 + 0.3 * (7.0 * x).sin() * (5.0 * y).cos(),
    }
}

fn counts(light: impl Fn(f64, f64) -> [f64; 3], cfa: &Cfa, seed: u64) -> Vec<u16> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let unit = Normal::new(0.0, 1.0).unwrap();
    (0..WIDTH * HEIGHT)
        .map(|i| {
            let (row, column) = (i / WIDTH, i % WIDTH);
            let rgb = light(column as f64 / WIDTH as f64, row as f64 / HEIGHT as f64);
            let letter = cfa.letters().as_bytes()[row % 2 * 2 + column % 2];
            let mean = match letter {
                b'R' => rgb[0],
                b'G' => rgb[1],
                _ => rgb[2],
            };
            let noise = (mean.max(0.0) / ELECTRONS + 4.0).sqrt() * unit.sample(&mut random);
            (BLACK + mean + noise).round().clamp(0.0, WHITE) as u16
        })
        .collect()
}

pub fn dng(photo: &Photo, light: impl Fn(f64, f64) -> [f64; 3]) -> DngFile {
    let cfa = Cfa::from_letters("GRBG").unwrap();
    let data = counts(light, &cfa, photo.name.len() as u64 + photo.seconds.to_bits());
    let mut file = DngFile::new(WIDTH, HEIGHT, data, Pattern::Mosaic(cfa));
    file.active = Some(Area { left: 0, top: 0, width: WIDTH, height: HEIGHT });
    file.crop = Some(Area { left: 8, top: 8, width: WIDTH - 16, height: HEIGHT - 16 });
    file.black = Some(BlackPattern::uniform(BLACK));
    file.white = Some(WHITE as u32);
    file.as_shot_neutral = Some(LIGHT);
    file.matrices =
        vec![ColourMatrix { illuminant: Some(21), xyz_to_camera: MATRIX, source: "file".into() }];
    file.make = Some("Testmaker".into());
    file.model = Some("One".into());
    file.exif = Some(ExifData {
        exposure_time: Some(photo.seconds),
        f_number: Some(8.0),
        iso: Some(100),
        taken_at: Some(format!("2031-05-04T{}", photo.clock).parse().unwrap()),
        lens: Some("Invented 24".into()),
        focal_length: Some(24.0),
        serial: Some("77".into()),
        // WhiteBalance manual, LightSource fine weather.
        more: vec![
            (0xA403, Value::Short(vec![1])),
            (0x9208, Value::Short(vec![9])),
            (0x9000, Value::Undefined(b"0232".to_vec())),
        ],
        ..ExifData::default()
    });
    file.more = vec![
        (315, Value::Ascii("A. Nobody".into())),
        (33432, Value::Ascii("(c) A. Nobody".into())),
    ];
    file.gps = vec![
        (0, Value::Byte(vec![2, 3, 0, 0])),
        (1, Value::Ascii("N".into())),
        (2, Value::Rational(vec![(12, 1), (34, 1), (56, 1)])),
        (3, Value::Ascii("E".into())),
        (4, Value::Rational(vec![(6, 1), (54, 1), (32, 1)])),
    ];
    file
}

pub fn through(photo: &Photo) -> impl Fn(f64, f64) -> [f64; 3] + use<> {
    // Exposed so that 64 ms of bare light fill most of the range.
    let exposure = photo.seconds * 64.0 * 12_000.0;
    let (loss, scene) = (photo.loss, photo.scene);
    move |x, y| {
        std::array::from_fn(|c| exposure * scene_light(scene, x, y) * LIGHT[c] * (-loss[c]).exp2())
    }
}

pub fn profile(name: &str, loss: [f64; 3]) -> String {
    let channel = |stops: f64| json!({"stops": stops, "u95": 0.02});
    let (columns, rows) = (64, 43);
    let map: Vec<f64> = (0..columns * rows)
        .map(|i| {
            let x = ((i % columns) as f64 + 0.5) / columns as f64 - 0.5;
            let y = ((i / columns) as f64 + 0.5) / rows as f64 - 0.5;
            1.2 * ((x * 36.0).powi(2) + (y * 24.0).powi(2)) / (18.0f64.powi(2) + 144.0)
        })
        .collect();
    let directed = json!({"stops": 0.0, "angle": 0.0});
    json!({
        "schema": "lightloss-profile/1",
        "made_by": {"program": "lightloss", "version": "0"},
        "filter": {"name": name, "kind": "solid"},
        "camera": {"make": "Testmaker", "model": "One", "focal_length_mm": 24.0,
                   "colour_matrix": {"source": "file", "illuminant": "D65",
                                     "xyz_to_camera": MATRIX.to_vec()},
                   "sensor_mm": {"width": 36.0, "height": 24.0, "source": "test"}},
        "light": {"cct_k": 5600.0, "duv": 0.0},
        "settings": [{
            "mark": null,
            "strength": {"stops": loss[1], "u95": 0.02, "density": 0.0, "factor": 1.0,
                         "transmittance": 1.0},
            "channels": {"red": channel(loss[0]), "green": channel(loss[1]), "blue": channel(loss[2])},
            "cast": {"gains": {"red": (loss[0] - loss[1]).exp2(), "green": 1.0,
                               "blue": (loss[2] - loss[1]).exp2()},
                     "gains_u95": {"red": 0.005, "blue": 0.005}, "words": ""},
            "evenness": {
                "grid": {"columns": 11, "rows": 11, "stops": vec![vec![0.0; 11]; 11]},
                "spread_stops": 1.0, "extremes_stops": 1.2,
                "corners_stops": {"top_left": 1.2, "top_right": 1.2, "bottom_left": 1.2,
                                  "bottom_right": 1.2},
                "maps": {"columns": columns, "rows": rows, "red": map, "green": map, "blue": map},
                "colour_spread": {"red_green_stops": 0.0, "blue_green_stops": 0.0},
                "specks": [],
                "pattern": {"valid": true, "falloff_stops": 1.2, "tilt": directed,
                            "saddle": directed, "cross": directed, "residual_stops": 0.0,
                            "noise_stops": 0.0},
                "dark_cross": {"state": "absent", "depth_stops": 0.0, "angle": null}
            },
            "frames": {"bare": [], "filtered": []}, "cautions": []
        }],
        "budget": [], "frames": [], "cautions": []
    })
    .to_string()
}

/// A folder with the evening and the kit.
pub fn planted() -> (tempfile::TempDir, Vec<PathBuf>) {
    let folder = tempfile::tempdir().unwrap();
    let files = evening()
        .iter()
        .map(|photo| {
            let path = folder.path().join(format!("{}.dng", photo.name));
            std::fs::write(&path, dng(photo, through(photo)).encode().unwrap()).unwrap();
            path
        })
        .collect();
    for (name, loss) in [("Heron Six", SIX), ("Heron Ten", TEN)] {
        std::fs::write(folder.path().join(format!("{name}.json")), profile(name, loss)).unwrap();
    }
    (folder, files)
}

pub fn lightloss(folder: &Path, arguments: &[&str]) -> Output {
    program().current_dir(folder).args(arguments).output().unwrap()
}

/// The same, which must come to its end in good order; gives all that was said.
pub fn done(folder: &Path, arguments: &[&str]) -> String {
    let output = lightloss(folder, arguments);
    let said = text(&output.stdout) + &text(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {said}");
    said
}

/// The rows of a table that `which` wrote.
pub fn read_rows(folder: &Path, table: &str) -> Vec<UsedRow> {
    read_used(&std::fs::read_to_string(folder.join(table)).unwrap()).unwrap()
}

/// An XMP packet (ISO 16684-1) of one description, with these properties and elements.
pub fn packet(properties: &str, elements: &str) -> String {
    format!(
        "<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF \
         xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#' \
         xmlns:dc='http://purl.org/dc/elements/1.1/' xmlns:q='http://ns.example/q/'>\
         <rdf:Description rdf:about='' {properties}>{elements}</rdf:Description></rdf:RDF></x:xmpmeta>"
    )
}

/// The same with one keyword.
pub fn keyword(word: &str) -> String {
    packet("", &format!("<dc:subject><rdf:Bag><rdf:li>{word}</rdf:li></rdf:Bag></dc:subject>"))
}

pub fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

pub fn decoded(path: &Path) -> rawler::RawImage {
    rawler::decode_file(path).unwrap()
}

pub fn mosaic(path: &Path) -> Vec<u16> {
    match decoded(path).data {
        RawImageData::Integer(data) => data,
        RawImageData::Float(_) => panic!("not whole numbers"),
    }
}

/// Leaves the evening for the scripts that ask other programs, with what was planted.
fn keep(folder: &Path) {
    let Some(to) = std::env::var_os("LIGHTLOSS_EVENING").map(PathBuf::from) else { return };
    std::fs::create_dir_all(to.join("corrected")).unwrap();
    let mut neutrals = serde_json::Map::new();
    for photo in evening().iter().filter(|p| !p.filters.is_empty() && p.scene < 2) {
        for name in
            [format!("{}.dng", photo.name), format!("corrected/{}-corrected.dng", photo.name)]
        {
            std::fs::copy(folder.join(&name), to.join(&name)).unwrap();
        }
        let neutral: [f64; 3] =
            std::array::from_fn(|c| LIGHT[c] * (photo.loss[1] - photo.loss[c]).exp2());
        // 1.2 stops a filter at the corner, no gain above two stops.
        let corner = (1.2 * photo.filters.len() as f64).min(2.0);
        neutrals.insert(photo.name.to_owned(), json!([neutral, corner]));
    }
    std::fs::write(to.join("planted.json"), json!(neutrals).to_string()).unwrap();
}

#[test]
fn an_evening_is_sorted_and_corrected() {
    let (folder, files) = planted();
    let at = folder.path();
    let which = lightloss(at, &["which", ".", "--profile", "Heron Six.json", "Heron Ten.json"]);
    assert_eq!(which.status.code(), Some(0), "{}", text(&which.stderr));
    let used = std::fs::read_to_string(at.join("used.csv")).unwrap();
    let rows = lightloss::editing::used_csv::read_used(&used).unwrap();
    assert_eq!(rows.len(), 9);
    let mut found = 0;
    for (row, photo) in rows.iter().zip(evening()) {
        if let Some(filters) = &row.filters {
            assert_eq!(filters, photo.filters, "{}: {row:?}", photo.name);
            found += 1;
        }
    }
    // Everything but the scene without a metering.
    assert_eq!(found, 8, "{}", text(&which.stdout));

    let before: Vec<Vec<u8>> = files.iter().map(|f| std::fs::read(f).unwrap()).collect();
    let asked = ["correct", ".", "--used", "used.csv", "--white", "nearest-bare", "--evenness"];
    let correct = lightloss(at, &asked);
    assert_eq!(correct.status.code(), Some(0), "{}", text(&correct.stderr));
    assert!(text(&correct.stdout).contains("6 of 6 photographs corrected"));
    for (photo, (file, bytes)) in evening().iter().zip(files.iter().zip(&before)) {
        assert_eq!(&std::fs::read(file).unwrap(), bytes, "the original changed");
        let out = at.join(format!("corrected/{}-corrected.dng", photo.name));
        assert_eq!(out.exists(), !photo.filters.is_empty() && photo.scene < 2, "{}", photo.name);
        if out.exists() {
            assert_eq!(mosaic(&out), mosaic(file), "{}", photo.name);
            let wb = decoded(&out).wb_coeffs;
            let red = LIGHT[0] * (photo.loss[1] - photo.loss[0]).exp2();
            let blue = LIGHT[2] * (photo.loss[1] - photo.loss[2]).exp2();
            assert!((1.0 / f64::from(wb[0]) - red).abs() < 1e-4, "{wb:?} {red}");
            assert!((1.0 / f64::from(wb[2]) - blue).abs() < 1e-4, "{wb:?} {blue}");
        }
    }
    keep(at);
    let again = lightloss(at, &asked);
    assert_eq!(again.status.code(), Some(3));
    assert!(text(&again.stderr).contains("exists already"), "{}", text(&again.stderr));
}

#[test]
fn the_second_decoder_reads_the_corrected_file_too() {
    let (folder, _) = planted();
    done(
        folder.path(),
        &[
            "correct",
            "L0002.dng",
            "--profile",
            "Heron Six.json",
            "--white",
            "L0001.dng",
            "--out",
            "o",
        ],
    );
    let out = folder.path().join("o/L0002-corrected.dng");
    let image = rawloader::decode_file(&out).unwrap();
    let rawloader::RawImageData::Integer(data) = image.data else { panic!("not whole numbers") };
    assert_eq!(data, mosaic(&folder.path().join("L0002.dng")));
}

#[test]
fn what_went_before_is_carried_over() {
    let (folder, _) = planted();
    let asked = [
        "correct",
        "L0002.dng",
        "--profile",
        "Heron Six.json",
        "--white",
        "5600",
        "--uncompressed",
    ];
    done(folder.path(), &asked);
    let bytes = std::fs::read(folder.path().join("corrected/L0002-corrected.dng")).unwrap();
    let data = exif::Reader::new().read_from_container(&mut std::io::Cursor::new(bytes)).unwrap();
    let text = |tag| data.get_field(tag, exif::In::PRIMARY).unwrap().display_value().to_string();
    assert_eq!(text(exif::Tag::Artist), "\"A. Nobody\"");
    assert_eq!(text(exif::Tag::GPSLatitude), "12 deg 34 min 56 sec");
    assert_eq!(text(exif::Tag::LensModel), "\"Invented 24\"");
    assert_eq!(text(exif::Tag::ExposureTime), "1");
    assert_eq!(text(exif::Tag::WhiteBalance), "manual white balance");
}

#[test]
fn faults_are_one_clear_line_and_nothing_is_half_written() {
    let (folder, _) = planted();
    let at = folder.path();
    let ask = |arguments: &[&str]| {
        let output = lightloss(at, arguments);
        (output.status.code(), text(&output.stderr))
    };
    let six = "Heron Six.json";
    // Its own frame, a word that is nothing, a profile that is none.
    let (status, said) = ask(&["correct", "L0002.dng", "--profile", six, "--white", "dusk"]);
    assert_eq!(status, Some(2), "{said}");
    let (status, said) = ask(&["correct", "L0002.dng", "--profile", "L0001.dng"]);
    assert_eq!((status, said.lines().count()), (Some(3), 1), "{said}");
    // A frame too bright for the filter is skipped by name.
    let (status, said) = ask(&["correct", "L0001.dng", "--profile", six]);
    assert_eq!(status, Some(3));
    assert!(said.contains("L0001.dng") && said.contains("brighter"), "{said}");
    // One damaged file does not stop the rest.
    let whole = std::fs::read(at.join("L0003.dng")).unwrap();
    std::fs::write(at.join("broken.dng"), &whole[..whole.len() / 2]).unwrap();
    let (status, said) =
        ask(&["correct", "L0002.dng", "broken.dng", "--profile", six, "--white", "5600"]);
    assert_eq!(status, Some(1), "{said}");
    assert!(said.contains("broken.dng"));
    assert!(at.join("corrected/L0002-corrected.dng").exists());
    // Two photographs for one name.
    std::fs::create_dir(at.join("twin")).unwrap();
    std::fs::copy(at.join("L0002.dng"), at.join("twin/L0002.dng")).unwrap();
    let twins = ["correct", "L0002.dng", "twin/L0002.dng", "--profile", six, "--white", "5600"];
    let (status, said) = ask(&[&twins[..], &["--out", "both"]].concat());
    assert_eq!(status, Some(2));
    assert!(said.contains("would both become") && !at.join("both").exists(), "{said}");
}

/// Patches of a chart as ratios to a neutral, from dark to light and through the hues.
const PATCHES: [[f64; 3]; 8] = [
    [0.9, 0.9, 0.9],
    [0.36, 0.36, 0.36],
    [0.09, 0.09, 0.09],
    [0.45, 0.16, 0.11],
    [0.17, 0.31, 0.14],
    [0.12, 0.17, 0.37],
    [0.72, 0.55, 0.12],
    [0.40, 0.20, 0.34],
];
/// The published bound for a visible difference is about 1; half of it is asked for.
const UNSEEN: f64 = 0.5;

#[test]
fn a_chart_through_the_filter_has_its_colours_back() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    std::fs::write(at.join("six.json"), profile("Heron Six", SIX)).unwrap();
    let chart = |exposure: f64, loss: [f64; 3]| {
        move |x: f64, _: f64| -> [f64; 3] {
            let patch = PATCHES[((x * 8.0) as usize).min(7)];
            std::array::from_fn(|c| exposure * 14_000.0 * patch[c] * LIGHT[c] * (-loss[c]).exp2())
        }
    };
    let mut photo = evening().remove(0);
    std::fs::write(at.join("bare.dng"), dng(&photo, chart(1.0, BARE)).encode().unwrap()).unwrap();
    (photo.seconds, photo.clock) = (1.0, "19:01:00");
    let filtered = dng(&photo, chart(64.0, SIX)).encode().unwrap();
    std::fs::write(at.join("six.dng"), filtered).unwrap();
    let asked = ["correct", "six.dng", "--profile", "six.json", "--white", "bare.dng"];
    done(at, &asked);
    let (bare, corrected) = (at.join("bare.dng"), at.join("corrected/six-corrected.dng"));
    let matrices =
        [ColourMatrix { illuminant: Some(21), xyz_to_camera: MATRIX, source: "file".into() }];
    let frozen = FrozenMatrix::at(LIGHT, &matrices).unwrap();
    let labs = |path: &Path| -> Vec<[f64; 3]> {
        let neutral = decoded(path).wb_coeffs.map(|w| 1.0 / f64::from(w));
        let data = mosaic(path);
        let patches: Vec<[f64; 3]> = (0..8).map(|p| patch_mean(&data, p)).collect();
        let white = patches[0][1] / 0.9;
        let balanced =
            |patch: &[f64; 3]| std::array::from_fn(|c| patch[c] / neutral[c] * LIGHT[c] / white);
        patches.iter().map(|p| lab(frozen.xyz(balanced(p)), frozen.white())).collect()
    };
    for (patch, (a, b)) in labs(&bare).iter().zip(labs(&corrected)).enumerate() {
        let apart = ciede2000(*a, b);
        assert!(apart < UNSEEN, "patch {patch}: {a:?} and {b:?} are {apart:.2} apart");
    }
}

/// Mean counts above black of red, green and blue in the inner part of one patch (GRBG).
fn patch_mean(data: &[u16], patch: usize) -> [f64; 3] {
    let (mut total, mut count) = ([0.0; 3], [0.0; 3]);
    let step = WIDTH / 8;
    for row in 20..HEIGHT - 20 {
        for column in patch * step + 8..(patch + 1) * step - 8 {
            let channel = match (row % 2, column % 2) {
                (0, 1) => 0,
                (1, 0) => 2,
                _ => 1,
            };
            total[channel] += f64::from(data[row * WIDTH + column]) - BLACK;
            count[channel] += 1.0;
        }
    }
    std::array::from_fn(|c| total[c] / count[c])
}
