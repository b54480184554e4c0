//! What the filter does to the picture: sharpness, veil, ghosts.

use super::{CautionRecord, Verdict};
use crate::quantity::{Degrees, Percent, Ratio, Stops};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A ratio with its expanded uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RatioU95 {
    /// Value.
    pub value: Ratio,
    /// Expanded uncertainty at 95 %.
    pub u95: Ratio,
}

/// A share in percent with its expanded uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PercentU95 {
    /// Value.
    pub value: Percent,
    /// Expanded uncertainty at 95 %.
    pub u95: Percent,
}

document! {
    /// What was measured of the picture.
    pub struct Picture {
        /// One per edge.
        #[serde(skip_serializing_if = "Vec::is_empty", default)]
        pub sharpness: Vec<Sharpness>,
        /// MTF50 through the filter over MTF50 without it, all edges together.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub sharpness_ratio: Option<RatioU95>,
        /// The same of the edges near the corners.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub corners_ratio: Option<RatioU95>,
        /// Veiling glare.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub veiling_glare: Option<VeilingGlare>,
        /// Ghosts of a lamp that the bare frames lack; `null` where none was looked for.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub ghosts: Option<Vec<GhostSpot>>,
        /// Ghosts weaker than so many stops below the lamp would not have been seen.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub ghosts_seen_to_stops: Option<Stops>,
        /// Every frame that was looked at for this.
        pub frames: Vec<PictureFrame>,
        /// Cautions about this part.
        pub cautions: Vec<CautionRecord>,
    }

    /// One edge without the filter and through it.
    pub struct Sharpness {
        /// Where it lies, as the picture is viewed: "centre", "top left".
        pub place: String,
        /// From the left.
        pub x_percent: Percent,
        /// From the top.
        pub y_percent: Percent,
        /// Against the pixel grid.
        pub edge_angle: Degrees,
        /// Without the filter.
        pub bare: Mtf,
        /// Through it.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub filtered: Option<Mtf>,
        /// MTF50 through the filter over MTF50 without it.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub ratio: Option<RatioU95>,
        /// Modulation at half the Nyquist frequency, through the filter over without it.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub half_nyquist_ratio: Option<RatioU95>,
    }

    /// Modulation transfer of lens, sensor and filter together, from an edge.
    pub struct Mtf {
        /// Where the modulation falls to a half, in cycles per pixel.
        pub mtf50: RatioU95,
        /// The same in line pairs per picture height.
        pub mtf50_per_height: Ratio,
        /// Modulation at half the Nyquist frequency.
        pub half_nyquist: RatioU95,
        /// Cycles per pixel, modulation, expanded uncertainty.
        pub curve: Vec<[f64; 3]>,
    }

    /// Light in a dark hole over the light around it.
    pub struct VeilingGlare {
        /// Without the filter.
        pub bare: PercentU95,
        /// Through it.
        pub filtered: PercentU95,
        /// The filter's own part.
        pub added: PercentU95,
        /// By how many stops it lifts a shadow ten stops below white.
        pub shadow_lift_stops: Stops,
        /// Its expanded uncertainty.
        pub shadow_lift_u95: Stops,
        /// Light past the filter was taken out with a leak frame.
        pub leak_taken_out: bool,
    }

    /// A second picture of a lamp.
    pub struct GhostSpot {
        /// From the left.
        pub x_percent: Percent,
        /// From the top.
        pub y_percent: Percent,
        /// Its light below the lamp's.
        pub stops: Stops,
        /// Expanded uncertainty of that.
        pub u95: Stops,
    }

    /// A frame that was looked at for this.
    pub struct PictureFrame {
        /// Path relative to the shoot.
        pub file: String,
        /// Of its bytes.
        pub sha256: String,
        /// "sharpness", "veil" or "ghost".
        pub of: String,
        /// "bare", "filtered", "dark", "leak" or "left_out".
        pub state: String,
        /// Why.
        pub verdict: Verdict,
    }
}
