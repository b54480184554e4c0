//! The camera record: what was measured of one camera body before a bare wall, kept beside the kit
//! and taken up by later shoots of that body. Plain data, schema `lightloss-camera/1`; reading and
//! checking: [`json`]. What a profile says of the camera that it was made with is something else
//! ([`crate::profile::CameraRecord`]).

pub mod json;
pub mod triangle;

use crate::exposure::DialTime;
use crate::numerics::least_squares::slope_within;
use crate::profile::MadeBy;
use crate::quantity::{Counts, Iso, Percent, Seconds, Stops};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

/// The schema's name; its number is a major version.
pub const SCHEMA: &str = "lightloss-camera/1";

/// Two recorded times are the same dial time where they differ by less, as a share (a dial's steps
/// differ by a hundred times as much).
const SAME: f64 = 2e-3;

/// Shorter times show the curtains' own microseconds, seconds.
pub const CLOCKED_S: f64 = 1.0 / 125.5;
/// So many times tell how far the others may be off (ours).
const ENOUGH_TIMES: usize = 8;

macro_rules! record {
    ($($item:item)*) => {
        $(
            #[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
            $item
        )*
    };
}

record! {
    /// The whole document.
    pub struct BodyRecord {
        /// Always [`SCHEMA`].
        pub schema: String,
        /// Who wrote it.
        pub made_by: MadeBy,
        /// Which body.
        pub body: BodyName,
        /// The frames that it was made of.
        pub frames: FramesOfBody,
        /// True shutter times.
        pub times: TimesOfBody,
        /// Deviation of levels from a line against light.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub linearity: Option<Linearity>,
        /// Black level.
        pub black: BlackOfBody,
        /// Photon and read noise.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub noise: Option<NoiseOfBody>,
        /// Light of the camera's own in dark frames.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub glow: Option<GlowOfBody>,
        /// What to mind.
        #[serde(default)]
        pub cautions: Vec<BodyCaution>,
        /// Fields that this version does not know.
        #[serde(flatten)]
        pub more: Map<String, Value>,
    }
    /// A body as its files name it.
    #[derive(Eq, Default)]
    pub struct BodyName {
        /// Maker.
        pub make: Option<String>,
        /// Model.
        pub model: Option<String>,
        /// Serial number; without one every body of the model counts as this one.
        pub serial: Option<String>,
    }
    /// The frames of a record.
    pub struct FramesOfBody {
        /// Bare frames that were used.
        pub used: u32,
        /// Those of them that two lamps made, each alone and both.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub of_two_lamps: Option<u32>,
        /// Dark frames.
        pub dark: u32,
        /// Light levels.
        pub light_levels: u32,
        /// ISO setting.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub iso: Option<Iso>,
        /// When the first was made, as its file says.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub captured_at: Option<String>,
        /// By how much the light moved over the shoot.
        pub light_moved_stops: Stops,
        /// What one frame scatters beyond its noise.
        pub scatter_stops: Stops,
        /// Frames that were left out, each with the reason.
        #[serde(default)]
        pub left_out: Vec<LeftOutFrame>,
    }
    /// A frame that was not used.
    pub struct LeftOutFrame {
        /// Its file.
        pub file: String,
        /// Why.
        pub reason: String,
    }
    /// True times of the dial: ratios to the reference, since nothing in the frames tells the length
    /// of a second.
    pub struct TimesOfBody {
        /// The dial time that all others are relative to; its own is taken as `list` gives it.
        pub reference: String,
        /// Probability that this body's dial shows true times and not powers of two.
        pub as_shown: f64,
        /// Shortest first.
        pub list: Vec<TimeOfBody>,
        /// Lower triangle of the covariance of `deviation_stops`, squared stops: one row for each of
        /// `list`, down to its own variance. 0 for the reference.
        pub covariance: Vec<Vec<f64>>,
    }
    /// One dial time.
    pub struct TimeOfBody {
        /// As the dial shows it.
        pub dial: String,
        /// The same in seconds, as files record it.
        pub shown_s: Seconds,
        /// True time against the reference.
        pub true_s: Seconds,
        /// log2 of true over shown time.
        pub deviation_stops: Stops,
        /// Of that, against the reference.
        pub u95_stops: Stops,
        /// Frames at it.
        pub frames: u32,
    }
    /// Linearity in the sense of EMVA 1288, release 4: levels against a line through them, in percent
    /// of the line.
    pub struct Linearity {
        /// Mean of the deviations' sizes between 5 and 95 % of full scale.
        pub mean_percent: Percent,
        /// The largest of them.
        pub largest_percent: Percent,
        /// By level, lowest first.
        pub points: Vec<LinearityPoint>,
    }
    /// Deviation at one level.
    pub struct LinearityPoint {
        /// Share of full scale.
        pub level_percent: Percent,
        /// Level above the line, percent of it.
        pub deviation_percent: Percent,
        /// Of that.
        pub u95_percent: Percent,
    }
    /// Black level of the green pixels in the frame's centre.
    pub struct BlackOfBody {
        /// Counts.
        pub counts: Counts,
        /// Where it comes from: dark frames, masked pixels, tag.
        pub source: String,
        /// By how much it rises with the time, counts per second; only where dark frames of several
        /// times tell.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub creep: Option<CreepOfBody>,
        /// By how much it rose from the first dark frames to the last in short exposures, where they tell
        /// that it did; it is taken off every frame.
        #[serde(skip_serializing_if = "Option::is_none", default)]
        pub drifted_counts: Option<Counts>,
    }
    /// Rise of black with the exposure time.
    pub struct CreepOfBody {
        /// Counts per second.
        pub counts_per_s: f64,
        /// Of that, counts per second.
        pub u95_counts_per_s: f64,
        /// What dark frames show, shortest time first.
        pub points: Vec<DarkPoint>,
    }
    /// Black in the dark frames of one time.
    pub struct DarkPoint {
        /// Exposure time.
        pub time_s: Seconds,
        /// Counts above the file's own black level.
        pub counts: Counts,
    }
    /// Noise of one green pixel by the photon transfer method of EMVA 1288: variance in counts
    /// squared = (counts above black) / (electrons per count) + read noise.
    pub struct NoiseOfBody {
        /// Electrons per count.
        pub electrons_per_count: f64,
        /// Of that, electrons per count.
        pub u95_electrons_per_count: f64,
        /// Noise of reading in electrons, rounding to whole counts taken off.
        pub read_noise_electrons: f64,
        /// Of that, electrons; records of earlier versions do not tell it.
        pub u95_read_noise_electrons: Option<f64>,
        /// Electrons between black and full scale.
        pub full_scale_electrons: f64,
    }
    /// Light of the camera's own.
    pub struct GlowOfBody {
        /// By how much the brightest ninth of the frame outshines its centre in the longest dark
        /// frames, counts.
        pub counts: Counts,
        /// Their time.
        pub time_s: Seconds,
        /// Where it is: "top left" and so on, as the sensor lies.
        pub place: String,
    }
    /// A doubt.
    pub struct BodyCaution {
        /// One word.
        pub code: String,
        /// What it means and what to do.
        pub text: String,
    }
}

impl BodyName {
    /// "Kelmora Two, serial number 417", with what the files tell.
    #[must_use]
    pub fn shown(&self) -> String {
        let model = self.model.clone().unwrap_or_default();
        // Many makers write their name into the model too.
        let make = self.make.clone().filter(|make| !model.starts_with(make.as_str()));
        let words: Vec<String> =
            make.into_iter().chain([model]).filter(|word| !word.is_empty()).collect();
        let name = if words.is_empty() { "unnamed camera".to_owned() } else { words.join(" ") };
        match &self.serial {
            Some(serial) => format!("{name}, serial number {serial}"),
            None => format!("{name}, no serial number"),
        }
    }
    /// Whether anything names it.
    #[must_use]
    pub fn is_named(&self) -> bool {
        self.model.is_some() || self.serial.is_some()
    }
}

/// Factor of u95 over the standard uncertainty of a sensor's line (JCGM 100:2008, 6.3.3).
pub const LINEARITY_COVERAGE: f64 = 2.0;
/// Percent that a level may lie off a line, and that its u95 may be: more is no sensor's.
const MOST_OFF_PERCENT: f64 = 50.0;

impl Linearity {
    /// Whether levels rise, and each is a share of full scale with a deviation that a sensor may have.
    fn is_sound(&self) -> bool {
        let possible = |p: &LinearityPoint| {
            let [level, off, u95] =
                [p.level_percent, p.deviation_percent, p.u95_percent].map(|percent| percent.get());
            level > 0.0
                && level <= 100.0
                && off.abs() <= MOST_OFF_PERCENT
                && (0.0..=2.0 * MOST_OFF_PERCENT).contains(&u95)
        };
        let rise = self.points.windows(2).all(|w| w[0].level_percent < w[1].level_percent);
        rise && self.points.iter().all(possible)
    }
    /// What levels lack at full scale against a line, as a share of them, by the straight line through
    /// their deviations against the level (least squares).
    #[must_use]
    pub fn bend(&self) -> f64 {
        let at = |p: &LinearityPoint| [p.level_percent.get(), p.deviation_percent.get()];
        -slope_within(std::iter::once(self.points.iter().map(at)))
    }
}

impl BodyRecord {
    /// Which of the times a recorded time is.
    #[must_use]
    pub fn at(&self, recorded: Seconds) -> Option<usize> {
        let near = |t: &TimeOfBody| (t.shown_s.get() / recorded.get() - 1.0).abs() < SAME;
        self.times.list.iter().position(near)
    }
    /// Time of the reference.
    #[must_use]
    pub fn reference(&self) -> Option<&TimeOfBody> {
        self.times.list.iter().find(|t| t.dial == self.times.reference)
    }
    /// Standard deviation of what this body's times are off their rule by, stops, of those that the
    /// clock alone makes; `None` where there are few.
    #[must_use]
    pub fn scatter(&self) -> Option<Stops> {
        let own = |t: &TimeOfBody| {
            let rule = DialTime::showing(t.shown_s).map_or(0.0, |dial| dial.difference().get());
            t.deviation_stops.get() - if self.times.as_shown > 0.5 { 0.0 } else { rule }
        };
        let clocked = self.times.list.iter().filter(|t| t.shown_s.get() >= CLOCKED_S);
        let off: Vec<f64> = clocked.map(own).collect();
        let n = off.len() as f64;
        let mean = off.iter().sum::<f64>() / n.max(1.0);
        let squares: f64 = off.iter().map(|o| (o - mean).powi(2)).sum();
        (off.len() >= ENOUGH_TIMES).then(|| Stops::new((squares / (n - 1.0)).sqrt()))
    }
    /// The day it was made, where the frames tell.
    #[must_use]
    pub fn day(&self) -> Option<&str> {
        self.frames.captured_at.as_deref().and_then(|at| at.get(..10))
    }
}
