//! What the filter does to the picture: sharpness, veil and ghosts.
//!
//! Terms and methods lean on ISO 12233 (edge-based spatial frequency response), ISO 9358 and
//! ISO 18844 (veiling glare, image flare), known here by their abstracts and from memory; no
//! conformity with them is claimed.

pub mod greens;
pub mod line;
pub mod spread;
pub mod run;
pub mod samples;
pub mod transfer;
pub mod edge;
pub mod ratio;
mod repeats;
pub mod find;
pub mod sharpness;
pub mod veil;
pub mod ghost;
pub mod folders;
pub mod record;
mod states;

use crate::caution::{Caution, PictureDoubt};
use crate::frame::Area;
use crate::frame::patch::Patch;
use crate::profile::{Picture, PictureFrame, Verdict};
use crate::quantity::Stops;
use crate::shoot::frames::Timed;
pub use folders::PicturePart;
use ghost::Ghosts;
use sharpness::SharpnessResult;

/// What a frame was taken as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TakenAs {
    /// Without the filter.
    Bare,
    /// Through it.
    Filtered,
    /// Lens capped.
    Dark,
    /// An opaque card in the filter's place.
    Leak,
}

impl TakenAs {
    fn name(self) -> &'static str {
        match self {
            Self::Bare => "bare",
            Self::Filtered => "filtered",
            Self::Dark => "dark",
            Self::Leak => "leak",
        }
    }
}

/// A frame that was taken for this.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    /// What was read of it.
    pub timed: Timed,
    /// What its folder says.
    pub said: Option<TakenAs>,
    /// Counts at the places of the edges.
    pub patches: Vec<Option<Patch>>,
}

impl Taken {
    /// Name as shown.
    #[must_use]
    pub fn file(&self) -> &str {
        &self.timed.summary.info.file
    }
}

/// Frames of one part, in capture order.
#[derive(Clone, Debug, PartialEq)]
pub struct PartFrames {
    /// What they are for.
    pub part: PicturePart,
    /// The frames.
    pub frames: Vec<Taken>,
    /// Places of edges, from the active area's origin.
    pub places: Vec<Area>,
    /// Files that could not be read, and why.
    pub unread: Vec<(String, String)>,
}

/// What is known of the filter already.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct KnownFilter {
    /// Its strength, where it has one.
    pub strength: Option<Stops>,
    /// It sits in a slot holder.
    pub slot: bool,
}

/// Measures all parts.
#[must_use]
pub fn measure(parts: &[PartFrames], known: KnownFilter) -> Picture {
    measure_again(parts, known, &mut MeasuredParts::default())
}

/// What was measured of parts, kept for as long as their frames are taken for the same: sharpness
/// and ghosts ask for nothing else that may be known of the filter.
#[derive(Debug, Default)]
pub struct MeasuredParts {
    sharpness: Option<OfStates<SharpnessResult>>,
    ghosts: Option<OfStates<(Option<Ghosts>, Vec<PictureDoubt>)>>,
}

#[derive(Debug)]
struct OfStates<T> {
    states: Vec<TakenAs>,
    found: T,
}

/// The same of the very parts that were measured `before`, if any were.
#[must_use]
pub fn measure_again(
    parts: &[PartFrames],
    known: KnownFilter,
    before: &mut MeasuredParts,
) -> Picture {
    let mut picture = Picture {
        sharpness: Vec::new(),
        sharpness_ratio: None,
        corners_ratio: None,
        veiling_glare: None,
        ghosts: None,
        ghosts_seen_to_stops: None,
        frames: Vec::new(),
        cautions: Vec::new(),
    };
    for part in parts {
        let raw = |t: &&Taken| t.timed.summary.cells.cfa.is_some();
        let usable: Vec<&Taken> = part.frames.iter().filter(raw).collect();
        let mut verdicts = Vec::new();
        let doubts = match states::states(&usable, known.strength) {
            Some(states) => {
                let frames: Vec<(&Taken, TakenAs)> =
                    usable.iter().copied().zip(states.iter().copied()).collect();
                verdicts.extend(frames.iter().map(|(t, s)| (t.file().to_owned(), *s)));
                measured(part, &frames, known, &mut picture, before)
            }
            None => vec![PictureDoubt::StatesUntold { folder: part.part.folder() }],
        };
        picture.cautions.extend(doubts.into_iter().map(|d| Caution::Picture(d).record()));
        list_frames(part, &verdicts, &mut picture.frames);
    }
    picture
}

/// Adds what one part tells; gives its doubts.
fn measured(
    part: &PartFrames,
    frames: &[(&Taken, TakenAs)],
    known: KnownFilter,
    picture: &mut Picture,
    before: &mut MeasuredParts,
) -> Vec<PictureDoubt> {
    let orientation = frames.first().map_or(1, |(t, _)| t.timed.summary.info.orientation);
    match part.part {
        PicturePart::Sharpness => {
            let measure = || sharpness::sharpness(frames, &part.places);
            let found = of_states(&mut before.sharpness, frames, measure);
            record_sharpness(found, orientation, picture);
            let mut doubts = found.doubts.clone();
            doubts.extend(found.refused.iter().map(|refused| PictureDoubt::EdgeRefused {
                place: record::place_words(record::viewed(refused.at, orientation)),
                reason: record::fault_words(&refused.fault),
            }));
            if part.places.is_empty() {
                doubts.insert(0, PictureDoubt::NoEdge);
            }
            doubts.extend(found.left_out.iter().map(|(file, fault)| PictureDoubt::FrameSpoilt {
                file: file.clone(),
                reason: record::fault_words(fault),
            }));
            doubts
        }
        PicturePart::Veil => {
            let (found, doubts) = veil::veil(frames, known.strength, known.slot);
            picture.veiling_glare = found.as_ref().map(record::veil);
            doubts
        }
        PicturePart::Ghost => {
            let (found, doubts) =
                of_states(&mut before.ghosts, frames, || ghost::ghosts(frames)).clone();
            picture.ghosts_seen_to_stops = found.as_ref().map(|f| Stops::new(f.seen_to));
            picture.ghosts = found.as_ref().map(|f| record::ghosts(f, orientation));
            doubts
        }
    }
}

/// What was measured before with the frames taken for the same, else what is measured now.
fn of_states<'a, T>(
    before: &'a mut Option<OfStates<T>>,
    frames: &[(&Taken, TakenAs)],
    measure: impl FnOnce() -> T,
) -> &'a T {
    let states: Vec<TakenAs> = frames.iter().map(|(_, state)| *state).collect();
    let same = before.take().filter(|known| known.states == states);
    &before.insert(same.unwrap_or_else(|| OfStates { states, found: measure() })).found
}

fn record_sharpness(found: &SharpnessResult, orientation: u8, picture: &mut Picture) {
    picture.sharpness =
        found.edges.iter().filter_map(|e| record::edge(e, found, orientation)).collect();
    picture.sharpness_ratio = found.change.as_ref().map(record::change);
    picture.corners_ratio = found.corners.as_ref().map(record::change);
}

fn list_frames(part: &PartFrames, states: &[(String, TakenAs)], list: &mut Vec<PictureFrame>) {
    let of = part.part.folder();
    let entry = |file: &str, sha256: &str, state: &str, code: &str, text: &str| PictureFrame {
        file: file.to_owned(),
        sha256: sha256.to_owned(),
        of: of.to_owned(),
        state: state.to_owned(),
        verdict: Verdict { code: code.to_owned(), text: text.to_owned() },
    };
    for taken in &part.frames {
        let (file, sha) = (taken.file(), &taken.timed.summary.info.sha256);
        let state = states.iter().find(|(name, _)| name == file).map(|(_, state)| *state);
        list.push(match state {
            Some(state) => entry(file, sha, state.name(), "used", "used"),
            None if taken.timed.summary.cells.cfa.is_none() => entry(
                file,
                sha,
                "left_out",
                "not_raw",
                "a picture, not a raw frame: its sharpness is the camera's doing as well",
            ),
            None => {
                entry(file, sha, "left_out", "state_untold", "neither bare nor filtered for sure")
            }
        });
    }
    for (file, reason) in &part.unread {
        list.push(entry(file, "", "left_out", "unreadable", reason));
    }
}

#[cfg(test)]
mod tests;
