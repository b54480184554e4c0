//! Small pictures of a shoot's frames for pages that stand alone, and beside a profile, where its
//! page finds them again.

use crate::measure::picture::PartFrames;
use crate::profile::Profile;
use crate::read::small;
use crate::reduce::grid::FrameSummary;
use crate::report::small_picture::{
    Balance, FramePicture, FramePictures, IN_TABLE, ON_SHEET, small_picture,
};
use crate::shoot::Shoot;
use crate::write::png;
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Where they lie beside a profile.
const FOLDER: &str = "plots/frames";
/// Digits of a frame's SHA-256 that name its picture.
const DIGITS: usize = 16;
/// A report shows pictures of so many frames at most: thousands of small files and a page of megabytes
/// would be looked at by nobody.
const MOST_IN_REPORT: usize = 100;
/// A page of frames shows pictures of so many at most: beyond, a browser is long busy with it.
pub const MOST_ON_PAGE: usize = 500;
/// Bytes of a picture; what is larger is none of ours.
const MOST_BYTES: u64 = 256 * 1024;

/// Pictures as PNG files, by the names of their frames.
pub type Prints = BTreeMap<String, Vec<u8>>;

/// Draws the frames of a shoot for its report; none of a shoot with more than a report shows.
#[must_use]
pub fn of_shoot(shoot: &Shoot) -> Prints {
    if shoot.frames.len() > MOST_IN_REPORT {
        return Prints::new();
    }
    of_all(shoot, &[], IN_TABLE)
}

/// Draws the frames of a shoot and those for sharpness, veil and ghosts for a page of frames; `None`
/// where there are more than it shows.
#[must_use]
pub fn on_sheet(shoot: &Shoot, parts: &[PartFrames]) -> Option<Prints> {
    let of_parts: usize = parts.iter().map(|part| part.frames.len()).sum();
    let few = shoot.frames.len() + of_parts <= MOST_ON_PAGE;
    few.then(|| of_all(shoot, parts, ON_SHEET))
}

/// Draws the frames of a shoot and those for sharpness, veil and ghosts, so many pixels across at most.
fn of_all(shoot: &Shoot, parts: &[PartFrames], most_across: usize) -> Prints {
    let balance = Balance::of_shoot(&shoot.frames);
    let of_parts = parts.iter().flat_map(|part| &part.frames).map(|t| &t.timed.summary);
    let all: Vec<&FrameSummary> = shoot.frames.iter().map(|f| &f.summary).chain(of_parts).collect();
    let draw = |summary: &&FrameSummary| {
        let drawn = small_picture(summary, Balance::shown(summary, balance), most_across);
        Some((summary.info.file.clone(), png::png(drawn.width, drawn.height, &drawn.rgb)?))
    };
    all.par_iter().filter_map(draw).collect()
}

/// As a page shows them that stands alone.
#[must_use]
pub fn on_page(prints: &Prints) -> FramePictures {
    let placed = |(file, png): (&String, &Vec<u8>)| {
        Some((file.clone(), FramePicture::within(png, png::size(png)?)))
    };
    prints.iter().filter_map(placed).collect()
}

/// The files to lie beside a profile.
#[must_use]
pub fn files(prints: &Prints, profile: &Profile) -> Vec<(PathBuf, Vec<u8>)> {
    let file = |(file, sha256): (&str, &str)| Some((place(sha256)?, prints.get(file)?.clone()));
    frames(profile).filter_map(file).collect()
}

/// Those that lie beside a profile in this folder; none of one with more frames than a report shows.
#[must_use]
pub fn beside(folder: &Path, profile: &Profile) -> FramePictures {
    if profile.frames.len() > MOST_IN_REPORT {
        return FramePictures::new();
    }
    let read = |(file, sha256): (&str, &str)| {
        let png = small::bytes(&folder.join(place(sha256)?), MOST_BYTES).ok()?;
        Some((file.to_owned(), FramePicture::within(&png, png::size(&png)?)))
    };
    frames(profile).filter_map(read).collect()
}

fn frames(profile: &Profile) -> impl Iterator<Item = (&str, &str)> {
    profile.frames.iter().map(|frame| (frame.file.as_str(), frame.sha256.as_str()))
}

/// Whether a path is that of such a file: no frame, wherever the folder lies.
#[must_use]
pub fn is_one(path: &Path) -> bool {
    let stem = path.file_stem().and_then(|stem| stem.to_str()).unwrap_or_default();
    let is_named_so = stem.len() == DIGITS && stem.bytes().all(|b| b.is_ascii_hexdigit());
    let is_there = path.parent().is_some_and(|folder| folder.ends_with(FOLDER));
    is_there && is_named_so && path.extension().is_some_and(|end| end == "png")
}

/// Named by what the frame holds: names of files may be anything.
fn place(sha256: &str) -> Option<PathBuf> {
    let digits = sha256.get(..DIGITS).filter(|d| d.bytes().all(|b| b.is_ascii_hexdigit()))?;
    Some(Path::new(FOLDER).join(format!("{digits}.png")))
}
