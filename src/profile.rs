//! The profile: the measured document, schema `lightloss-profile/1`, and the only thing that the
//! later commands read. Plain data with public fields, each with its definition; angles as the
//! picture is viewed, counter-clockwise from its right edge. Reading, writing and versions: [`json`].

pub mod json;
mod plausible;

use crate::quantity::{
    Degrees, Density, Duv, FNumber, Iso, Kelvin, Millimetres, Percent, Ratio, Stops,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The schema's name; its number is a major version.
pub const SCHEMA: &str = "lightloss-profile/1";

macro_rules! document {
    ($($item:item)*) => {
        $(
            #[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
            $item
        )*
    };
}

mod cast;
mod evenness;
mod frame;
mod kind;
mod picture;
mod ring;
mod shutter;
pub use cast::{Cast, DuvU95, Gains, GainsU95, MiredU95};
pub use evenness::{
    ChannelMaps, ColourSpread, Corners, CrossState, DarkCross, Directed, Evenness, EvennessGrid,
    Pattern, ShadingAt, Speck, Vignetting,
};
pub use frame::{FrameRecord, FrameState, LevelsRecord, SettingFrames, Verdict};
pub use kind::{DARKEST_AT_LINE, Form, Kind};
pub use picture::{
    GhostSpot, Mtf, PercentU95, Picture, PictureFrame, RatioU95, Sharpness, VeilingGlare,
};
pub use ring::{LastMark, LensSpread, PairMark, PolariserPair, Usable, WidestLens};
pub use shutter::ShutterRecord;

/// Grade of a caution.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Grade {
    /// It changes what the number is worth.
    Number,
    /// Good to know.
    Note,
}

/// Type A or type B (JCGM 100:2008, 4.2 and 4.3).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum BudgetKind {
    /// From repeats.
    A,
    /// By other means.
    B,
}

document! {
    /// The whole document.
    pub struct Profile {
        /// Always [`SCHEMA`].
        pub schema: String,
        /// Who wrote it.
        pub made_by: MadeBy,
        /// The filter.
        pub filter: Filter,
        /// The camera it was measured with.
        pub camera: CameraRecord,
        /// The bare light as this camera sees it.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub light: Option<Light>,
        /// One per measured state.
        pub settings: Vec<Setting>,
        /// Variable filters: how far the ring may be turned.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub usable: Option<Usable>,
        /// Variable filters: the joint fit of the two polarisers.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub polariser_pair: Option<PolariserPair>,
        /// Graduated filters.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub graduation: Option<Graduation>,
        /// Polarisers.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub polarising: Option<Polarising>,
        /// Shading by ring or holder.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub vignetting: Option<Vignetting>,
        /// Stacks: what the parts predict beside what was measured.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub stack: Option<StackRecord>,
        /// Sharpness, veil and ghosts.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub picture: Option<Picture>,
        /// The camera record that true shutter times were taken from.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub shutter_record: Option<ShutterRecord>,
        /// Uncertainty budget of the first setting.
        pub budget: Vec<BudgetLine>,
        /// Every frame that was looked at.
        pub frames: Vec<FrameRecord>,
        /// Cautions about the whole shoot.
        pub cautions: Vec<CautionRecord>,
    }

    /// Program and version.
    pub struct MadeBy {
        /// `lightloss`.
        pub program: String,
        /// Its version.
        pub version: String,
    }

    /// What the filter is rated, and what the user says of it.
    pub struct Filter {
        /// Name.
        pub name: String,
        /// Kind.
        pub kind: Kind,
        /// Rated strength.
        pub rated_stops: Option<Stops>,
        /// Rated range of a variable filter, weakest first.
        pub rated_range_stops: Option<[Stops; 2]>,
        /// Size as engraved, e.g. "77 mm".
        pub size: Option<String>,
        /// Screw-in or slot.
        pub form: Option<Form>,
        /// The user's note.
        pub note: Option<String>,
    }

    /// Body, lens and settings of the shoot.
    pub struct CameraRecord {
        /// Maker.
        pub make: Option<String>,
        /// Model.
        pub model: Option<String>,
        /// Serial number.
        pub serial: Option<String>,
        /// Lens.
        pub lens: Option<String>,
        /// Focal length.
        pub focal_length_mm: Option<Millimetres>,
        /// Aperture.
        pub f_number: Option<FNumber>,
        /// ISO setting.
        pub iso: Option<Iso>,
        /// Sensor size.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub sensor_mm: Option<SensorSize>,
        /// The matrix that colour figures went through.
        pub colour_matrix: Option<MatrixRecord>,
    }

    /// Sensor size and how it is known.
    pub struct SensorSize {
        /// Width.
        pub width: Millimetres,
        /// Height.
        pub height: Millimetres,
        /// How it is known.
        pub source: String,
    }

    /// A colour matrix, frozen at the bare light.
    pub struct MatrixRecord {
        /// "file" or "camera table".
        pub source: String,
        /// The light it stands for.
        pub illuminant: Option<String>,
        /// Row-major, XYZ to camera RGB.
        pub xyz_to_camera: [f64; 9],
    }

    /// Colour of the bare light.
    #[derive(Copy)]
    pub struct Light {
        /// Correlated colour temperature.
        pub cct_k: Kelvin,
        /// Distance from the Planckian locus.
        pub duv: Duv,
    }

    /// Stops with their expanded uncertainty.
    #[derive(Copy)]
    pub struct StopsU95 {
        /// Value.
        pub stops: Stops,
        /// Expanded uncertainty at 95 %.
        pub u95: Stops,
    }

    /// One measured state of the filter.
    pub struct Setting {
        /// Position of a variable ring, `null` elsewhere.
        pub mark: Option<String>,
        /// Green channels, frame centre.
        pub strength: Strength,
        /// Luminance through the colour matrix.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub visual_strength: Option<StopsU95>,
        /// Per channel, frame centre.
        pub channels: Channels,
        /// Colour cast.
        pub cast: Cast,
        /// How well a hand sets this mark, where it was set more than once.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub ring_repeat_stops: Option<ValueU95>,
        /// Evenness across the frame.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub evenness: Option<Evenness>,
        /// Which frames made it.
        pub frames: SettingFrames,
        /// Cautions about this setting.
        pub cautions: Vec<CautionRecord>,
    }

    /// The headline.
    pub struct Strength {
        /// Stops.
        pub stops: Stops,
        /// Expanded uncertainty at 95 %, in stops.
        pub u95: Stops,
        /// The same as density (density equivalent of the green channels in this light).
        pub density: Density,
        /// The same as a filter factor.
        pub factor: Ratio,
        /// The same as a transmittance.
        pub transmittance: Ratio,
    }

    /// Three channels.
    pub struct Channels {
        /// Red.
        pub red: StopsU95,
        /// Green.
        pub green: StopsU95,
        /// Blue.
        pub blue: StopsU95,
    }

    /// Stops as a value with expanded uncertainty.
    #[derive(Copy)]
    pub struct ValueU95 {
        /// Value.
        pub value: Stops,
        /// Expanded uncertainty.
        pub u95: Stops,
    }

    /// Graduated filters.
    pub struct Graduation {
        /// Dark end minus clear end.
        pub dark_end_stops: Stops,
        /// Its expanded uncertainty at 95 %.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub dark_end_u95: Option<Stops>,
        /// Clear end against no filter.
        pub clear_end_stops: Stops,
        /// Its expanded uncertainty at 95 %, as of all that follow.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub clear_end_u95: Option<Stops>,
        /// 10 to 90 % width.
        pub width_percent_of_height: Percent,
        /// Of the width.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub width_u95: Option<Percent>,
        /// Where the 50 % line crosses the vertical middle, from the top.
        pub centre_percent_of_height: Percent,
        /// Of that place.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub centre_u95: Option<Percent>,
        /// Of the line; 0 is level.
        pub angle: Degrees,
        /// Of the angle.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub angle_u95: Option<Degrees>,
        /// hard, medium, soft, darkest at the line.
        pub shape: String,
        /// Raw multipliers that undo the cast of the dark half.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub dark_half_gains: Option<Gains>,
        /// Even darkening of the corners beyond the graduation.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub corner_darkening_stops: Option<Stops>,
        /// Profile across the line: percent of height from the top, stops.
        #[serde(default)]
        pub profile: Vec<[f64; 2]>,
    }

    /// Polarisers.
    pub struct Polarising {
        /// Light lost in unpolarised light.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub loss_stops: Option<StopsU95>,
        /// Darkest minus lightest rotation.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub extinction_stops: Option<StopsU95>,
        /// Rotation of the most light.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub angle_of_maximum: Option<Degrees>,
        /// Its expanded uncertainty.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub angle_u95: Option<Degrees>,
        /// Whether the light was polarised after all.
        #[serde(default)]
        pub light_polarised: bool,
    }

    /// Stacks.
    pub struct StackRecord {
        /// Names of the parts.
        pub parts: Vec<String>,
        /// Sum of the parts.
        pub predicted: StopsU95,
        /// Measured minus predicted.
        pub difference: StopsU95,
    }

    /// One part of the uncertainty.
    pub struct BudgetLine {
        /// Plain name.
        pub source: String,
        /// A or B.
        pub kind: BudgetKind,
        /// Standard uncertainty it contributes to the strength.
        pub stops: Stops,
    }

    /// A caution as written; codes unknown to this version read back unharmed.
    pub struct CautionRecord {
        /// Short code.
        pub code: String,
        /// number or note.
        pub grade: Grade,
        /// What it does to the number, and what to do.
        pub text: String,
    }
}

impl BudgetLine {
    /// Source of what the shutter's times are off by; profiles of one body may share it.
    pub const SHUTTER: &'static str = "shutter times";
    /// Source of what a sensor that is on no line does; profiles of one body share it.
    pub const LINEARITY: &'static str = "linearity of the sensor";
    /// Source of what the black level is off by; profiles of one body share it.
    pub const BLACK: &'static str = "black level";
}
