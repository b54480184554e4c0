//! Doubts about black, stray light and the levels themselves.

use super::listed;
use crate::profile::Grade;
use crate::quantity::{Percent, Stops};
use crate::text::in_stops;

/// Everything that may be doubtful about how much light a frame shows.
#[derive(Clone, Debug, PartialEq)]
pub enum LevelDoubt {
    /// Filtered frames are so dark that the black level limits the number.
    LimitedByBlack {
        /// What the black level contributes.
        doubt: Stops,
    },
    /// Masked pixels disagree with the black level in the file.
    BlackTagDisagrees {
        /// Level in the file's tag.
        tag: f64,
        /// Level of the masked pixels.
        masked: f64,
    },
    /// Files of one sitting name black levels that lie apart, and nothing measures which is right.
    BlackLevelsApart {
        /// Lowest of them, counts.
        low: f64,
        /// Highest of them, counts.
        high: f64,
        /// What the difference is worth at the faintest frame's level.
        worth: Stops,
    },
    /// No leak frame, at a strength where stray light matters.
    LeakNotMeasured {
        /// Strength of the filter.
        strength: Stops,
        /// Error that 1e-4 of the bare light past the filter would make.
        error: Stops,
    },
    /// Light gets past the filter.
    LightPastFilter {
        /// How much the measured level changes.
        change: Stops,
    },
    /// Levels differ strongly between bare and filtered frames, so black matters.
    LevelsFarApart {
        /// Ratio of levels in stops.
        apart: Stops,
    },
    /// A lone, far darker frame was taken as a leak frame.
    LeakAssumed {
        /// The frame.
        file: String,
        /// What taking it so adds to the strength.
        change: Stops,
    },
    /// Frames that were named as leak frames show as much light as others that are none.
    NoLeak {
        /// Their files.
        files: Vec<String>,
        /// As much as the bare frames, or else as those through the filter.
        as_bare: bool,
    },
    /// Hot pixels were rejected in a large share.
    ManyHotPixels {
        /// Share of pixels.
        share: Percent,
    },
}

impl LevelDoubt {
    /// Code, grade and words, which say what to do.
    pub(super) fn entry(&self) -> (&'static str, Grade, String) {
        use Grade::{Note, Number};
        use LevelDoubt as D;
        match self {
            D::LimitedByBlack { doubt } => (
                "limited_by_black",
                Number,
                format!(
                    "The filtered frames are so dark that the camera's black level alone makes the \
                 strength uncertain by {}. Give them a longer time, or add dark frames: lens \
                 capped, same time and ISO.",
                    in_stops(doubt.get(), 3)
                ),
            ),
            D::BlackTagDisagrees { tag, masked } => (
                "black_tag_disagrees",
                Note,
                format!(
                    "The file says black is {tag:.1} counts, its masked border averages {masked:.1}; the \
                 border was used."
                ),
            ),
            D::BlackLevelsApart { low, high, worth } => (
                "black_levels_apart",
                Number,
                format!(
                    "The files name black levels from {low:.1} to {high:.1} counts for frames of one \
                 sitting, which is worth {} here, and nothing in them tells which is right. \
                 Take the files from the card once more, or add dark frames: lens capped, same time \
                 and ISO.",
                    in_stops(worth.get(), 2)
                ),
            ),
            D::LeakNotMeasured { strength, error } => (
                "leak_not_measured",
                Note,
                format!(
                    "Light that slips past a filter of {} makes it look weaker: one part in ten \
                 thousand would cost {}. A frame with an opaque card in the filter's place, \
                 same time, would show it.",
                    in_stops(strength.get(), 1),
                    in_stops(error.get(), 2)
                ),
            ),
            D::LightPastFilter { change } => (
                "light_past_filter",
                Number,
                format!(
                    "Light gets past the filter and makes it look weaker, by about {}. Cover \
                 holder, mount and eyepiece with a dark cloth and shoot again.",
                    in_stops(change.get(), 2)
                ),
            ),
            D::LevelsFarApart { apart } => (
                "levels_far_apart",
                Note,
                format!(
                    "Bare and filtered frames differ in level by {}; choose times that bring \
                 them to about the same level, and the black level stops mattering.",
                    in_stops(apart.get(), 1)
                ),
            ),
            D::LeakAssumed { file, change } => (
                "leak_assumed",
                Number,
                format!(
                    "{file} is a lone frame far darker than the filter and was taken as the one with an \
                 opaque card in its place, which makes the strength {} larger. If it is not, \
                 leave it out with \"left_out\": true in shoot.json (lightloss frames SHOOT --write \
                 makes one).",
                    in_stops(change.get(), 3)
                ),
            ),
            D::NoLeak { files, as_bare } => ("no_leak_frames", Number, no_leak(files, *as_bare)),
            D::ManyHotPixels { share } => (
                "many_hot_pixels",
                Note,
                format!(
                    "{:.1} % of the pixels were hot and left out. A shorter time or a cooler camera \
                 helps.",
                    share.get()
                ),
            ),
        }
    }
}

fn no_leak(files: &[String], as_bare: bool) -> String {
    let (was, they) = match files.len() {
        1 => ("was named as a leak frame, but is", "it was"),
        _ => ("were named as leak frames, but are", "they were"),
    };
    format!(
        "{} {was} as bright as {}. So no opaque card was in the filter's place: {they} left out, and no \
         light past the filter was taken off. Shoot a leak frame with such a card, or name what these show.",
        listed(files),
        if as_bare { "the bare frames" } else { "those through the filter" }
    )
}
