//! What sort of filter a profile is of, and how it is held.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The shape of a graduated filter that is darkest where its edge is and clears again towards its end.
pub const DARKEST_AT_LINE: &str = "darkest at the line";

/// What sort of filter was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// One even strength.
    Solid,
    /// Two polarisers in a ring.
    Variable,
    /// Dark at one end.
    Graduated,
    /// One polariser.
    Polariser,
    /// Several filters together.
    Stack,
}

impl Kind {
    /// All of them.
    pub const ALL: [Self; 5] =
        [Self::Solid, Self::Variable, Self::Graduated, Self::Polariser, Self::Stack];
    /// As it is written and typed.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Solid => "solid",
            Self::Variable => "variable",
            Self::Graduated => "graduated",
            Self::Polariser => "polariser",
            Self::Stack => "stack",
        }
    }
    /// In a sentence, before "filter".
    #[must_use]
    pub fn adjective(self) -> &'static str {
        match self {
            Self::Solid => "solid",
            Self::Variable => "variable",
            Self::Graduated => "graduated",
            Self::Polariser => "polarising",
            Self::Stack => "stacked",
        }
    }
}

/// How the filter is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Form {
    /// In the lens thread.
    ScrewIn,
    /// In a slot holder.
    Slot,
}
