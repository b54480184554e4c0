//! Pictures of a known scene: a filter works on raw channels, which a camera matrix, a tone curve and a
//! colour space have changed since. Grey must come out grey, or the refusal name a way that works.

#![allow(clippy::unwrap_used)]

use crate::editing::{done, lightloss, text};
use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageEncoder};
use lightloss::tiff::{self, NewDirectory, Order, Value};
use moxcms::ColorProfile;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use serde_json::json;
use std::path::Path;

/// XYZ to a camera whose channels overlap widely, as real ones do.
const CAMERA: [f64; 9] = [0.70, -0.20, -0.06, -0.45, 1.25, 0.22, -0.08, 0.20, 0.60];
/// What the filter takes: 0.21 stop less of red, 0.17 more of blue.
const STOPS: [f64; 3] = [9.79, 10.0, 10.17];
/// XYZ under D65 to linear sRGB (IEC 61966-2-1) and to linear Adobe RGB (1998) (its published encoding,
/// version 2005-05).
const TO_SRGB: [f64; 9] =
    [3.2406, -1.5372, -0.4986, -0.9689, 1.8758, 0.0415, 0.0557, -0.2040, 1.0570];
const TO_ADOBE: [f64; 9] =
    [2.041_59, -0.565_01, -0.344_73, -0.969_24, 1.875_97, 0.041_56, 0.013_44, -0.118_36, 1.015_17];
/// D65 (CIE 15:2018), and D55, the light of the scene.
const D65: [f64; 3] = [0.950_47, 1.0, 1.088_83];
const D55: [f64; 3] = [0.956_82, 1.0, 0.921_49];
/// Bradford transform (ICC.1:2022, annex E).
const BRADFORD: [f64; 9] =
    [0.8951, 0.2664, -0.1614, -0.7502, 1.7135, 0.0367, 0.0389, -0.0685, 1.0296];
/// Light of the patches against white, and how grey they must come out.
const PATCHES: [f64; 5] = [0.08, 0.18, 0.32, 0.5, 0.7];
const GREY: f64 = 0.03;
const SIDE: usize = 48;
/// Noise of the picture in steps of eight bits, as any photograph has it: steps do not show in means.
const NOISE: f64 = 1.5;

type Three = [f64; 3];
type Decoded = fn(f64) -> f64;

fn times(m: &[f64; 9], v: Three) -> Three {
    std::array::from_fn(|r| (0..3).map(|c| m[3 * r + c] * v[c]).sum())
}

/// Cramer's rule.
fn solved(m: &[f64; 9], v: Three) -> Three {
    let determinant = |m: &[f64; 9]| {
        m[0] * (m[4] * m[8] - m[5] * m[7]) - m[1] * (m[3] * m[8] - m[5] * m[6])
            + m[2] * (m[3] * m[7] - m[4] * m[6])
    };
    std::array::from_fn(|column| {
        let replaced = std::array::from_fn(|i| if i % 3 == column { v[i / 3] } else { m[i] });
        determinant(&replaced) / determinant(m)
    })
}

fn by_bradford(v: Three, from: Three, to: Three) -> Three {
    let (cone, of, on) = (times(&BRADFORD, v), times(&BRADFORD, from), times(&BRADFORD, to));
    solved(&BRADFORD, std::array::from_fn(|c| cone[c] * on[c] / of[c]))
}

/// A grey patch through the filter as a converter renders it, balanced for the bare light.
fn rendered(patch: f64, to_display: &[f64; 9]) -> Three {
    let neutral = times(&CAMERA, D55);
    let raw: Three = std::array::from_fn(|c| neutral[c] * patch * (STOPS[1] - STOPS[c]).exp2());
    let balanced: Three = std::array::from_fn(|c| raw[c] / neutral[c]);
    let scene = solved(&CAMERA, std::array::from_fn(|c| balanced[c] * neutral[c]));
    times(to_display, by_bradford(scene, D55, D65))
}

fn srgb(light: f64) -> f64 {
    if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 }
}

fn adobe(light: f64) -> f64 {
    light.powf(256.0 / 563.0)
}

/// Exif 2.32: WhiteBalance manual, LightSource fine weather, or an automatic balance.
fn exif(automatic: bool) -> Vec<u8> {
    let mut root = NewDirectory::default();
    let mut exif = NewDirectory::default();
    exif.set(0x829A, Value::Rational(vec![(30, 1)]));
    exif.set(0x9208, Value::Short(vec![if automatic { 0 } else { 9 }]));
    exif.set(0xA403, Value::Short(vec![u16::from(!automatic)]));
    root.hang(34665, exif);
    tiff::encode(&root, Order::Little).unwrap()
}

pub struct Jpeg<'a> {
    pub automatic: bool,
    pub icc: Option<&'a [u8]>,
    pub to_display: &'a [f64; 9],
    pub curve: fn(f64) -> f64,
    /// How many times brighter than usual.
    pub light: f64,
}

impl Jpeg<'_> {
    pub fn plain() -> Self {
        Self { automatic: false, icc: None, to_display: &TO_SRGB, curve: srgb, light: 1.0 }
    }

    pub fn write(&self, path: &Path) {
        let width = SIDE * PATCHES.len();
        let mut random = ChaCha8Rng::seed_from_u64(9);
        let noise = Normal::new(0.0, NOISE).unwrap();
        let pixels: Vec<u8> = (0..width * SIDE)
            .flat_map(|i| rendered(self.light * PATCHES[i % width / SIDE], self.to_display))
            .map(|light| (255.0 * (self.curve)(light) + noise.sample(&mut random)).round() as u8)
            .collect();
        let mut bytes = Vec::new();
        let mut encoder = JpegEncoder::new_with_quality(&mut bytes, 100);
        encoder.set_exif_metadata(exif(self.automatic)).unwrap();
        if let Some(icc) = self.icc {
            encoder.set_icc_profile(icc.to_vec()).unwrap();
        }
        encoder.write_image(&pixels, width as u32, SIDE as u32, ExtendedColorType::Rgb8).unwrap();
        std::fs::write(path, bytes).unwrap();
    }
}

pub fn profile(matrix: bool) -> String {
    let channel = |stops: f64| json!({"stops": stops, "u95": 0.02});
    let mut camera = json!({"make": "Testmaker", "model": "One"});
    if matrix {
        camera["colour_matrix"] = json!({"source": "file", "illuminant": "D55",
                                         "xyz_to_camera": CAMERA.to_vec()});
    }
    json!({
        "schema": "lightloss-profile/1",
        "made_by": {"program": "lightloss", "version": "0"},
        "filter": {"name": "Heron Ten", "kind": "solid"},
        "camera": camera, "light": {"cct_k": 5500.0, "duv": 0.003},
        "settings": [{
            "mark": null,
            "strength": {"stops": 10.0, "u95": 0.02, "density": 3.0, "factor": 1024.0,
                         "transmittance": 1.0 / 1024.0},
            "channels": {"red": channel(STOPS[0]), "green": channel(STOPS[1]),
                         "blue": channel(STOPS[2])},
            "cast": {"gains": {"red": (STOPS[0] - STOPS[1]).exp2(), "green": 1.0,
                               "blue": (STOPS[2] - STOPS[1]).exp2()},
                     "gains_u95": {"red": 0.005, "blue": 0.005}, "words": ""},
            "frames": {"bare": [], "filtered": []}, "cautions": []
        }],
        "budget": [], "frames": [], "cautions": []
    })
    .to_string()
}

/// Mean linear light of the inner part of each patch.
fn patches(path: &Path, decoded: Decoded) -> Vec<Three> {
    let picture = image::open(path).unwrap().into_rgb16();
    let inner = 8..SIDE - 8;
    let mean = |patch: usize| -> Three {
        let at = inner.clone().flat_map(|y| inner.clone().map(move |x| (patch * SIDE + x, y)));
        let light = at.map(|(x, y)| {
            picture.get_pixel(x as u32, y as u32).0.map(|v| decoded(f64::from(v) / 65_535.0))
        });
        let count = inner.len().pow(2) as f64;
        light.fold([0.0; 3], |sum, rgb| std::array::from_fn(|c| sum[c] + rgb[c] / count))
    };
    (0..PATCHES.len()).map(mean).collect()
}

fn off(grey: &Three) -> f64 {
    (grey[0] / grey[1] - 1.0).abs().max((grey[2] / grey[1] - 1.0).abs())
}

#[test]
fn grey_comes_out_grey_through_matrix_curve_and_colour_space() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    std::fs::write(at.join("ten.json"), profile(true)).unwrap();
    let adobe_icc = ColorProfile::new_adobe_rgb().encode().unwrap();
    let of_adobe =
        Jpeg { icc: Some(&adobe_icc), to_display: &TO_ADOBE, curve: adobe, ..Jpeg::plain() };
    let undo_srgb =
        |v: f64| if v <= 0.040_45 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) };
    let undo_adobe = |v: f64| v.powf(563.0 / 256.0);
    let cases: [(&str, Jpeg<'_>, Decoded); 2] =
        [("srgb", Jpeg::plain(), undo_srgb), ("adobe", of_adobe, undo_adobe)];
    for (name, jpeg, decoded) in cases {
        let file = format!("{name}.jpg");
        jpeg.write(&at.join(&file));
        let before = patches(&at.join(&file), decoded);
        assert!(
            before.iter().all(|grey| off(grey) > 4.0 * GREY),
            "no cast to take out: {before:?}"
        );
        done(at, &["correct", &file, "--profile", "ten.json"]);
        let after = patches(&at.join(format!("corrected/{name}-corrected.tif")), decoded);
        for (patch, grey) in PATCHES.iter().zip(&after) {
            assert!(off(grey) < GREY, "{name}, {patch}: {grey:?} is {:.3} off", off(grey));
        }
        // Patches keep their order of light.
        assert!(after.windows(2).all(|pair| pair[0][1] < pair[1][1]), "{after:?}");
    }
}

/// White stays white in a picture, so that all the rest gets brighter: by how much is what two files
/// show, and which pixels clip by it too.
#[test]
fn a_picture_that_gets_brighter_says_so_with_what_clips() {
    /// Parts of red, green and blue in the luminance of sRGB (IEC 61966-2-1).
    const LUMINANCE: Three = [0.2126, 0.7152, 0.0722];
    const RAISED: f64 = 0.02;
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    std::fs::write(at.join("ten.json"), profile(true)).unwrap();
    Jpeg { light: 1.25, ..Jpeg::plain() }.write(&at.join("a.jpg"));
    let output = lightloss(at, &["correct", "a.jpg", "--profile", "ten.json"]);
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{said}");
    let linear = |v: f64| if v <= 0.040_45 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) };
    let light = |file: &str| -> Vec<f64> {
        let patches = patches(&at.join(file), linear);
        patches.iter().map(|p| (0..3).map(|c| p[c] * LUMINANCE[c]).sum()).collect()
    };
    let (before, after) = (light("a.jpg"), light("corrected/a-corrected.tif"));
    // The darkest holds rounding, the brightest clips.
    let raised = (1..4).map(|i| (after[i] / before[i]).log2()).sum::<f64>() / 3.0;
    let table = std::fs::read_to_string(at.join("corrected/corrections.csv")).unwrap();
    let rows: Vec<csv::StringRecord> =
        csv::Reader::from_reader(table.as_bytes()).records().map(Result::unwrap).collect();
    let head = csv::Reader::from_reader(table.as_bytes()).headers().unwrap().clone();
    let cell = |name: &str| rows[0].get(head.iter().position(|h| h == name).unwrap()).unwrap();
    let told: f64 = cell("raised_stops").parse().unwrap();
    assert!(raised > 0.1 && (told - raised).abs() < RAISED, "{told} is told, {raised:.3} it is");
    let old = image::open(at.join("a.jpg")).unwrap().into_rgb8();
    let new = image::open(at.join("corrected/a-corrected.tif")).unwrap().into_rgb16();
    let clips = old
        .pixels()
        .zip(new.pixels())
        .filter(|(old, new)| (0..3).any(|c| old.0[c] < u8::MAX && new.0[c] == u16::MAX));
    let share = 100.0 * clips.count() as f64 / f64::from(old.width() * old.height());
    let told: f64 = cell("clips_percent").parse().unwrap();
    assert!(share > 5.0 && (told - share).abs() < 0.1, "{told} % is told, {share:.2} % it is");
    assert!(said.contains("a picture gets brighter, a grey by"), "{said}");
    assert!(said.contains("of its pixels clip that did not before"), "{said}");
    assert!(cell("note").contains("a picture gets brighter"), "{}", cell("note"));
}
