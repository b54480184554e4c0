//! What is said of the light of a shoot: how it changed, and where nothing shows how.

use crate::profile::Grade;
use crate::quantity::Stops;
use crate::text::in_stops;

/// What the light did, or may have done.
#[derive(Clone, Debug, PartialEq)]
pub enum LightDoubt {
    /// Bare frames so short that lamps on the mains may flicker in them.
    Flickers {
        /// The short dial time.
        time: String,
    },
    /// Repeats scatter more than their noise explains.
    Unsteady {
        /// Observed scatter of one frame.
        scatter: Stops,
    },
    /// The light drifted by this much over the shoot.
    Drifted {
        /// Total drift.
        drift: Stops,
    },
    /// The light jumped between runs.
    Stepped {
        /// How often.
        times: usize,
    },
    /// Single frames, and bare ones at both ends alone.
    UnseenBetween,
    /// The light was on its way elsewhere when the filter went on or came off.
    Turned {
        /// Stops by which it may have missed what was taken out.
        by: Stops,
    },
}

impl LightDoubt {
    /// Code, grade and text, as the table of cautions has them.
    pub(super) fn entry(&self) -> (&'static str, Grade, String) {
        use Grade::{Note, Number};
        match self {
            Self::Flickers { time } => ("flicker_possible", Number, format!(
                "Lamps on the mains flicker, and a frame of {time} catches a part of one period: the \
                 bare level may be off by more than the repeats show. Use daylight, or bare times of \
                 1/25 and longer.")),
            Self::Unsteady { scatter } => ("light_unsteady", Number, format!(
                "The light changed by about {} between frames that should be equal, and the \
                 uncertainty was widened for it. Wait for even cloud, or use a steady lamp.",
                in_stops(scatter.get(), 3))),
            Self::Drifted { drift } => ("light_drifted", Note, format!(
                "The light changed by {} over the shoot; a smooth curve was taken out with the \
                 help of the bare frames.", in_stops(drift.get(), 2))),
            Self::Stepped { times } => ("light_stepped", Number, format!(
                "The light seems to have jumped {} between runs, and the strength is off by what falls \
                 between bare and filtered frames. Shoot again in steadier light.",
                if *times == 1 { "once".to_owned() } else { format!("{times} times") })),
            Self::UnseenBetween => ("light_between_unseen", Number,
                "Each run is a single frame, and bare frames stand at both ends only, so nothing shows \
                 what the light did in between: a thin cloud before the sun would pass for the filter. \
                 Three frames of each show where the light is going, and bare ones in between show \
                 where it was.".into()),
            Self::Turned { by } => ("light_turned", Number, format!(
                "The light was changing when the filter went on or came off, and not towards where it \
                 was on the other side: it may have dipped or risen in between, and the strength may be \
                 off by about {}. Shoot again in steadier light.", in_stops(by.get(), 2))),
        }
    }
}
