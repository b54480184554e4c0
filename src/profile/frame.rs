//! The frames of a shoot, as they stand in the profile.

use crate::quantity::{Counts, FNumber, Iso, Percent, Seconds};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// State of a frame after sorting.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum FrameState {
    /// Without the filter.
    Bare,
    /// Lens capped.
    Dark,
    /// Through the filter.
    Setting,
    /// Not used.
    LeftOut,
}

document! {
    /// Files of one setting.
    pub struct SettingFrames {
        /// Without the filter.
        pub bare: Vec<String>,
        /// Through it.
        pub filtered: Vec<String>,
    }

    /// One frame.
    pub struct FrameRecord {
        /// Path relative to the shoot.
        pub file: String,
        /// Of its bytes.
        pub sha256: String,
        /// Run number, from 1.
        #[serde(default)]
        pub run: Option<u32>,
        /// What it was taken for.
        pub state: FrameState,
        /// True exposure time.
        #[serde(default)]
        pub exposure_s: Option<Seconds>,
        /// As the camera shows it.
        #[serde(default)]
        pub dial_time: Option<String>,
        /// Aperture.
        #[serde(default)]
        pub f_number: Option<FNumber>,
        /// ISO setting.
        #[serde(default)]
        pub iso: Option<Iso>,
        /// Local time, ISO 8601, with the offset where known.
        #[serde(default)]
        pub captured_at: Option<String>,
        /// Counts above black in the centre.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub levels: Option<LevelsRecord>,
        /// Share of clipped pixels in the centre, worst channel.
        #[serde(default)]
        pub clipped_percent: Option<Percent>,
        /// Why.
        pub verdict: Verdict,
    }

    /// Counts above black, centre.
    pub struct LevelsRecord {
        /// Red.
        pub red: Counts,
        /// Green in red rows.
        pub green_1: Counts,
        /// Green in blue rows; repeats `green_1` where there is one green only.
        pub green_2: Counts,
        /// Blue.
        pub blue: Counts,
    }

    /// Why a frame was used or not.
    pub struct Verdict {
        /// Short code.
        pub code: String,
        /// Plain words.
        pub text: String,
    }
}
