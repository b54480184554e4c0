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
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Used {
    /// Index into the kit.
    pub filter: usize,
    /// Mark of a variable filter, where known.
    pub mark: Option<String>,
}

/// Filters with their marks: "Harbour Ten + Tide Ring mark 2".
#[must_use]
pub fn used_words(used: &[Used], name: impl Fn(usize) -> String) -> String {
    let one = |u: &Used| match &u.mark {
        Some(mark) => format!("{} mark {mark}", name(u.filter)),
        None => name(u.filter),
    };
    used.iter().map(one).collect::<Vec<_>>().join(" + ")
}

/// What the user says of a photograph.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub enum Told {
    /// Nothing.
    #[default]
    Nothing,
    /// It was made without a filter.
    Bare,
    /// It was made through these and no others.
    Through(Vec<Used>),
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
    /// The user's word.
    User,
    /// Keywords or description.
    Words,
    /// Light, colour, pattern and order.
    Light,
    /// Nothing.
    Nothing,
}

/// Where the light leans that tells nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Leaning {
    /// To nothing, or something is found.
    Nowhere,
    /// To no filter.
    Bare,
    /// To a filter that is none of the kit, nor a mark or a stack of it.
    Stranger,
}

impl How {
    /// As it stands in the table.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Self::User => "as you said",
            Self::Words => "keywords or description",
            Self::Light => "light, colour and order",
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
    /// "Sure", else "likely".
    pub sure: bool,
    /// Neither: the user says so, and the photographs speak against it.
    pub doubted: bool,
    /// What the light rather shows where nothing is found.
    pub leans: Leaning,
    /// Probability from 0 to 1 of the likeliest account, marks that are named included.
    pub probability: f64,
    /// Index of the bare frame of this scene, where there is one.
    pub bare: Option<usize>,
    /// Filters of the kit that this photograph cannot have been made through.
    pub impossible: Vec<usize>,
    /// Plain words: why, or why not.
    pub note: String,
}

impl Finding {
    pub(super) fn unknown() -> Self {
        Self {
            verdict: Verdict::Unknown,
            how: How::Nothing,
            sure: false,
            doubted: false,
            leans: Leaning::Nowhere,
            probability: 0.0,
            bare: None,
            impossible: Vec::new(),
            note: String::new(),
        }
    }
}
