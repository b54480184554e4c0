//! The part of a profile on what differs across the frame: maps, patterns, the dark cross, shading.

use crate::quantity::{Degrees, Millimetres, Percent, Stops};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Whether two dark arms show across the frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum CrossState {
    /// Nothing significant, or less than 0.05 stop.
    Absent,
    /// Significant, under a third of a stop.
    Forming,
    /// A third of a stop or more.
    Present,
}

document! {
    /// Evenness: extra stops relative to the frame's centre.
    pub struct Evenness {
        /// The 11 x 11 grid.
        pub grid: EvennessGrid,
        /// p95 - p5 of the fine map.
        pub spread_stops: Stops,
        /// max - min of the fine map without specks.
        pub extremes_stops: Stops,
        /// Corner blocks of the grid.
        pub corners_stops: Corners,
        /// Maps per channel.
        pub maps: ChannelMaps,
        /// How much the cast changes across the frame.
        pub colour_spread: ColourSpread,
        /// Dust and scratches.
        #[serde(default)]
        pub specks: Vec<Speck>,
        /// Fitted pattern.
        pub pattern: Pattern,
        /// The dark cross.
        pub dark_cross: DarkCross,
    }

    /// Block means.
    pub struct EvennessGrid {
        /// 11.
        pub columns: usize,
        /// 11.
        pub rows: usize,
        /// Row by row from the top; `null` where unknown.
        pub stops: Vec<Vec<Option<Stops>>>,
    }

    /// Four corners, as the picture is viewed.
    pub struct Corners {
        /// Top left.
        pub top_left: Stops,
        /// Top right.
        pub top_right: Stops,
        /// Bottom left.
        pub bottom_left: Stops,
        /// Bottom right.
        pub bottom_right: Stops,
    }

    /// At most 64 x 43 cells, row-major, as the picture is viewed.
    pub struct ChannelMaps {
        /// Cells across.
        pub columns: usize,
        /// Cells down.
        pub rows: usize,
        /// Red.
        pub red: Vec<Option<Stops>>,
        /// Green.
        pub green: Vec<Option<Stops>>,
        /// Blue.
        pub blue: Vec<Option<Stops>>,
    }

    /// p95 - p5 of channel differences over the maps.
    pub struct ColourSpread {
        /// Red minus green.
        pub red_green_stops: Stops,
        /// Blue minus green.
        pub blue_green_stops: Stops,
    }

    /// A speck or scratch.
    pub struct Speck {
        /// From the left.
        pub x_percent: Percent,
        /// From the top.
        pub y_percent: Percent,
        /// Extra stops there.
        pub stops: Stops,
    }

    /// Amplitude and direction.
    pub struct Directed {
        /// Peak to peak at the corner radius.
        pub stops: Stops,
        /// Its expanded uncertainty.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub u95: Option<Stops>,
        /// Direction in degrees.
        pub angle: Degrees,
    }

    /// Amplitudes of the fitted pattern.
    pub struct Pattern {
        /// Whether the harmonics describe the map.
        pub valid: bool,
        /// Even darkening from centre to corner.
        pub falloff_stops: Stops,
        /// Its expanded uncertainty.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub falloff_u95: Option<Stops>,
        /// Order 1.
        pub tilt: Directed,
        /// Order 2; the angle is the dark direction.
        pub saddle: Directed,
        /// Order 4; the angle is one dark arm.
        pub cross: Directed,
        /// Rms of what the pattern leaves.
        pub residual_stops: Stops,
        /// Noise of one cell of the map.
        pub noise_stops: Stops,
    }

    /// The decision.
    pub struct DarkCross {
        /// Absent, forming, present.
        pub state: CrossState,
        /// Depth.
        pub depth_stops: Stops,
        /// Axis of the darkest arm.
        pub angle: Option<Degrees>,
    }
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
