//! Doubts about the result itself, held against what is rated and against its own uncertainty.

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
    /// A ring goes far beyond what it is rated.
    RangeFarFromRated {
        /// Least and most that was measured.
        measured: [Stops; 2],
        /// The same as rated.
        rated: [Stops; 2],
    },
}

impl ResultDoubt {
    /// Code, grade and words, which say what to do.
    pub(super) fn entry(&self) -> (&'static str, Grade, String) {
        match self {
            Self::Unsure { stops, u95, mark } => {
                ("number_unsure", Grade::Number, unsure(*stops, *u95, mark.as_deref()))
            }
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
