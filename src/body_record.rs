//! What was measured of a camera body, schema `lightloss-camera/1`: true shutter times, linearity,
//! black, noise. Plain data; `measure --camera` reads it.

use crate::frame::Camera;
use crate::quantity::{Counts, Iso, Percent, Seconds, Stops};
use serde::{Deserialize, Serialize};

/// The schema's name; its number is a major version.
pub const SCHEMA: &str = "lightloss-camera/1";

/// The whole document.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BodyRecord {
    /// Always [`SCHEMA`].
    pub schema: String,
    /// Whose it is.
    pub body: Body,
    /// True times, shortest first. Only their ratios are measured: on the whole they are set to
    /// agree with powers of two.
    pub times: Vec<MeasuredTime>,
    /// Covariance of the logarithms of the true times, stops squared, in the order of `times`.
    pub covariance_stops2: Vec<Vec<f64>>,
    /// How far levels are from proportional to exposure.
    pub linearity: Linearity,
    /// Black level against time, from frames with the lens capped.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub black: Option<Black>,
    /// Noise of a pixel of the green channels, from pairs of frames.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub noise: Option<Noise>,
    /// Scatter of one frame, stops.
    pub scatter_stops: Stops,
    /// Frames that made it.
    pub frames: Vec<String>,
}

/// Maker, model and serial number as the files tell them.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Body {
    /// Maker.
    pub make: Option<String>,
    /// Model.
    pub model: Option<String>,
    /// Serial number.
    pub serial: Option<String>,
}

impl Body {
    /// Whose file it is.
    #[must_use]
    pub fn of(camera: &Camera) -> Self {
        let Camera { make, model, serial, .. } = camera.clone();
        Self { make, model, serial }
    }
    /// As its owner would call it.
    #[must_use]
    pub fn name(&self) -> String {
        let model = self.model.as_deref().unwrap_or_default();
        // Many makers write their name into the model too.
        let make = self.make.as_deref().filter(|make| !model.starts_with(make));
        let serial =
            self.serial.as_deref().filter(|s| !s.is_empty()).map(|s| format!("number {s}"));
        let words: Vec<&str> =
            [make, Some(model), serial.as_deref()].into_iter().flatten().collect();
        let name = words.join(" ");
        if name.trim().is_empty() { "an unnamed body".to_owned() } else { name.trim().to_owned() }
    }
}

/// One time of the dial.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct MeasuredTime {
    /// As files hold it.
    pub shown_s: Seconds,
    /// As it is.
    pub true_s: Seconds,
    /// Standard uncertainty of it against the other times, stops.
    pub u_stops: Stops,
    /// Frames at this time.
    pub frames: usize,
}

/// EMVA 1288 linearity error, and the bend that the fit of the times found.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Linearity {
    /// Mean deviation from the line through 5 to 95 % of saturation, percent of the line (EMVA 1288
    /// release 3.1, 6.7: the sum of relative deviations squared is least).
    pub error_percent: Percent,
    /// Stops by which the level at full scale is off when it is right in the dark.
    pub bend_stops: Stops,
    /// Standard uncertainty of that.
    pub bend_u_stops: Stops,
}

/// Black of the green channels above what the file or its border tells.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Black {
    /// ISO of the frames.
    pub iso: Option<Iso>,
    /// At the shortest times, counts.
    pub offset: Counts,
    /// Counts per second by which it creeps up.
    pub creep_per_s: Counts,
    /// Most that a block of the frame lies above its centre, counts per second.
    pub glow_per_s: Counts,
}

/// Photon transfer, EMVA 1288: variance = gain x level + reading squared.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Noise {
    /// ISO of the frames.
    pub iso: Option<Iso>,
    /// Counts per electron.
    pub gain: f64,
    /// Noise of reading, counts.
    pub reading: Counts,
}

/// Why a record could not be read.
#[derive(Debug, thiserror::Error)]
pub enum BodyRecordError {
    /// Not JSON, or JSON of another shape.
    #[error("not a camera's record: {0}; make it anew with lightloss camera")]
    Malformed(#[from] serde_json::Error),
    /// Another document or a later version.
    #[error("schema is {0:?}, expected {SCHEMA:?}; make it anew with lightloss camera")]
    Foreign(String),
    /// A time or uncertainty that is none.
    #[error("{0} is no time or no uncertainty of one; make it anew with lightloss camera")]
    Absurd(f64),
}

impl BodyRecord {
    /// Reads a document.
    ///
    /// # Errors
    /// [`BodyRecordError`].
    pub fn parse(text: &str) -> Result<Self, BodyRecordError> {
        let record: Self = serde_json::from_str(text)?;
        if record.schema != SCHEMA {
            return Err(BodyRecordError::Foreign(record.schema));
        }
        for time in &record.times {
            let off = (time.true_s.get() / time.shown_s.get()).log2().abs();
            if !off.is_finite() || off > 1.0 {
                return Err(BodyRecordError::Absurd(time.true_s.get()));
            }
            if !(0.0..1.0).contains(&time.u_stops.get()) {
                return Err(BodyRecordError::Absurd(time.u_stops.get()));
            }
        }
        Ok(record)
    }
    /// The document's text, indented, with a final line end.
    ///
    /// # Errors
    /// Where a number in it is not finite.
    pub fn to_text(&self) -> Result<String, BodyRecordError> {
        Ok(format!("{}\n", serde_json::to_string_pretty(self)?))
    }
    /// The time behind what a file of this body shows.
    #[must_use]
    pub fn time(&self, body: &Body, shown: Seconds) -> Option<MeasuredTime> {
        let same = |t: &&MeasuredTime| (t.shown_s.get() / shown.get() - 1.0).abs() < SAME;
        if *body == self.body { self.times.iter().find(same).copied() } else { None }
    }
}

/// Two files show one time when their numbers agree to this share; neighbouring times of a dial
/// differ by a tenth at least.
const SAME: f64 = 1e-3;
