//! A decoded frame: samples, layout, levels and what is known of its taking.
//!
//! Lives only until it is reduced to a [`crate::reduce::grid::FrameSummary`].

pub mod cfa;
pub mod counts;
pub mod patch;

use crate::quantity::{FNumber, Iso, Millimetres, Seconds};
use cfa::Cfa;
use counts::Counts;
use jiff::civil::DateTime;
use serde::{Deserialize, Serialize};

/// A rectangle of pixels; `left` and `top` count from the first stored pixel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Area {
    /// First column.
    pub left: usize,
    /// First row.
    pub top: usize,
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
}

/// Raw counts as the sensor gave them, row by row, black not subtracted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mosaic {
    /// Stored columns.
    pub width: usize,
    /// Stored rows.
    pub height: usize,
    /// `width * height` counts.
    pub data: Counts,
}

/// Three-channel picture of linear light, interleaved red, green, blue; 65535 is white unless the
/// levels say otherwise.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LinearRgb {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// `3 * width * height` values.
    pub data: Counts,
}

/// What the file held.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Samples {
    /// One count per pixel behind a colour filter array.
    Raw(Mosaic, Cfa),
    /// Three linear values per pixel.
    Rendered(LinearRgb),
}

impl Samples {
    /// Values of a pixel.
    #[must_use]
    pub fn channels(&self) -> usize {
        match self {
            Self::Raw(..) => 1,
            Self::Rendered(_) => 3,
        }
    }
}

/// Black levels that repeat over the stored frame with a period of `rows` x `columns`, counted
/// from the **active area's** origin.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BlackPattern {
    /// Rows of the repeat.
    pub rows: usize,
    /// Columns of the repeat.
    pub columns: usize,
    /// `rows * columns` levels in counts, fractional ones too.
    pub values: Vec<f64>,
}

impl BlackPattern {
    /// One level everywhere.
    #[must_use]
    pub fn uniform(level: f64) -> Self {
        Self { rows: 1, columns: 1, values: vec![level] }
    }
    /// The level at a pixel of the active area.
    #[must_use]
    pub fn at(&self, row: usize, column: usize) -> f64 {
        self.values[(row % self.rows) * self.columns + column % self.columns]
    }
}

/// Black and white levels in counts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Levels {
    /// From the file's tag (or the camera table).
    pub black: BlackPattern,
    /// Counts from which a pixel is taken as clipped.
    pub white: u16,
}

/// Where the numbers come from, as it bears on trust.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Origin {
    /// Sensor counts.
    Raw,
    /// A demosaiced DNG of linear light.
    LinearDng,
    /// A picture whose display encoding was undone (sRGB).
    DisplayPicture,
    /// A picture that the user says holds linear light.
    LinearPicture,
}

impl Origin {
    /// Whether its channels are those of the sensor, which nobody has balanced yet.
    #[must_use]
    pub fn is_raw(self) -> bool {
        matches!(self, Self::Raw | Self::LinearDng)
    }
}

/// Exposure as recorded; `None` means unknown, never "another".
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Exposure {
    /// Exif ExposureTime as it stands (a dial time, or an exact one).
    pub time: Option<Seconds>,
    /// ExposureTime is missing, and `time` is the dial time that ShutterSpeedValue stands for, or the
    /// time that it gives where it stands for none.
    #[serde(default)]
    pub from_apex: bool,
    /// The time from Exif ShutterSpeedValue (APEX), which often holds the true power of two.
    pub apex_time: Option<Seconds>,
    /// The file says bulb.
    pub bulb: bool,
    /// Aperture; `None` for a lens without contacts.
    pub f_number: Option<FNumber>,
    /// ISO setting.
    pub iso: Option<Iso>,
}

/// Body and lens.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Camera {
    /// Maker, trimmed.
    pub make: Option<String>,
    /// Model, trimmed.
    pub model: Option<String>,
    /// Body serial number.
    pub serial: Option<String>,
    /// Lens model.
    pub lens: Option<String>,
    /// Focal length as set.
    pub focal_length: Option<Millimetres>,
    /// Its 35 mm equivalent.
    pub focal_length_35mm: Option<Millimetres>,
    /// How closely the pixels lie on the sensor.
    pub focal_plane: Option<FocalPlane>,
}

/// Resolution on the sensor, as a file tells it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FocalPlane {
    /// Pixels per millimetre, along the picture's width and height.
    pub per_mm: [f64; 2],
    /// Width and height of the picture whose pixels are meant; the frame's own where unknown.
    pub pixels: Option<[f64; 2]>,
}

/// A matrix from CIE XYZ to camera RGB, row-major, with the light it was made for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ColourMatrix {
    /// Exif LightSource code (17 = standard illuminant A, 21 = D65), `None` where unknown.
    pub illuminant: Option<u16>,
    /// Nine numbers.
    pub xyz_to_camera: [f64; 9],
    /// "file" or "camera table".
    pub source: String,
}

/// When and in what order.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Capture {
    /// Local capture time with sub-seconds (Exif DateTimeOriginal, taken as the exposure's start).
    pub at: Option<DateTime>,
    /// Offset from UTC as written (Exif OffsetTimeOriginal), e.g. "+02:00".
    pub offset: Option<String>,
}

/// Everything known of a frame but its samples.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FrameInfo {
    /// The name as shown to the user: the path relative to the shoot folder, with `/`.
    pub file: String,
    /// SHA-256 of the file's bytes, lower-case hexadecimal.
    pub sha256: String,
    /// Raw or not.
    pub origin: Origin,
    /// Body and lens.
    pub camera: Camera,
    /// Exposure.
    pub exposure: Exposure,
    /// Capture time.
    pub capture: Capture,
    /// Exif orientation, 1 to 8.
    pub orientation: u8,
    /// As-shot neutral (camera RGB of neutral, green = 1).
    pub as_shot_neutral: Option<[f64; 3]>,
    /// Colour matrices, empty where none is known.
    pub matrices: Vec<ColourMatrix>,
    /// In-camera long-exposure noise reduction, where the file tells.
    pub noise_reduction: Option<bool>,
    /// What the photographer wrote into the file: keywords (XMP dc:subject), then the description.
    pub subject: Vec<String>,
}

/// A decoded frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Frame {
    /// Counts or linear light.
    pub samples: Samples,
    /// The part that sees light through the lens.
    pub active: Area,
    /// Optically black parts, possibly none.
    pub masked: Vec<Area>,
    /// Black and white.
    pub levels: Levels,
    /// The rest.
    pub info: FrameInfo,
}
