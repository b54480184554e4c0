//! Strengths of the three channels with their covariance, and the parts of an uncertainty.

use crate::measured::{Measured, NotAMeasurement};
use crate::profile::{BudgetKind, BudgetLine};
use crate::quantity::{Quantity, Stops};

/// Strength of red, green and blue of one setting, in stops, at the frame's centre.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChannelStrengths {
    /// Stops per channel.
    pub stops: [f64; 3],
    /// Covariance in stops squared; what is common to the channels cancels in differences.
    pub covariance: [[f64; 3]; 3],
    /// Effective degrees of freedom per channel.
    pub dof: [f64; 3],
    /// Effective degrees of freedom of a difference between channels.
    pub difference_dof: f64,
}

impl ChannelStrengths {
    /// One channel (0 red, 1 green, 2 blue) as a measured value.
    ///
    /// # Errors
    /// Where the numbers are not finite.
    pub fn channel(&self, channel: usize) -> Result<Measured<Stops>, NotAMeasurement> {
        let u = self.covariance[channel][channel].max(0.0).sqrt();
        Measured::new(Stops::wrap(self.stops[channel]), u, self.dof[channel])
    }
    /// Channel `a` minus channel `b`, with what they share taken out.
    ///
    /// # Errors
    /// Where the numbers are not finite.
    pub fn difference(&self, a: usize, b: usize) -> Result<Measured<Stops>, NotAMeasurement> {
        let c = &self.covariance;
        let u = (c[a][a] + c[b][b] - 2.0 * c[a][b]).max(0.0).sqrt();
        Measured::new(Stops::wrap(self.stops[a] - self.stops[b]), u, self.difference_dof)
    }
}

/// Where a part of the uncertainty comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// Photon and read noise.
    Noise,
    /// Random walk of the light.
    Walk,
    /// Scatter of repeats beyond both.
    Repeats,
    /// Drift of the light.
    Drift,
    /// Shutter times.
    Shutter,
    /// Powers of two or the numbers shown behind dial times.
    Dial,
    /// What lies between several explanations of the frames.
    Hypotheses,
    /// A ring that is set by hand.
    Ring,
    /// ISO or aperture changed.
    Gain,
    /// Black level.
    Black,
    /// Levels that bend away from a line against light.
    Linearity,
    /// Tone curve of a picture that is not raw.
    ToneCurve,
    /// Frames of one state that disagree.
    Contradiction,
}

impl Source {
    /// Plain name for the budget.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Noise => "photon and read noise",
            Self::Walk => "unsteadiness of the light",
            Self::Repeats => "scatter of repeated frames",
            Self::Drift => "drift of the light",
            Self::Shutter => BudgetLine::SHUTTER,
            Self::Dial => "dial times or powers of two",
            Self::Hypotheses => "frames that allow several explanations",
            Self::Ring => "setting the ring by hand",
            Self::Gain => "gain between ISO settings or apertures",
            Self::Black => BudgetLine::BLACK,
            Self::Linearity => BudgetLine::LINEARITY,
            Self::ToneCurve => "tone curve of a picture",
            Self::Contradiction => "frames that contradict each other",
        }
    }
    /// Type A or B (JCGM 100:2008, 4.2 and 4.3).
    #[must_use]
    pub fn kind(self) -> BudgetKind {
        match self {
            Self::Noise | Self::Repeats => BudgetKind::A,
            Self::Walk
            | Self::Drift
            | Self::Shutter
            | Self::Dial
            | Self::Hypotheses
            | Self::Ring
            | Self::Gain
            | Self::Black
            | Self::Linearity
            | Self::ToneCurve
            | Self::Contradiction => BudgetKind::B,
        }
    }
}

/// One part of the uncertainty of a strength.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BudgetPart {
    /// Where it comes from.
    pub source: Source,
    /// Standard uncertainty, stops.
    pub stops: f64,
}
