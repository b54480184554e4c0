//! What helps programs that read no maps of gains, ignore them where there is a border, or keep a balance
//! of their own.

#![allow(clippy::unwrap_used)]

use crate::editing::{self, decoded, dng, evening, lightloss, mosaic, planted, text, through};
use lightloss::editing::packet::settings;
use lightloss::frame::Area;
use lightloss::read::carried::carried;
use lightloss::write::dng::DngFile;
use std::path::Path;

/// Of the border in pixels: whole periods of the pattern.
const LEFT: usize = 16;
const TOP: usize = 8;
/// What the profiles of the planted kit take in the corner beyond the middle, in stops.
const CORNER_STOPS: f64 = 1.2;
/// Noise of counts, the map's points and the half pixel at the corner, in stops.
const NEAR_STOPS: f64 = 0.03;

/// A photograph with a masked border at the left and above.
fn bordered() -> DngFile {
    let photo = &evening()[1];
    let mut file = dng(photo, through(photo));
    let (width, height) = (file.width, file.height);
    let mut data = vec![300; (width + LEFT) * (height + TOP)];
    for row in 0..height {
        let start = (row + TOP) * (width + LEFT) + LEFT;
        data[start..start + width].copy_from_slice(&file.data[row * width..(row + 1) * width]);
    }
    file.data = data;
    (file.width, file.height) = (width + LEFT, height + TOP);
    file.active = Some(Area { left: LEFT, top: TOP, width, height });
    file
}

fn correct(at: &Path, more: &[&str]) -> String {
    let words = ["correct", "a.dng", "--profile", "Heron Six.json", "--white", "as-shot"];
    let output = lightloss(at, &[&words, more].concat());
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    text(&output.stdout) + &text(&output.stderr)
}

#[test]
fn a_border_is_cut_off_when_asked_and_every_count_stays() {
    let (folder, _) = planted();
    let at = folder.path();
    let file = bordered();
    std::fs::write(at.join("a.dng"), file.encode().unwrap()).unwrap();
    correct(at, &["--out", "with"]);
    correct(at, &["--out", "cut", "--crop-active", "--evenness"]);
    assert_eq!(mosaic(&at.join("with/a-corrected.dng")), file.data);
    let cut = at.join("cut/a-corrected.dng");
    let (width, height) = (file.width - LEFT, file.height - TOP);
    let found = decoded(&cut);
    assert_eq!((found.width, found.height), (width, height));
    let row = |r: usize| (r + TOP) * file.width + LEFT;
    let inside: Vec<u16> =
        (0..height).flat_map(|r| file.data[row(r)..row(r) + width].to_vec()).collect();
    assert_eq!(mosaic(&cut), inside);
}

#[test]
fn a_flat_field_frame_holds_what_the_filter_takes_across_the_frame() {
    let (folder, _) = planted();
    let at = folder.path();
    std::fs::copy(at.join("L0002.dng"), at.join("a.dng")).unwrap();
    let said = correct(at, &["--evenness", "--flat-field", "--out", "out"]);
    let flats: Vec<_> = std::fs::read_dir(at.join("out"))
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.file_name().unwrap().to_string_lossy().starts_with("flat-field-heron-six"))
        .collect();
    assert_eq!(flats.len(), 1, "{flats:?}");
    let name = flats[0].file_name().unwrap().to_str().unwrap();
    assert!(said.contains("flat-field frame: ") && said.contains(name), "{said}");
    // Packed as its photographs are.
    correct(at, &["--evenness", "--flat-field", "--uncompressed", "--out", "plain"]);
    let plain = at.join("plain").join(name);
    let size = |file: &Path| std::fs::metadata(file).unwrap().len();
    assert!(size(&plain) > 2 * mosaic(&plain).len() as u64 && size(&flats[0]) < size(&plain));
    assert!(mosaic(&plain) == mosaic(&flats[0]));
    let (flat, data) = (decoded(&flats[0]), mosaic(&flats[0]));
    let black = f64::from(flat.blacklevel.levels[0].as_f32());
    let light = |row: usize, column: usize| f64::from(data[row * flat.width + column]) - black;
    let fall = (light(flat.height / 2, flat.width / 2) / light(0, 0)).log2();
    assert!((fall - CORNER_STOPS).abs() < NEAR_STOPS, "{fall}");
    // It is no photograph to be corrected.
    let again = ["correct", flats[0].to_str().unwrap(), "--profile", "Heron Six.json"];
    assert_eq!(lightloss(at, &again).status.code(), Some(3));
}

#[test]
fn settings_that_would_hide_the_balance_are_named_and_left_out_when_asked() {
    let (folder, _) = planted();
    let at = folder.path();
    std::fs::copy(at.join("L0002.dng"), at.join("a.dng")).unwrap();
    let sidecar = editing::packet("q:Temperature='5200' q:Sharpness='3'", "");
    std::fs::write(at.join("a.xmp"), sidecar).unwrap();
    let packet = |folder: &str| {
        let file = std::fs::read(at.join(folder).join("a-corrected.dng")).unwrap();
        carried(&file).xmp.unwrap()
    };
    let said = correct(at, &["--out", "kept"]);
    assert!(said.contains("q:Temperature") && said.contains("--drop-settings"), "{said}");
    assert_eq!(settings(&packet("kept")), ["q:Temperature"]);
    // What was advised.
    correct(at, &["--out", "dropped", "--drop-settings"]);
    assert!(settings(&packet("dropped")).is_empty());
    assert!(text(&packet("dropped")).contains("q:Sharpness='3'"));
}

/// A sidecar in UTF-16 (RFC 2781, with its byte order mark) is taken over; one that breaks off is not, and
/// is named.
#[test]
fn a_sidecar_is_taken_over_whatever_its_encoding_or_named_where_it_breaks_off() {
    let (folder, _) = planted();
    let at = folder.path();
    std::fs::copy(at.join("L0002.dng"), at.join("a.dng")).unwrap();
    let inside = editing::packet("q:Place='F\u{e4}hre'", "");
    let whole = format!("<?xml version=\"1.0\" encoding=\"UTF-16\"?>{inside}");
    let wide: Vec<u8> =
        std::iter::once(0xfeff).chain(whole.encode_utf16()).flat_map(u16::to_le_bytes).collect();
    let packet = |out: &str| {
        let file = std::fs::read(at.join(out).join("a-corrected.dng")).unwrap();
        text(&carried(&file).xmp.unwrap())
    };
    std::fs::write(at.join("a.xmp"), &wide).unwrap();
    let said = correct(at, &["--out", "wide"]);
    assert!(!said.contains("sidecar"), "{said}");
    let taken = packet("wide");
    assert!(taken.contains("q:Place='F\u{e4}hre'") && !taken.contains("UTF-16"), "{taken}");
    for (out, broken) in [("cut", &whole.as_bytes()[..whole.len() - 30]), ("none", b"F\xe4hre")] {
        std::fs::write(at.join("a.xmp"), broken).unwrap();
        let said = correct(at, &["--out", out]);
        assert!(said.contains("nothing of the sidecar a.xmp goes into"), "{said}");
        let packet = packet(out);
        assert!(!packet.contains("Place") && !packet.contains("hre"), "{packet}");
    }
}
