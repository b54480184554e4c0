//! Doubts about the result itself, held against what is rated and against its own uncertainty.

use super::listed;
use crate::profile::Grade;
use crate::quantity::Stops;
use crate::text::in_stops;

/// What a result gives to doubt, whatever led to it.
#[derive(Clone, Debug, PartialEq)]
pub enum ResultDoubt {
    /// The uncertainty is so large that the number says little.
    Unsure {
        /// Strength.
        stops: Stops,
        /// Its expanded uncertainty.
        u95: Stops,
        /// The mark that it is of.
        mark: Option<String>,
    },
    /// The frame does not hold both ends of a graduation.
    EndsBeyondFrame {
        /// Expanded uncertainty of the dark end against the clear one.
        u95: Stops,
        /// What the clear end is told to take, where that is less than nothing.
        brighter: Option<Stops>,
    },
    /// The clear end of a graduated filter is brighter than no filter.
    ClearEndBrighter {
        /// What it is told to take.
        stops: Stops,
        /// Its expanded uncertainty.
        u95: Stops,
    },
    /// A ring goes far beyond what it is rated.
    RangeFarFromRated {
        /// Least and most that was measured.
        measured: [Stops; 2],
        /// The same as rated.
        rated: [Stops; 2],
    },
    /// A mark of a ring takes nothing.
    MarkTakesNothing {
        /// The mark.
        mark: String,
        /// Strength there.
        stops: Stops,
        /// Its expanded uncertainty.
        u95: Stops,
        /// Frames of it.
        files: Vec<String>,
    },
}

impl ResultDoubt {
    /// Code, grade and words, which say what to do.
    pub(super) fn entry(&self) -> (&'static str, Grade, String) {
        match self {
            Self::Unsure { stops, u95, mark } => {
                ("number_unsure", Grade::Number, unsure(*stops, *u95, mark.as_deref()))
            }
            Self::EndsBeyondFrame { u95, brighter } => {
                ("ends_beyond_frame", Grade::Number, ends_beyond_frame(*u95, *brighter))
            }
            Self::ClearEndBrighter { stops, u95 } => (
                "clear_end_brighter",
                Grade::Number,
                format!(
                    "The clear end takes {:.2} +- {}, less than nothing: the light changed between bare \
                     frames and those through the filter, or it throws a reflection on the lens. Shoot \
                     again in steady light, bare frames before and after the filter.",
                    stops.get(),
                    in_stops(u95.get(), 2)
                ),
            ),
            Self::MarkTakesNothing { mark, stops, u95, files } => (
                "mark_takes_nothing",
                Grade::Number,
                format!(
                    "At mark {mark} the ring takes {:.2} +- {}, which is nothing, and no ring lets all \
                     light through: its frames ({}) were most likely made without the filter and named as \
                     a mark by mistake. Name them as bare frames, or leave them out, and measure again.",
                    stops.get(),
                    in_stops(u95.get(), 2),
                    listed(files)
                ),
            ),
            Self::RangeFarFromRated { measured: [least, most], rated: [weak, strong] } => (
                "range_far_from_rated",
                Grade::Number,
                format!(
                    "The ring takes from {:.1} to {} where {:.1} to {:.1} are rated. Look whether another \
                     filter was shot, whether its marks end before the ring does, or whether something \
                     else was in the way.",
                    least.get(),
                    in_stops(most.get(), 1),
                    weak.get(),
                    strong.get()
                ),
            ),
        }
    }
}

fn ends_beyond_frame(u95: Stops, brighter: Option<Stops>) -> String {
    let brighter = brighter.map_or_else(String::new, |stops| {
        format!(
            " That the clear end would take {:.2}, which is less than nothing, comes from that.",
            stops.get()
        )
    });
    format!(
        "The frame does not hold the whole graduation, and what lies beyond it is told by the form of its \
         curve alone: the dark end is good to {} only.{brighter} Shoot again at a shorter focal length or \
         a smaller aperture, both ends well within the frame.",
        in_stops(u95.get(), 1)
    )
}

fn unsure(stops: Stops, u95: Stops, mark: Option<&str>) -> String {
    let at = mark.map_or_else(String::new, |mark| format!(" at mark {mark}"));
    format!(
        "The uncertainty{at} is as large as {} beside {:.1}, so that the number is of little use: frames \
         that should be equal are not, or too few show what the light did. Look at the table of frames, \
         and shoot again in steady light, bare frames before and after the filter.",
        in_stops(u95.get(), 1),
        stops.get()
    )
}
