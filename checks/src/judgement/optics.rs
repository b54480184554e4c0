//! The bench's own lens and wall. Places are counted from the middle of the frame, right and down,
//! in half diagonals.

use super::dice::Dice;
use std::f64::consts::TAU;

/// Falloff of a lens: a power of the cosine, and a barrel that cuts into the pupil.
#[derive(Clone, Copy, Debug)]
pub struct Lens {
    /// Half diagonal of the sensor over the focal length.
    pub tangent: f64,
    /// Power of the cosine; 4 for an exit pupil at the focal length, less for a far one.
    power: f64,
    /// How far the barrel's image moves across the pupil at the corner, in pupil radii.
    barrel: f64,
    /// Radius of that image in pupil radii.
    opening: f64,
}

impl Lens {
    pub fn drawn(dice: &mut Dice, tangent: f64) -> Self {
        Self {
            tangent,
            power: dice.uniform(1.5, 4.0),
            barrel: dice.uniform(0.0, 0.9),
            opening: dice.uniform(1.05, 1.5),
        }
    }
    /// Light that reaches a place, 1 in the middle.
    pub fn light(&self, x: f64, y: f64) -> f64 {
        let r = x.hypot(y);
        let cosine = 1.0 / (1.0 + (self.tangent * r).powi(2)).sqrt();
        cosine.powf(self.power) * common_area(self.opening, self.barrel * r)
    }
    /// Direction of the ray that makes a place of the picture, of length 1.
    pub fn ray(&self, x: f64, y: f64) -> [f64; 3] {
        let (a, b) = (self.tangent * x, self.tangent * y);
        let length = (1.0 + a * a + b * b).sqrt();
        [a / length, b / length, 1.0 / length]
    }
}

/// Share of a unit circle inside a circle of radius `r` whose centre is `d` away (the area of a lens
/// of two circles, elementary geometry).
fn common_area(r: f64, d: f64) -> f64 {
    if d <= (r - 1.0).abs() {
        return r.min(1.0).powi(2);
    }
    if d >= r + 1.0 {
        return 0.0;
    }
    let a = ((d * d + 1.0 - r * r) / (2.0 * d)).clamp(-1.0, 1.0).acos();
    let b = ((d * d + r * r - 1.0) / (2.0 * d * r)).clamp(-1.0, 1.0).acos();
    let kite = ((1.0 + r + d) * (1.0 + r - d) * (1.0 - r + d) * (d - 1.0 + r)).max(0.0).sqrt();
    (a + r * r * b - kite / 2.0) / std::f64::consts::PI
}

/// A wall out of focus: a slope, a brighter place, and two slow ripples.
#[derive(Clone, Copy, Debug)]
pub struct Wall {
    slope: (f64, f64),
    spot: (f64, f64, f64, f64),
    ripples: [(f64, f64, f64, f64); 2],
}

impl Wall {
    pub fn drawn(dice: &mut Dice, contrast: f64) -> Self {
        let mut ripple = || {
            let (along, turn) = (dice.uniform(0.5, 1.6), dice.uniform(0.0, TAU));
            (
                along * turn.cos(),
                along * turn.sin(),
                dice.uniform(0.0, TAU),
                contrast * dice.uniform(0.0, 0.06),
            )
        };
        let ripples = [ripple(), ripple()];
        let mut slope = || contrast * dice.uniform(-0.25, 0.25);
        Self {
            slope: (slope(), slope()),
            spot: (
                dice.uniform(-0.8, 0.8),
                dice.uniform(-0.8, 0.8),
                dice.uniform(0.6, 2.0),
                contrast * dice.uniform(0.0, 0.4),
            ),
            ripples,
        }
    }
    /// Light of a place of the wall, about 1.
    pub fn light(&self, x: f64, y: f64) -> f64 {
        let (u, v, width, height) = self.spot;
        let spot = height / (1.0 + ((x - u).powi(2) + (y - v).powi(2)) / (width * width));
        let ripple: f64 =
            self.ripples.iter().map(|(a, b, at, by)| by * (TAU * (a * x + b * y) + at).sin()).sum();
        (1.0 + self.slope.0 * x + self.slope.1 * y + spot + ripple).max(0.05)
    }
}
