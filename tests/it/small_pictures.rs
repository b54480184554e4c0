//! Small pictures of frames on pages: of the very frames, in their colours, kept beside the profile.

#![allow(clippy::unwrap_used)]

use crate::cli::{Rendered, expect, profile, rendered, run};
use data_encoding::BASE64;
use lightloss::simulate::demo;
use lightloss::write::dng::Compression;
use serde_json::Value;
use std::path::Path;

/// The pictures on a page, in their order: PNG files within it (RFC 2397).
fn pictures(page: &str) -> Vec<Vec<u8>> {
    let sources = page.split("src=\"data:image/png;base64,").skip(1);
    sources.map(|rest| BASE64.decode(rest.split('"').next().unwrap().as_bytes()).unwrap()).collect()
}

/// Nothing but its own styles and its own pictures (Content Security Policy Level 3).
fn stands_alone(page: &str) {
    assert!(
        page.contains("content=\"default-src 'none'; style-src 'unsafe-inline'; img-src data:\"")
    );
    let text = page.replace("http://www.w3.org/2000/svg", "");
    assert!(!text.contains("http:") && !text.contains("https:") && !text.contains("<script"));
}

/// Red, green, blue in the middle, linear light (IEC 61966-2-1).
fn middle(png: &[u8]) -> [f64; 3] {
    let picture = image::load_from_memory(png).unwrap().to_rgb8();
    let pixel = picture.get_pixel(picture.width() / 2, picture.height() / 2);
    pixel.0.map(|v| ((f64::from(v) / 255.0 + 0.055) / 1.055).powf(2.4))
}

/// A step of eight bits at a middle grey is under 2 % of the light; two values of them.
const EIGHT_BITS: f64 = 0.04;

/// Ten stops that take 10.2 of red and 9.9 of blue, from nine frames.
fn measured() -> (Rendered, String, Value) {
    let made = rendered(Compression::None, |_| {});
    expect(&run(made.home.path(), &["measure", "shoot"]), 0);
    let folder = made.home.path().join("shoot-profile");
    let page = std::fs::read_to_string(folder.join("report.html")).unwrap();
    let kept = profile(&std::fs::read_to_string(folder.join("profile.json")).unwrap());
    (made, page, kept)
}

#[test]
fn the_report_shows_each_frame_in_its_colours() {
    let (made, page, kept) = measured();
    stands_alone(&page);
    let frames = kept["frames"].as_array().unwrap();
    let shown = pictures(&page);
    assert_eq!(shown.len(), frames.len());
    for (frame, png) in frames.iter().zip(&shown) {
        let [red, green, blue] = middle(png);
        let planted = if frame["state"] == "bare" {
            [1.0, 1.0]
        } else {
            [0.2_f64, -0.1].map(|s| (-s).exp2())
        };
        assert!((red / green / planted[0] - 1.0).abs() < EIGHT_BITS, "{frame}: {red} {green}");
        assert!((blue / green / planted[1] - 1.0).abs() < EIGHT_BITS, "{frame}: {blue} {green}");
    }
    // They lie beside the profile, and the page that is written again holds them.
    let beside = made.home.path().join("shoot-profile/plots/frames");
    assert_eq!(std::fs::read_dir(&beside).unwrap().count(), frames.len());
    expect(&run(made.home.path(), &["report", "shoot-profile"]), 0);
    let again =
        std::fs::read_to_string(made.home.path().join("shoot-profile/report.html")).unwrap();
    assert_eq!(again, page);
    // What is no picture is not shown, and a page without pictures is a page.
    let first = frames[0]["sha256"].as_str().unwrap().get(..16).unwrap();
    std::fs::write(beside.join(format!("{first}.png")), "<svg onload=alert(1)>").unwrap();
    expect(&run(made.home.path(), &["report", "shoot-profile"]), 0);
    let again =
        std::fs::read_to_string(made.home.path().join("shoot-profile/report.html")).unwrap();
    assert_eq!(pictures(&again).len(), frames.len() - 1);
}

fn page_of_frames(home: &Path, words: &[&str], file: &str) -> (String, String, String) {
    let (out, err) = expect(&run(home, words), 0);
    (std::fs::read_to_string(home.join(file)).unwrap(), out, err)
}

#[test]
fn frames_are_shown_on_a_page_of_their_own() {
    let made = rendered(Compression::None, |_| {});
    let home = made.home.path();
    let words = ["frames", "shoot", "--page", "--format", "json"];
    let (page, out, err) = page_of_frames(home, &words, "shoot-frames.html");
    stands_alone(&page);
    assert!(err.contains("shoot-frames.html"), "{err}");
    let listed: Value = serde_json::from_str(&out).unwrap();
    let frames = listed["frames"].as_array().unwrap();
    assert_eq!((frames.len(), pictures(&page).len()), (9, 9));
    assert!(frames.iter().all(|f| page.contains(f["file"].as_str().unwrap())));
    for words in
        ["Run 1, bare, 3 frames", "Run 2, through the filter, 3 frames", "10.0 stops darker"]
    {
        assert!(page.contains(words), "{words}");
    }
    assert!(page.contains("Never look at the sun"));
    // Nothing is written over unasked, and nowhere else than asked.
    let (_, err) = expect(&run(home, &words), 3);
    assert!(err.contains("--replace"), "{err}");
    expect(&run(home, &["frames", "shoot", "--page", "--replace"]), 0);
    page_of_frames(
        home,
        &["frames", "shoot", "--page", "--out", "sheets"],
        "sheets/shoot-frames.html",
    );
}

/// Of a card full of frames the page lists all and draws none.
#[test]
fn a_page_of_very_many_frames_shows_no_pictures_and_says_so() {
    let made = rendered(Compression::None, |_| {});
    let shoot = made.home.path().join("shoot");
    let frame = std::fs::read(shoot.join("P0001.dng")).unwrap();
    // A number behind the file's own bytes: no copies of each other.
    for n in 0..492_u16 {
        let bytes = [&frame[..], &n.to_le_bytes()].concat();
        std::fs::write(shoot.join(format!("Q{n:04}.dng")), bytes).unwrap();
    }
    let done = run(made.home.path(), &["frames", "shoot", "--page"]);
    let err = String::from_utf8_lossy(&done.stderr);
    let page = std::fs::read_to_string(made.home.path().join("shoot-frames.html")).unwrap();
    assert!(err.contains("more than 500 frames"), "{err}");
    assert!(page.contains("Q0491.dng") && pictures(&page).is_empty());
}

/// What measure takes from the folders for sharpness, veil and ghosts is listed as measure takes it.
#[test]
fn frames_for_the_picture_are_listed_as_they_are_measured() {
    let home = tempfile::tempdir().unwrap();
    demo::fen_six().write(&home.path().join("fen"), false).unwrap();
    let words = ["frames", "fen", "--page", "--format", "json"];
    let (page, out, _) = page_of_frames(home.path(), &words, "fen-frames.html");
    let listed: Value = serde_json::from_str(&out).unwrap();
    let (measured, _) = expect(&run(home.path(), &["measure", "fen", "--format", "json"]), 0);
    let measured: Value = serde_json::from_str(&measured).unwrap();
    assert_eq!(listed["frames"], measured["frames"]);
    assert_eq!(listed["picture_frames"], measured["picture"]["frames"]);
    let of_picture = listed["picture_frames"].as_array().unwrap();
    assert!(of_picture.len() > 4, "{listed}");
    let all = of_picture.len() + listed["frames"].as_array().unwrap().len();
    assert_eq!(pictures(&page).len(), all);
    assert!(page.contains("For sharpness, "));
}
