//! Doubts about sharpness, veil and ghosts.

use crate::profile::Grade;

/// Everything that may be doubtful about what the filter does to the picture.
#[derive(Clone, Debug, PartialEq)]
pub enum PictureDoubt {
    /// An edge that was not measured.
    EdgeRefused {
        /// Where it lies.
        place: String,
        /// Why, and what to do.
        reason: String,
    },
    /// A frame for sharpness that was left out.
    FrameSpoilt {
        /// Its name.
        file: String,
        /// Why, and what to do.
        reason: String,
    },
    /// No edge at all.
    NoEdge,
    /// A state without a frame.
    StateMissing {
        /// Folder of the frames.
        folder: &'static str,
        /// What is missing.
        state: &'static str,
    },
    /// Bare and filtered frames cannot be told apart.
    StatesUntold {
        /// Folder of the frames.
        folder: &'static str,
    },
    /// Another aperture or focal length through the filter.
    OtherSettings {
        /// What differs.
        what: String,
    },
    /// Frames of one state differ by more than their noise.
    Unsteady {
        /// The frame furthest off.
        file: String,
        /// By how much, in percent of MTF50.
        percent: f64,
    },
    /// The bare frames before and after differ, or the picture's scale changed.
    Refocused {
        /// How it shows.
        sign: String,
    },
    /// Sharper with the filter than without.
    SharperThrough {
        /// Percent.
        percent: f64,
    },
    /// Nothing shows that the focus stayed.
    FocusUnproved,
    /// One frame of a state.
    NoRepeats,
    /// No dark hole in a light wall.
    NoHole,
    /// The hole is so near black that the black level limits.
    VeilLimitedByBlack {
        /// Percent of the wall's light.
        percent: f64,
    },
    /// No leak frame for the veil of a strong filter.
    VeilLeakUntold,
    /// No lamp.
    NoLamp {
        /// Why, and what to do.
        reason: &'static str,
    },
}

impl PictureDoubt {
    /// Code, grade and words, which say what to do.
    pub(super) fn entry(&self) -> (&'static str, Grade, String) {
        use Grade::{Note, Number};
        use PictureDoubt as D;
        match self {
            D::EdgeRefused { place, reason } => {
                ("edge_refused", Note, format!("The edge at the {place} was not measured: {reason}"))
            }
            D::FrameSpoilt { file, reason } => {
                ("sharpness_frame_left_out", Note, format!("{file} was left out: {reason}"))
            }
            D::NoEdge => ("no_edge", Number,
                "No straight edge between dark and light was found in the frames for sharpness. Shoot the \
                 target of lightloss plan --sharpness so that each square is at least 250 pixels wide and \
                 turned by 3 to 10 degrees.".into()),
            D::StateMissing { folder, state } => ("picture_state_missing", Number, format!(
                "There is no usable {state} frame in the folder {folder}, so nothing can be said of the \
                 filter. Shoot bare, filtered and bare again, and put them into {folder}/bare and \
                 {folder}/filter.")),
            D::StatesUntold { folder } => ("picture_states_untold", Number, format!(
                "Which frames in the folder {folder} are bare cannot be told from their levels. Put them \
                 into {folder}/bare and {folder}/filter.")),
            D::OtherSettings { what } => ("picture_settings_changed", Number, format!(
                "Bare and filtered frames for sharpness differ in {what}, which changes sharpness more than \
                 a filter does: no ratio is given. Shoot both at the same setting.")),
            D::Unsteady { file, percent } => ("picture_unsteady", Number, format!(
                "Frames that ought to be equally sharp differ by {percent:.1} % and more, {file} most: the \
                 camera shook, or it focused anew. No ratio is given. Use a remote release and a steady \
                 tripod, turn autofocus and stabilisation off, and shoot again, or leave that frame out.")),
            D::Refocused { sign } => ("picture_refocused", Number, format!(
                "{sign}, so the focus changed between the states and not only the filter: no ratio is \
                 given. Focus without the filter, turn autofocus off, touch neither ring, and shoot bare, \
                 filtered, bare again.")),
            D::SharperThrough { percent } => ("picture_sharper_through", Number, format!(
                "The picture is {percent:.0} % sharper through the filter, which no filter does: the bare \
                 frames are out of focus or shaken, and no ratio is given. Focus without the filter, leave \
                 it so, and shoot again.")),
            D::FocusUnproved => ("picture_focus_unproved", Number,
                "The filtered frames do not lie between bare ones, so a focus that changed on the way would \
                 look like the filter's doing. Shoot bare frames before and after the filtered ones.".into()),
            D::NoRepeats => ("picture_no_repeats", Note,
                "One state has a single frame, so shake and focus cannot be told from the filter. Shoot \
                 three of each.".into()),
            D::NoHole => ("no_dark_hole", Number,
                "No dark hole in a light wall was found in the frames for veil. Hang a box lined black \
                 behind an opening in white card, the opening a twentieth of the frame, not clipped around \
                 it.".into()),
            D::VeilLimitedByBlack { percent } => ("veil_limited_by_black", Note, format!(
                "The camera's black level makes the veil doubtful by {percent:.2} % of the light around. \
                 Add dark frames to veil/dark: lens capped, same time and ISO.")),
            D::VeilLeakUntold => ("veil_leak_untold", Number,
                "Through a strong filter light past the holder looks the same as veil, and no leak frame \
                 tells them apart. Add one to veil/leak: an opaque card in the filter's place, same time."
                    .into()),
            D::NoLamp { reason } => ("no_lamp", Number, format!("Ghosts were not looked for: {reason}")),
        }
    }
}
