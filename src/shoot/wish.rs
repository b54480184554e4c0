//! What the user wishes and says, and commands to be typed again.

use crate::exposure::Times;
use crate::profile::Kind;
use crate::quantity::{Degrees, FNumber, Iso, Seconds};
use crate::shoot_file::PlannedShot;
use crate::text::shell_word;
use std::collections::BTreeMap;

/// What the user says one frame is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Label {
    /// Without the filter.
    Bare,
    /// Through it, at a mark where one is named.
    Filtered(Option<String>),
    /// Lens capped.
    Dark,
    /// Opaque card in the filter's place.
    Leak,
    /// The whole filter turned at a mark, to see whether the light is polarised; not measured.
    LightCheck(Option<String>),
    /// A dark cloth round holder and mount, at a mark where one is named; not measured.
    Cloth(Option<String>),
    /// Something else that dims the light, at several shutter times; measures their ratio.
    Bridge,
    /// Not to be used.
    LeftOut,
}

/// What the user wishes and says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Wish {
    /// Kind of filter, where said.
    pub kind: Option<Kind>,
    /// The rating is a single strength, so that the filter is no ring.
    pub single_strength: bool,
    /// Labels of a variable filter's marks in the order they were shot.
    pub marks: Vec<String>,
    /// Those labels come from a plan that was not followed: they are used where they fit.
    pub marks_are_a_guide: bool,
    /// What frames are, by file; empty where the program is to sort them itself.
    pub labels: BTreeMap<String, Label>,
    /// Dial or exact times.
    pub times: Times,
    /// What was planned, in capture order; empty without a plan.
    pub planned: Vec<PlannedShot>,
    /// Rotation of the whole filter, by file.
    pub rotations: BTreeMap<String, Degrees>,
    /// Times of single frames, by file.
    pub frame_times: BTreeMap<String, Seconds>,
    /// Apertures of single frames, by file.
    pub frame_f_numbers: BTreeMap<String, FNumber>,
    /// ISO settings of single frames, by file.
    pub frame_isos: BTreeMap<String, Iso>,
    /// Aperture for a lens without contacts.
    pub f_number: Option<FNumber>,
    /// ISO where the files do not tell.
    pub iso: Option<Iso>,
    /// Frames without exposure data were exposed alike.
    pub same_exposure: bool,
    /// First frame of the shoot.
    pub from: Option<String>,
    /// Last frame of the shoot.
    pub to: Option<String>,
    /// The shoot's folder as it was typed, for commands to be typed again.
    pub shoot: String,
}

impl Wish {
    /// Whether bare or filtered frames are named, so that nothing is left to be sorted.
    #[must_use]
    pub fn is_labelled(&self) -> bool {
        self.labels.values().any(|l| matches!(l, Label::Bare | Label::Filtered(_)))
    }
    /// Whether each run may be a mark of its own, down to single frames.
    #[must_use]
    pub fn names_marks(&self) -> bool {
        self.kind == Some(Kind::Variable) || self.marks.len() > 1
    }
    /// The command that measures from one frame to another.
    #[must_use]
    pub fn from_to(&self, from: &str, to: &str) -> String {
        format!("{} --from {} --to {}", self.command(), shell_word(from), shell_word(to))
    }
    /// The command that measures frames by their names.
    #[must_use]
    pub fn by_name(&self, bare: &[&str], filtered: &[&str]) -> String {
        let list =
            |names: &[&str]| names.iter().map(|n| shell_word(n)).collect::<Vec<_>>().join(" ");
        format!("{} --bare {} --filtered {}", self.command(), list(bare), list(filtered))
    }
    /// The command that measures a folder within the shoot's own.
    #[must_use]
    pub fn in_folder(&self, name: &str) -> String {
        let above = self.folder().trim_end_matches('/');
        format!("lightloss measure {}", shell_word(&format!("{above}/{name}")))
    }

    fn command(&self) -> String {
        format!("lightloss measure {}", shell_word(self.folder()))
    }

    fn folder(&self) -> &str {
        if self.shoot.is_empty() { "SHOOT" } else { &self.shoot }
    }
}
