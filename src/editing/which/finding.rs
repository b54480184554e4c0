//! What is asked about a photograph, and what is found.

use crate::editing::scene::SceneMap;
use crate::frame::FrameInfo;

/// A photograph as far as it matters here.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// Camera, exposure, time, and what was written into the file or its sidecar.
    pub info: FrameInfo,
    /// Its light, of raw files only.
    pub scene: Option<SceneMap>,
}

/// A filter that a photograph was made through.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Used {
    /// Index into the kit.
    pub filter: usize,
    /// Mark of a variable filter, where known.
    pub mark: Option<String>,
}

/// What was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Through these, at least one.
    Through(Vec<Used>),
    /// Without a filter.
    Bare,
    /// Not known.
    Unknown,
}

/// What a finding rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum How {
    /// Keywords or description.
    Words,
    /// Difference from a bare frame of the same scene.
    Difference,
    /// No filter of the kit fits under the light of this earth.
    Brightness,
    /// As bright as other bare scenes of the time.
    OtherScenes,
    /// In one series with a picture that is known.
    Series,
    /// Nothing.
    Nothing,
}

impl How {
    /// As it stands in the table.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Self::Words => "keywords or description",
            Self::Difference => "difference from a bare frame",
            Self::Brightness => "too bright a scene for any filter",
            Self::OtherScenes => "as bright as other bare scenes",
            Self::Series => "same series as a known picture",
            Self::Nothing => "",
        }
    }
}

/// A finding about one photograph.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// What was found.
    pub verdict: Verdict,
    /// From what.
    pub how: How,
    /// Whether it needs no assumption beyond the evidence itself ("sure", else "likely").
    pub sure: bool,
    /// Index of the bare frame of this scene, where there is one.
    pub bare: Option<usize>,
    /// Filters of the kit that this photograph cannot have been made through.
    pub impossible: Vec<usize>,
    /// Plain words: why, or why not.
    pub note: String,
}
