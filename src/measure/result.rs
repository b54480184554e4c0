//! The measured result: values with their uncertainty, degrees of freedom and covariance, as the
//! stages return them. [`super::record`] alone makes a document of it.

use super::About;
use super::cast::CastResult;
use super::evenness::Found;
use super::fit::{Fit, Reading};
use super::kinds::OfKind;
use super::readings::Used;
use super::strength::ChannelStrengths;
use crate::caution::Caution;
use crate::measured::Measured;
use crate::profile::{SensorSize, ShutterRecord, Vignetting};
use crate::quantity::{Millimetres, Stops};
use crate::shoot::Shoot;

/// A shoot that is measured in the frame's centre: the strength and cast of every setting.
#[derive(Clone, Debug)]
pub struct Centre<'a> {
    /// The sorted shoot.
    pub shoot: &'a Shoot,
    /// What is claimed of the filter.
    pub about: &'a About,
    /// The frames that made the numbers.
    pub used: Vec<Used<'a>>,
    /// Their levels, as the fit took them.
    pub readings: Vec<Reading>,
    /// The joint fit.
    pub fit: Fit,
    /// One per state, in the shoot's order.
    pub settings: Vec<SettingResult>,
    /// Focal length, as the user or the files say.
    pub focal_length: Option<Millimetres>,
    /// Sensor size, as the user or the files say.
    pub sensor: Option<SensorSize>,
    /// The camera record that true times were taken from.
    pub shutter_record: Option<ShutterRecord>,
    /// What is doubtful of the whole shoot.
    pub cautions: Vec<Caution>,
}

/// One state of the filter in the frame's centre.
#[derive(Clone, Debug)]
pub struct SettingResult {
    /// Position of a ring.
    pub mark: Option<String>,
    /// Red, green and blue with what they share.
    pub strengths: ChannelStrengths,
    /// Each channel alone.
    pub channels: [Measured<Stops>; 3],
    /// What it does to colours.
    pub cast: CastResult,
    /// What is doubtful of it.
    pub cautions: Vec<Caution>,
}

impl SettingResult {
    /// The headline: green.
    #[must_use]
    pub fn strength(&self) -> &Measured<Stops> {
        &self.channels[1]
    }
    /// What a setting is called where its ring has no label for it.
    #[must_use]
    pub fn label(&self, index: usize) -> String {
        self.mark.clone().unwrap_or_else(|| (index + 1).to_string())
    }
}

/// Everything across the frame.
#[derive(Clone, Debug)]
pub struct Across {
    /// What the map of each setting tells.
    pub found: Vec<Option<Found>>,
    /// Shading by rings or a holder.
    pub vignetting: Option<Vignetting>,
    /// What belongs to this kind of filter.
    pub of_kind: OfKind,
    /// What is doubtful of the filter as one of its kind.
    pub cautions: Vec<Caution>,
}
