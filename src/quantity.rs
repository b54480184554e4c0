//! Quantities: a number never travels without its meaning.
//!
//! Each type wraps one finite `f64`. A value that is not finite can be formed (a logarithm of
//! nothing, say) but never written: serialisation refuses it, so no document holds a silent null.

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;

/// What every quantity offers to code that is generic over its meaning.
pub trait Quantity: Copy {
    /// Wraps a bare number.
    fn wrap(value: f64) -> Self;
    /// The bare number.
    fn bare(self) -> f64;
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Default)]
        pub struct $name(f64);

        impl $name {
            /// Wraps a bare number that is known to carry this meaning.
            #[must_use]
            pub const fn new(value: f64) -> Self {
                Self(value)
            }
            /// The bare number in the unit of its type, for arithmetic that leaves this meaning.
            #[must_use]
            pub const fn get(self) -> f64 {
                self.0
            }
            /// Whether the number is finite.
            #[must_use]
            pub const fn is_finite(self) -> bool {
                self.0.is_finite()
            }
        }

        impl Quantity for $name {
            fn wrap(value: f64) -> Self {
                Self(value)
            }
            fn bare(self) -> f64 {
                self.0
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                if !self.0.is_finite() {
                    return Err(serde::ser::Error::custom(concat!(
                        "a value of ", stringify!($name), " is not finite"
                    )));
                }
                serializer.serialize_f64(self.0)
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let value = f64::deserialize(deserializer)?;
                if value.is_finite() {
                    Ok(Self(value))
                } else {
                    Err(serde::de::Error::custom(concat!(
                        "a value of ", stringify!($name), " is not finite"
                    )))
                }
            }
        }

        impl JsonSchema for $name {
            fn inline_schema() -> bool {
                true
            }
            fn schema_name() -> Cow<'static, str> {
                Cow::Borrowed(stringify!($name))
            }
            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                json_schema!({ "type": "number" })
            }
        }
    };
}

macro_rules! additive {
    ($name:ident) => {
        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl std::ops::Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }
        impl $name {
            /// The size without the sign.
            #[must_use]
            pub const fn abs(self) -> Self {
                Self(self.0.abs())
            }
        }
    };
}

quantity!(
    /// A ratio of light in powers of two; positive where light is lost. S = -log2(transmittance).
    Stops
);
additive!(Stops);
quantity!(
    /// Optical density, D = -log10(transmittance) (ISO 5-1).
    Density
);
quantity!(
    /// A time in seconds.
    Seconds
);
additive!(Seconds);
quantity!(
    /// A relative aperture, f-number.
    FNumber
);
quantity!(
    /// An ISO speed setting, which is no measure of the camera's gain to better than 0.1 stop.
    Iso
);
quantity!(
    /// Reciprocal megakelvin, 10^6 / T.
    Mired
);
additive!(Mired);
quantity!(
    /// A temperature in kelvin.
    Kelvin
);
quantity!(
    /// An angle in degrees, counter-clockwise from the frame's right edge as the picture is viewed.
    Degrees
);
additive!(Degrees);
quantity!(
    /// A length in millimetres.
    Millimetres
);
quantity!(
    /// A share in percent.
    Percent
);
quantity!(
    /// Signed distance from the Planckian locus in CIE 1960 uv, positive above it (greenish).
    Duv
);
additive!(Duv);
quantity!(
    /// A pure number: a transmittance, a factor, a gain.
    Ratio
);
quantity!(
    /// Raw counts above black, averaged over pixels.
    Counts
);

impl Stops {
    /// From a transmittance tau: S = -log2(tau) (ISO 5-1 notation, base two).
    #[must_use]
    pub fn from_transmittance(tau: Ratio) -> Self {
        Self(-tau.0.log2())
    }
    /// The transmittance 2^-S.
    #[must_use]
    pub fn transmittance(self) -> Ratio {
        Ratio((-self.0).exp2())
    }
    /// The filter factor 2^S by which a time is multiplied.
    #[must_use]
    pub fn factor(self) -> Ratio {
        Ratio(self.0.exp2())
    }
    /// The density D = S log10(2) (ISO 5-1).
    #[must_use]
    pub fn density(self) -> Density {
        Density(self.0 * std::f64::consts::LOG10_2)
    }
}

impl Density {
    /// S = D / log10(2) (ISO 5-1).
    #[must_use]
    pub fn stops(self) -> Stops {
        Stops(self.0 / std::f64::consts::LOG10_2)
    }
}

impl Kelvin {
    /// 10^6 / T.
    #[must_use]
    pub fn mired(self) -> Mired {
        Mired(1e6 / self.0)
    }
}

impl Mired {
    /// 10^6 / M.
    #[must_use]
    pub fn kelvin(self) -> Kelvin {
        Kelvin(1e6 / self.0)
    }
}
