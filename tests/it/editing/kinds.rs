//! Kinds of photographs and filters: rendered pictures, words in sidecars, variable filters,
//! panoramas, and the demo's own evening.

#![allow(clippy::unwrap_used)]

use crate::editing::{
    SIX, dng, done, evening, lightloss, planted, profile, read_rows, text, through,
};
use image::codecs::{jpeg::JpegEncoder, png::PngEncoder};
use image::{ExtendedColorType, ImageDecoder, ImageEncoder};
use lightloss::simulate::{demo, evening::evening as demo_evening};
use lightloss::tiff::{self, NewDirectory, Order, Value};
use serde_json::{Value as Json, json};
use std::path::Path;
use std::sync::LazyLock;

/// Exif with a preset balance (Exif 2.32: WhiteBalance 1, LightSource 9) and an artist.
fn exif_block() -> Vec<u8> {
    let mut root = NewDirectory::default();
    root.set(315, Value::Ascii("A. Nobody".into()));
    let mut exif = NewDirectory::default();
    exif.set(0x829A, Value::Rational(vec![(30, 1)]));
    exif.set(0x9208, Value::Short(vec![9]));
    exif.set(0xA403, Value::Short(vec![1]));
    root.hang(34665, exif);
    tiff::encode(&root, Order::Little).unwrap()
}

const GREY: u8 = 118;
/// Something behind a colour profile's end, so that the very bytes must come back.
const MORE: &[u8] = b"an invented end of a profile";

/// The profile of sRGB (IEC 61966-2-1) with a mark of its own, made once: it holds the time.
static ICC: LazyLock<Vec<u8>> = LazyLock::new(|| {
    [moxcms::ColorProfile::new_srgb().encode().unwrap().as_slice(), MORE].concat()
});

pub fn write_picture(path: &Path, jpeg: bool) {
    let (side, pixels) = (64_u32, vec![GREY; 64 * 64 * 3]);
    let mut bytes = Vec::new();
    let icc = ICC.clone();
    if jpeg {
        let mut encoder = JpegEncoder::new_with_quality(&mut bytes, 98);
        encoder.set_icc_profile(icc).unwrap();
        encoder.set_exif_metadata(exif_block()).unwrap();
        encoder.write_image(&pixels, side, side, ExtendedColorType::Rgb8).unwrap();
    } else {
        let mut encoder = PngEncoder::new(&mut bytes);
        encoder.set_icc_profile(icc).unwrap();
        encoder.set_exif_metadata(exif_block()).unwrap();
        encoder.write_image(&pixels, side, side, ExtendedColorType::Rgb8).unwrap();
    }
    std::fs::write(path, bytes).unwrap();
}

/// IEC 61966-2-1, decoding.
fn linear(encoded: f64) -> f64 {
    if encoded <= 0.040_45 { encoded / 12.92 } else { ((encoded + 0.055) / 1.055).powf(2.4) }
}

#[test]
fn pictures_become_sixteen_bit_tiff_with_profile_and_metadata() {
    let (folder, _) = planted();
    let at = folder.path();
    write_picture(&at.join("a.jpg"), true);
    write_picture(&at.join("b.png"), false);
    let asked = ["correct", "a.jpg", "b.png", "--profile", "Heron Six.json"];
    let output = lightloss(at, &asked);
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(said.contains("raw"), "{said}");
    for (name, times) in [("corrected/a-corrected.tif", 1.0), ("corrected/b-corrected.tif", 1.0)] {
        let bytes = std::fs::read(at.join(name)).unwrap();
        let mut decoder =
            image::codecs::tiff::TiffDecoder::new(std::io::Cursor::new(&bytes)).unwrap();
        assert_eq!(decoder.color_type(), image::ColorType::Rgb16, "{name}");
        assert_eq!(decoder.icc_profile().unwrap(), Some(ICC.clone()), "{name}");
        let image = image::load_from_memory(&bytes).unwrap().into_rgb16();
        let pixel = image.get_pixel(32, 32).0.map(|v| linear(f64::from(v) / 65_535.0));
        // Gains 2^-0.10 and 2^0.15 against green.
        for (channel, stops) in [(0, -0.10 * times), (2, 0.15 * times)] {
            let found = (pixel[channel] / pixel[1]).log2();
            assert!((found - stops).abs() < 0.02, "{name} {channel}: {found}");
        }
        let data =
            exif::Reader::new().read_from_container(&mut std::io::Cursor::new(&bytes)).unwrap();
        let of = |tag| data.get_field(tag, exif::In::PRIMARY).unwrap().display_value().to_string();
        assert_eq!(of(exif::Tag::Artist), "\"A. Nobody\"");
        assert_eq!(of(exif::Tag::ExposureTime), "30");
    }
}

fn sidecar(field: &str, word: &str) -> String {
    format!(
        "<x:xmpmeta xmlns:x=\"adobe:ns:meta/\"><rdf:RDF><rdf:Description>{field}<rdf:li \
         xml:lang=\"x-default\">{word}</rdf:li>{}</rdf:Description></rdf:RDF></x:xmpmeta>",
        field.replace('<', "</")
    )
}

#[test]
fn keywords_and_descriptions_in_sidecars_name_the_filter() {
    let (folder, _) = planted();
    let at = folder.path();
    // The scene without a metering is known by words alone: a keyword, then a description.
    for (file, field) in [("L0020.xmp", "<dc:subject>"), ("L0020.dng.xmp", "<dc:description>")] {
        std::fs::write(at.join(file), sidecar(field, "heron  TEN")).unwrap();
        let asked =
            ["which", "L0020.dng", "--profile", "Heron Six.json", "Heron Ten.json", "--replace"];
        done(at, &asked);
        let rows = read_rows(at, "used.csv");
        assert_eq!(rows[0].filters.as_deref().unwrap(), ["Heron Ten"], "{field}");
        assert_eq!(rows[0].how_known, "keywords or description");
        std::fs::remove_file(at.join(file)).unwrap();
    }
}

/// A ring with marks, from the solid profile.
fn ring(marks: &[(&str, [f64; 3])]) -> String {
    let mut all: Json = serde_json::from_str(&profile("Ring", SIX)).unwrap();
    all["filter"]["kind"] = json!("variable");
    let settings: Vec<Json> = marks
        .iter()
        .map(|(mark, loss)| {
            let one: Json = serde_json::from_str(&profile("Ring", *loss)).unwrap();
            let mut setting = one["settings"][0].clone();
            setting["mark"] = json!(mark);
            setting
        })
        .collect();
    all["settings"] = json!(settings);
    all.to_string()
}

#[test]
fn a_ring_at_an_unknown_mark_has_its_mean_cast_with_its_spread_and_no_evenness() {
    let (folder, _) = planted();
    let at = folder.path();
    let marks = [("1", [5.9, 6.0, 6.0]), ("2", [6.3, 6.0, 6.1])];
    std::fs::write(at.join("ring.json"), ring(&marks)).unwrap();
    let ask = |more: &[&str]| {
        let words =
            ["correct", "L0002.dng", "--profile", "ring.json", "--white", "5600", "--evenness"];
        let output = lightloss(at, &[&words[..], more].concat());
        let table = std::fs::read_to_string(at.join("corrected/corrections.csv")).unwrap();
        (output.status.code(), text(&output.stderr), table)
    };
    let (status, said, table) = ask(&[]);
    assert_eq!(status, Some(0), "{said}");
    // Red -0.1 and 0.3 stop: mean 0.1, gain 2^0.1; half the distance 0.2, doubled 0.4.
    assert!(table.contains("1.0718,1.0000,1.0353"), "{table}");
    assert!(said.contains("0.40 stop in red and 0.1"), "{said}");
    assert!(said.contains("evenness left as it is"), "{said}");
    let (status, said, table) = ask(&["--mark", "2", "--replace"]);
    assert_eq!(status, Some(0), "{said}");
    assert!(table.contains("1.2311,1.0000,1.0718"), "{table}");
    assert!(said.contains("evenness taken out") && !said.contains("mean cast"), "{said}");
    let (status, said, _) = ask(&["--mark", "9", "--replace"]);
    assert_eq!(status, Some(2), "{said}");
    assert!(said.contains("1, 2"), "{said}");
}

#[test]
fn a_panorama_has_one_balance_though_each_frame_has_its_own() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    std::fs::write(at.join("six.json"), profile("Heron Six", SIX)).unwrap();
    // 0.5, 1 and 2 s at 19:20:30, :32 and :35, each with a slightly different preset balance.
    for (i, photo) in evening()[5..8].iter().enumerate() {
        let mut file = dng(photo, through(photo));
        let shift = 0.01 * i as f64;
        file.as_shot_neutral = file.as_shot_neutral.map(|n| [n[0] + shift, 1.0, n[2] - shift]);
        std::fs::write(at.join(format!("{}.dng", photo.name)), file.encode().unwrap()).unwrap();
    }
    let output = lightloss(at, &["correct", ".", "--profile", "six.json"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let said = text(&output.stdout);
    assert!(said.contains("series 1") && !said.contains("series 2"), "{said}");
    let neutral = |name: &str| {
        let path = at.join(format!("corrected/{name}-corrected.dng"));
        rawler::decode_file(path).unwrap().wb_coeffs
    };
    let first = neutral("L0011");
    assert!(first[0] > 0.0);
    assert_eq!(first[..3], neutral("L0012")[..3]);
    assert_eq!(first[..3], neutral("L0013")[..3]);
}

#[test]
fn the_demos_evening_is_known_or_blank_and_never_wrong() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let evening = demo_evening();
    evening.write(at, false).unwrap();
    let mut words: Vec<String> = vec!["which".into(), ".".into(), "--profile".into()];
    for shoot in demo::shoots().iter().take(2) {
        let name = shoot.filter.name;
        let file = format!("{name}.json");
        std::fs::write(at.join(&file), profile(name, shoot.truth[0].stops)).unwrap();
        words.push(file);
    }
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let output = lightloss(at, &words);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let rows = read_rows(at, "used.csv");
    assert_eq!(rows.len(), evening.planted.len());
    let mut blank = Vec::new();
    for (row, planted) in rows.iter().zip(&evening.planted) {
        assert!(row.file.ends_with(&planted.file));
        match &row.filters {
            Some(filters) => {
                assert_eq!(*filters, planted.filters, "{row:?}");
                if let (false, Some(bare)) = (filters.is_empty(), &planted.bare_frame) {
                    assert!(row.bare_frame.ends_with(bare.as_str()), "{row:?}");
                }
            }
            None => blank.push(planted.file.as_str()),
        }
    }
    // Only the way home, of which nothing tells.
    let last = evening.planted.last().unwrap().file.as_str();
    assert_eq!(blank, [last], "{}", text(&output.stdout));

    let output = lightloss(at, &["correct", ".", "--used", "used.csv", "--white", "nearest-bare"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    for planted in &evening.planted {
        let name = planted.file.replace(".dng", "-corrected.dng");
        let there = at.join("corrected").join(name).exists();
        assert_eq!(there, !planted.filters.is_empty(), "{}", planted.file);
    }
    // The panorama is one series of four.
    let said = text(&output.stdout);
    let series = said.split("series ").filter(|s| s.matches("SKA_").count() == 4).count();
    assert_eq!(series, 1, "{said}");
}
