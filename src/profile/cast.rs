//! The colour cast, as it stands in the profile.

use crate::quantity::{Duv, Mired, Ratio};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

document! {
    /// Colour cast.
    pub struct Cast {
        /// Raw multipliers.
        pub gains: Gains,
        /// Their expanded uncertainty.
        pub gains_u95: GainsU95,
        /// Shift of the light on the mired scale; positive is warmer.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub mired_shift: Option<MiredU95>,
        /// Shift across the Planckian locus; positive is greener.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub duv_shift: Option<DuvU95>,
        /// CIELAB of a neutral behind the filter, the bare light as white, at L* = 50.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub lab: Option<[f64; 3]>,
        /// CIEDE2000 of that neutral against the uncast one.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub delta_e_2000: Option<Ratio>,
        /// Plain words.
        pub words: String,
    }

    /// Raw multipliers that undo the cast; green is 1.
    #[derive(Copy)]
    pub struct Gains {
        /// Red.
        pub red: Ratio,
        /// Green, 1.
        pub green: Ratio,
        /// Blue.
        pub blue: Ratio,
    }

    /// Expanded uncertainty of the gains.
    #[derive(Copy)]
    pub struct GainsU95 {
        /// Red.
        pub red: Ratio,
        /// Blue.
        pub blue: Ratio,
    }

    /// Mired with expanded uncertainty.
    #[derive(Copy)]
    pub struct MiredU95 {
        /// Value.
        pub value: Mired,
        /// Expanded uncertainty.
        pub u95: Mired,
    }

    /// Duv with expanded uncertainty.
    #[derive(Copy)]
    pub struct DuvU95 {
        /// Value.
        pub value: Duv,
        /// Expanded uncertainty.
        pub u95: Duv,
    }
}
