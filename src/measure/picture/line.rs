//! A nearly straight edge in a patch.

use super::samples::{Greens, Sample};

/// The edge: across = offset + slope along + bow along^2, in pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// At the patch's middle.
    pub offset: f64,
    /// Pixels across per pixel along.
    pub slope: f64,
    /// Curvature, per pixel.
    pub bow: f64,
}

impl Line {
    /// Across at a place along, in pixels.
    #[must_use]
    pub fn at(&self, along: f64) -> f64 {
        self.offset + along * (self.slope + along * self.bow)
    }
    /// Distance of a sample from the line along its normal, in pixels.
    #[must_use]
    pub fn distance(&self, sample: &Sample) -> f64 {
        let slope = self.slope + 2.0 * self.bow * sample.along;
        (sample.across - self.at(sample.along)) / (1.0 + slope * slope).sqrt()
    }
    /// The distances of all samples, in pixels.
    #[must_use]
    pub fn distances(&self, greens: &Greens) -> Vec<f64> {
        greens.samples.iter().map(|s| self.distance(s)).collect()
    }
    /// The samples up to a distance from it, in pixels.
    #[must_use]
    pub fn near(&self, greens: &Greens, reach: f64) -> Greens {
        let inside = |s: &&Sample| self.distance(s).abs() <= reach;
        Greens { samples: greens.samples.iter().filter(inside).copied().collect(), ..*greens }
    }
    /// Angle to the pixel grid in degrees, 0 to 90.
    #[must_use]
    pub fn angle(&self) -> f64 {
        self.slope.abs().atan().to_degrees()
    }
    /// How far it strays from straight over a length, in pixels.
    #[must_use]
    pub fn sag(&self, half_along: f64) -> f64 {
        self.bow.abs() * half_along * half_along
    }
}
