//! The part of a profile on a variable filter's ring: its polarisers, how far it may be turned.

use crate::quantity::{Degrees, Millimetres, Stops};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

document! {
    /// How far a variable ring may be turned.
    pub struct Usable {
        /// Allowed spread.
        pub tolerance_stops: Stops,
        /// Last mark within it.
        pub last_mark: Option<String>,
        /// Its strength.
        pub last_stops: Option<Stops>,
        /// Why it ends there.
        pub reason: String,
    }

    /// Joint fit of a polariser pair.
    pub struct PolariserPair {
        /// Effective focal length of the fit.
        pub focal_length_mm: Option<Millimetres>,
        /// Light that gets through crossed polarisers, in stops below the parallel setting.
        pub floor_stops: Option<Stops>,
        /// Its expanded uncertainty.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub floor_u95: Option<Stops>,
        /// Strength at the parallel setting.
        pub base_stops: Option<Stops>,
        /// Its expanded uncertainty.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub base_u95: Option<Stops>,
        /// Per mark.
        pub marks: Vec<PairMark>,
        /// For each mark the widest lens within tolerance.
        pub widest_lens_mm: Vec<WidestLens>,
        /// For each lens the last mark.
        pub last_mark: Vec<LastMark>,
        /// Position of the ring (0 at the first mark, 1 at the second) and stops, between the marks
        /// too.
        #[serde(default)]
        pub curve: Vec<[f64; 2]>,
        /// Foretold spread of each mark at other lenses.
        #[serde(default)]
        pub lens_spreads: Vec<LensSpread>,
    }

    /// Foretold spread of one mark at one lens.
    pub struct LensSpread {
        /// Label.
        pub mark: String,
        /// Focal length.
        pub focal_length_mm: Millimetres,
        /// p95 - p5 of the fine map.
        pub spread_stops: Stops,
    }

    /// One mark of the pair.
    pub struct PairMark {
        /// Label.
        pub mark: String,
        /// "near parallel" or "measured".
        pub state: String,
        /// Angle between the absorption axes.
        pub axes_angle: Option<Degrees>,
        /// Its expanded uncertainty.
        pub u95: Option<Degrees>,
        /// Dark direction.
        pub bisector_angle: Option<Degrees>,
        /// Its expanded uncertainty.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub bisector_u95: Option<Degrees>,
    }

    /// Widest lens at a mark.
    pub struct WidestLens {
        /// Label.
        pub mark: String,
        /// Focal length, `null` where none from 14 to 85 mm will do.
        pub focal_length_mm: Option<Millimetres>,
    }

    /// Last mark for a lens.
    pub struct LastMark {
        /// Focal length.
        pub focal_length_mm: Millimetres,
        /// Label, `null` where no mark will do.
        pub mark: Option<String>,
    }
}
