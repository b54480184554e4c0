//! The light on the wall, and how it changes.

use crate::frame::ColourMatrix;
use crate::simulate::filter::Polarised;

/// Mains light: it swings twice a period.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flicker {
    /// Swings per second (100 or 120).
    pub hertz: f64,
    /// Amplitude in parts of the mean.
    pub depth: f64,
}

/// A lamp that settles.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WarmUp {
    /// Stops by which it is brighter in the end.
    pub stops: f64,
    /// Minutes in which all but a third of that is reached.
    pub minutes: f64,
}

/// Grain of the wall.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Texture {
    /// Peak-to-peak depth in parts of the mean.
    pub depth: f64,
    /// Number of grains across the frame's width.
    pub grains: f64,
}

/// An evenly lit wall and its light.
#[derive(Clone, Debug, PartialEq)]
pub struct Scene {
    /// Brightness: at f/8 and ISO 100 the green channel at the centre of a bare frame gains this
    /// share of full scale per second.
    pub level: f64,
    /// Colour of the light as camera red, green, blue, green = 1.
    pub light: [f64; 3],
    /// Steady change in stops per minute, positive brighter.
    pub drift: f64,
    /// Random walk in stops per square root of a minute.
    pub walk: f64,
    /// Mains light.
    pub flicker: Option<Flicker>,
    /// Lamp.
    pub warm_up: Option<WarmUp>,
    /// Polarised light (sky, a screen, a glossy wall).
    pub polarised: Option<Polarised>,
    /// Uneven light: stops at the corner radius towards an angle in degrees.
    pub lean: (f64, f64),
    /// Grain.
    pub texture: Option<Texture>,
}

impl Scene {
    /// A matt white wall in overcast daylight: steady, a little uneven.
    #[must_use]
    pub fn daylight(level: f64, light: [f64; 3]) -> Self {
        Self {
            level,
            light,
            drift: 0.0,
            walk: 0.0,
            flicker: None,
            warm_up: None,
            polarised: None,
            lean: (-0.06, 25.0),
            texture: None,
        }
    }

    /// Stops by which the steady and the settling part have brightened the light after `minutes`.
    #[must_use]
    pub fn steady_stops(&self, minutes: f64) -> f64 {
        let settling = self.warm_up.map_or(0.0, |w| w.stops * (1.0 - (-minutes / w.minutes).exp()));
        self.drift * minutes + settling
    }

    /// Mean of the flickering light over an exposure that begins at a phase in 0..1.
    #[must_use]
    pub fn flicker_share(&self, exposure_s: f64, phase: f64) -> f64 {
        self.flicker.map_or(1.0, |f| {
            let turn = std::f64::consts::TAU;
            let (from, to) = (turn * phase, turn * (phase + f.hertz * exposure_s));
            1.0 + f.depth * (from.cos() - to.cos()) / (to - from)
        })
    }
}

/// Camera RGB of daylight of a colour temperature from 4000 to 25000 K, green = 1 (CIE 15,
/// daylight illuminants), through a matrix from XYZ to camera.
#[must_use]
pub fn daylight_rgb(kelvin: f64, matrix: &ColourMatrix) -> [f64; 3] {
    let t = 1e3 / kelvin;
    let x = if kelvin <= 7000.0 {
        -4.6070 * t.powi(3) + 2.9678 * t.powi(2) + 0.09911 * t + 0.244063
    } else {
        -2.0064 * t.powi(3) + 1.9018 * t.powi(2) + 0.24748 * t + 0.237040
    };
    chromaticity_rgb((x, -3.0 * x * x + 2.870 * x - 0.275), matrix)
}

/// Camera RGB of a light of CIE 1931 chromaticity (x, y), green = 1.
#[must_use]
pub fn chromaticity_rgb((x, y): (f64, f64), matrix: &ColourMatrix) -> [f64; 3] {
    let xyz = [x / y, 1.0, (1.0 - x - y) / y];
    let m = &matrix.xyz_to_camera;
    let row = |i: usize| m[3 * i] * xyz[0] + m[3 * i + 1] * xyz[1] + m[3 * i + 2] * xyz[2];
    [row(0) / row(1), 1.0, row(2) / row(1)]
}
