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
    /// The rating is so weak that small differences may be the filter's.
    pub is_weak: bool,
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
    /// What was typed of the filter, in words of a shell; empty without any.
    pub typed_of_filter: String,
    /// What was typed of camera and frames, whatever the filter.
    pub typed_of_camera: String,
    /// The folder that the profile is written to, which no two commands may share; empty where none is.
    pub out: String,
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
        named(&self.command(), bare, filtered)
    }
    /// The command that measures frames of something else by their names, and writes to its own folder.
    #[must_use]
    pub fn another_by_name(&self, bare: &[&str], filtered: &[&str]) -> String {
        self.with_out(named(&self.measure(self.folder(), ""), bare, filtered), 2)
    }
    /// The command that measures a folder within the shoot's own.
    #[must_use]
    pub fn in_folder(&self, name: &str) -> String {
        let above = self.folder().trim_end_matches('/');
        self.measure(&format!("{above}/{name}"), &self.typed_of_filter)
    }

    /// A command for the same ring, with its marks as they were named.
    #[must_use]
    pub fn with_marks(&self, command: String) -> String {
        if self.marks.is_empty() || self.marks_are_a_guide {
            return command;
        }
        format!("{command} --marks {}", shell_word(&self.marks.join(",")))
    }
    /// The commands, each writing to a folder of its own.
    #[must_use]
    pub fn apart(&self, commands: Vec<String>) -> Vec<String> {
        if commands.len() < 2 {
            return commands;
        }
        let numbered = commands.into_iter().enumerate();
        numbered.map(|(n, command)| self.with_out(command, n + 1)).collect()
    }
    fn with_out(&self, command: String, number: usize) -> String {
        if self.out.is_empty() {
            return command;
        }
        format!("{command} --out {}", shell_word(&format!("{}-{number}", self.out)))
    }

    fn command(&self) -> String {
        self.measure(self.folder(), &self.typed_of_filter)
    }

    fn measure(&self, folder: &str, of_filter: &str) -> String {
        let parts = ["lightloss measure", &shell_word(folder), of_filter, &self.typed_of_camera];
        parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" ")
    }

    fn folder(&self) -> &str {
        if self.shoot.is_empty() { "SHOOT" } else { &self.shoot }
    }
}

fn named(command: &str, bare: &[&str], filtered: &[&str]) -> String {
    let list = |names: &[&str]| names.iter().map(|n| shell_word(n)).collect::<Vec<_>>().join(" ");
    format!("{command} --bare {} --filtered {}", list(bare), list(filtered))
}
