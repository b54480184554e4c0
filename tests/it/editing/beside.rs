//! Pictures among raw frames: the camera's own beside each is what its frame is, and a picture whose level
//! says nothing takes nothing from what the frames say.

#![allow(clippy::unwrap_used)]

use crate::editing::{evening, lightloss, planted, read_rows, text};
use image::ExtendedColorType;
use image::ImageEncoder;
use image::codecs::jpeg::JpegEncoder;
use lightloss::editing::used_csv::UsedRow;
use lightloss::tiff::{self, NewDirectory, Order, Value};
use std::path::Path;

const KIT: [&str; 3] = ["--profile", "Heron Six.json", "Heron Ten.json"];
const GREY: u8 = 118;

/// A grey picture with the time and the exposure of a frame (Exif 2.32).
pub fn picture(path: &Path, clock: &str, seconds: f64) {
    let mut root = NewDirectory::default();
    root.set(271, Value::Ascii("Testmaker".into()));
    root.set(272, Value::Ascii("One".into()));
    let mut exif = NewDirectory::default();
    let time = (if seconds < 1.0 { 1 } else { seconds as u32 }, (1.0 / seconds).max(1.0) as u32);
    exif.set(0x829A, Value::Rational(vec![time]));
    exif.set(0x829D, Value::Rational(vec![(8, 1)]));
    exif.set(0x8827, Value::Short(vec![100]));
    exif.set(0x9003, Value::Ascii(format!("2031:05:04 {clock}")));
    root.hang(34665, exif);
    let mut bytes = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut bytes, 98);
    encoder.set_exif_metadata(tiff::encode(&root, Order::Little).unwrap()).unwrap();
    encoder.write_image(&vec![GREY; 32 * 32 * 3], 32, 32, ExtendedColorType::Rgb8).unwrap();
    std::fs::write(path, bytes).unwrap();
}

fn done(at: &Path, words: &[&str]) -> (String, String) {
    let output = lightloss(at, words);
    let (out, err) = (text(&output.stdout), text(&output.stderr));
    assert_eq!(output.status.code(), Some(0), "{words:?}: {out}{err}");
    (out, err)
}

fn which(at: &Path, out: &str, more: &[&str]) -> Vec<UsedRow> {
    done(at, &[&["which", ".", "--out", out], more, &KIT[..]].concat());
    read_rows(at, out)
}

fn of<'a>(rows: &'a [UsedRow], file: &str) -> &'a UsedRow {
    rows.iter().find(|row| row.file == file).unwrap()
}

#[test]
fn a_picture_beside_a_raw_frame_is_what_the_frame_is() {
    let (folder, _) = planted();
    let at = folder.path();
    let alone = which(at, "alone.csv", &[]);
    for photo in evening() {
        picture(&at.join(format!("{}.JPG", photo.name)), photo.clock, photo.seconds);
    }
    let both = which(at, "both.csv", &[]);
    assert_eq!(both.len(), 2 * alone.len());
    for (photo, before) in evening().iter().zip(&alone) {
        let raw = of(&both, &format!("{}.dng", photo.name));
        assert_eq!(raw, before);
        let beside = of(&both, &format!("{}.JPG", photo.name));
        assert_eq!((&beside.filters, &beside.found), (&raw.filters, &raw.found), "{beside:?}");
        assert!(beside.filters.as_ref().is_none_or(|f| f == photo.filters), "{beside:?}");
        assert_eq!(beside.note, format!("as {}.dng beside it", photo.name));
    }
    // What is said of a picture is said of its frame.
    let bare = which(at, "bare.csv", &["--bare", "L0010.JPG"]);
    for file in ["L0010.dng", "L0010.JPG"] {
        assert_eq!(of(&bare, file).how_known, "as you said");
    }
    let asked = ["correct", ".", "--used", "both.csv", "--white", "nearest-bare"];
    let (out, err) = done(at, &asked);
    assert!(out.contains("6 of 6 photographs corrected"), "{out}");
    assert!(err.contains("L0002.JPG: the camera's picture beside L0002.dng"), "{err}");
}

/// The same name months later, as a counter that began anew gives it, is another photograph.
#[test]
fn a_picture_of_another_time_is_none_of_the_frame() {
    let (folder, _) = planted();
    let at = folder.path();
    picture(&at.join("L0002.jpg"), "21:30:00", 0.5);
    let rows = which(at, "used.csv", &[]);
    let other = of(&rows, "L0002.jpg");
    assert!(other.filters.is_none() && other.note.contains("not a raw file"), "{other:?}");
}

#[test]
fn pictures_without_a_level_take_nothing_from_what_frames_say() {
    let (folder, _) = planted();
    let at = folder.path();
    let alone = which(at, "alone.csv", &[]);
    for photo in evening() {
        // Before each frame and within a pause too short for another filter.
        picture(&at.join(format!("A{}.jpg", photo.name)), photo.clock, 0.25);
    }
    let both = which(at, "both.csv", &[]);
    for (photo, before) in evening().iter().zip(&alone) {
        let raw = of(&both, &format!("{}.dng", photo.name));
        assert_eq!(raw.filters, before.filters, "{raw:?}");
        let picture = of(&both, &format!("A{}.jpg", photo.name));
        assert!(picture.filters.is_none(), "{picture:?}");
    }
}
