//! Colour as CIE 15 has it: XYZ, CIE 1960 uv, CCT and Duv, CIELAB, CIEDE2000, and the way there
//! from camera RGB.

pub mod observer;
pub mod locus;
pub mod matrix;

pub use locus::cct_duv;
pub use matrix::{FrozenMatrix, illuminant_kelvin};

use crate::profile::Light;
use crate::quantity::Kelvin;
use palette::{Lab, color_difference::Ciede2000, white_point::Any};

/// Daylight where nothing tells more (common practice, no source).
pub const DAYLIGHT: Kelvin = Kelvin::new(5500.0);
/// Luminance that gives L* = 50 in CIELAB: ((50 + 16) / 116)^3.
pub const Y_AT_L50: f64 = 0.184_186_518_51;

/// CIE 1931 tristimulus values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Xyz(pub [f64; 3]);

impl Xyz {
    /// Of chromaticity xy, with Y = 1.
    #[must_use]
    pub fn from_xy([x, y]: [f64; 2]) -> Self {
        Self([x / y, 1.0, (1.0 - x - y) / y])
    }
    /// Chromaticity xy; `None` where the sum is not above zero.
    #[must_use]
    pub fn xy(self) -> Option<[f64; 2]> {
        let [x, y, z] = self.0;
        let sum = x + y + z;
        (sum.is_finite() && sum > 0.0).then(|| [x / sum, y / sum])
    }
    /// CIE 1960 uv: 4X, 6Y over X + 15Y + 3Z.
    #[must_use]
    pub fn uv(self) -> Option<[f64; 2]> {
        let [x, y, z] = self.0;
        let sum = x + 15.0 * y + 3.0 * z;
        (sum.is_finite() && sum > 0.0).then(|| [4.0 * x / sum, 6.0 * y / sum])
    }
}

/// CCT and Duv of a light.
#[must_use]
pub fn light_of(xyz: Xyz) -> Option<Light> {
    cct_duv(xyz.uv()?)
}

/// CIELAB against a white (ISO/CIE 11664-4), no adaptation.
#[must_use]
pub fn lab(xyz: Xyz, white: Xyz) -> [f64; 3] {
    let f = |t: f64| {
        if t > (24f64 / 116.0).powi(3) { t.cbrt() } else { (841.0 / 108.0) * t + 16.0 / 116.0 }
    };
    let [fx, fy, fz]: [f64; 3] = std::array::from_fn(|i| f(xyz.0[i] / white.0[i]));
    [116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)]
}

/// CIELAB of a neutral in one light, another light as white, luminance made L* = 50.
#[must_use]
pub fn neutral_lab(light: Xyz, white: Xyz) -> [f64; 3] {
    let scaled = |xyz: Xyz, y: f64| Xyz(xyz.0.map(|v| v / xyz.0[1] * y));
    lab(scaled(light, Y_AT_L50), scaled(white, 1.0))
}

/// CIEDE2000 between two CIELAB colours (ISO/CIE 11664-6).
#[must_use]
pub fn ciede2000(a: [f64; 3], b: [f64; 3]) -> f64 {
    let of = |[l, a, b]: [f64; 3]| Lab::<Any, f64>::new(l, a, b);
    of(a).difference(of(b))
}
