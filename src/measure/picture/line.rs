//! A nearly straight edge in a patch.

use super::samples::Greens;

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
    /// Distances of all samples from the line along its normal, in pixels.
    #[must_use]
    pub fn distances(&self, greens: &Greens) -> Vec<f64> {
        let mut distances = Vec::with_capacity(greens.samples.len());
        for samples in greens.lines() {
            let along = samples[0].along;
            let slope = self.slope + 2.0 * self.bow * along;
            let (at, share) = (self.at(along), 1.0 / (1.0 + slope * slope).sqrt());
            distances.extend(samples.iter().map(|s| (s.across - at) * share));
        }
        distances
    }
    /// The samples up to a distance from it, in pixels.
    #[must_use]
    pub fn near(&self, greens: &Greens, reach: f64) -> Greens {
        let all = greens.samples.iter().zip(self.distances(greens));
        let near = all.filter(|(_, distance)| distance.abs() <= reach);
        Greens { samples: near.map(|(sample, _)| *sample).collect(), ..*greens }
    }
    /// Moved across at the middle and, in parts of the half length along, by its first and second
    /// power; pixels.
    #[must_use]
    pub fn moved(&self, step: [f64; 3], half_along: f64) -> Self {
        Self {
            offset: self.offset + step[0],
            slope: self.slope + step[1] / half_along,
            bow: self.bow + step[2] / half_along.powi(2),
        }
    }
    /// Whether it is a line at all.
    #[must_use]
    pub fn is_finite(&self) -> bool {
        [self.offset, self.slope, self.bow].iter().all(|part| part.is_finite())
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
