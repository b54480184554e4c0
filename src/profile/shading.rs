//! Shading by ring or holder, as it stands in the profile.

use super::Corners;
use crate::quantity::{Millimetres, Percent, Stops};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

document! {
    /// Shading by ring or holder.
    pub struct Vignetting {
        /// Whether there is any.
        pub mechanical: bool,
        /// Where it begins.
        pub onset_percent_of_half_diagonal: Option<Percent>,
        /// How dark the corners get.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub corners_stops: Option<Corners>,
        /// The same at each focal length of a shoot that holds several, shortest first.
        #[serde(skip_serializing_if = "Vec::is_empty", default)]
        pub by_focal_length: Vec<ShadingAt>,
        /// The shortest of these from which on nothing is shaded.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub widest_safe_mm: Option<Millimetres>,
    }

    /// Shading at one focal length.
    pub struct ShadingAt {
        /// Focal length.
        pub focal_length_mm: Millimetres,
        /// Whether there is any.
        pub mechanical: bool,
        /// Where it begins.
        pub onset_percent_of_half_diagonal: Option<Percent>,
        /// How dark the darkest corner gets.
        pub darkest_corner_stops: Option<Stops>,
    }
}
