//! `shoot.json`: what the frames of a shoot are, said by a plan or by hand.
//!
//! The plan writes the filter and the shots in order; whoever edits it may name files. Where such
//! a document lies in a shoot's folder it is taken at its word.

use crate::exposure::{TimeError, Times, parse_time};
use crate::profile::json::one_line_each;
use crate::profile::{Form, Kind};
use crate::quantity::{Degrees, FNumber, Iso, Millimetres, Seconds, Stops};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

/// The schema's name; its number is a major version.
pub const SCHEMA: &str = "lightloss-shoot/1";

/// The file's name in a shoot's folder.
pub const FILE_NAME: &str = "shoot.json";

/// What a shot is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ShotState {
    /// Without the filter.
    Bare,
    /// Through the filter.
    Filtered,
    /// Lens capped.
    Dark,
    /// An opaque card in the filter's place.
    Leak,
    /// The filter turned as a whole, to see whether the light is polarised.
    LightCheck,
    /// Dark cloth round holder and mount.
    Cloth,
    /// Something else that dims the light, to carry the ratio of shutter times over.
    Bridge,
}

/// The document.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ShootFile {
    /// Always [`SCHEMA`].
    pub schema: String,
    /// The filter.
    #[serde(default)]
    pub filter: ShootFilter,
    /// How times are to be read; as dial times where absent.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub times: Option<TimesRead>,
    /// Focal length in millimetres, where the files do not tell.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub focal: Option<Millimetres>,
    /// Sensor size in millimetres, "36x24", where the files do not tell.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sensor: Option<String>,
    /// Aperture, for a lens without contacts.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub f_number: Option<FNumber>,
    /// ISO setting, where the files do not tell.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub iso: Option<Iso>,
    /// Shots in the order they are to be made.
    #[serde(default)]
    pub planned: Vec<PlannedShot>,
    /// Frames named one by one; they win over the plan.
    #[serde(default)]
    pub frames: Vec<NamedFrame>,
    /// Fields that this version does not know.
    #[serde(flatten)]
    pub more: Map<String, Value>,
}

/// How times are to be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum TimesRead {
    /// Dial times hide powers of two.
    Dial,
    /// The numbers as they are.
    Exact,
}

impl From<TimesRead> for Times {
    fn from(times: TimesRead) -> Self {
        match times {
            TimesRead::Dial => Self::Dial,
            TimesRead::Exact => Self::Exact,
        }
    }
}

/// The filter, as far as its owner knows it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ShootFilter {
    /// Name.
    #[serde(default)]
    pub name: Option<String>,
    /// Sort of filter; told from the frames where absent.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub kind: Option<Kind>,
    /// Rated strength in stops; two numbers for a variable filter's range.
    #[serde(default)]
    pub rated: Vec<Stops>,
    /// Size as engraved.
    #[serde(default)]
    pub size: Option<String>,
    /// Screw-in or slot.
    #[serde(default)]
    pub form: Option<Form>,
    /// A note to keep.
    #[serde(default)]
    pub note: Option<String>,
    /// Fields that this version does not know.
    #[serde(flatten)]
    pub more: Map<String, Value>,
}

/// Frames of one state, to be made one after the other.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlannedShot {
    /// From 1.
    pub order: u32,
    /// What it is of.
    pub state: ShotState,
    /// Mark of a variable ring.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub mark: Option<String>,
    /// Rotation of the whole filter in its thread.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub rotation: Option<Degrees>,
    /// Focal length to set.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub focal: Option<Millimetres>,
    /// Time as the dial shows it, or a length for bulb, e.g. "2m08s".
    pub dial_time: String,
    /// How many frames.
    pub count: u32,
    /// Fields that this version does not know.
    #[serde(flatten)]
    pub more: Map<String, Value>,
}

/// One frame by its file.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NamedFrame {
    /// Path relative to the shoot's folder.
    pub file: String,
    /// What it is of; where absent the plan or the frame itself tells.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub state: Option<ShotState>,
    /// Mark of a variable ring.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub mark: Option<String>,
    /// Rotation of the whole filter in its thread.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub rotation: Option<Degrees>,
    /// Exposure time where the file does not tell the true one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub time: Option<WrittenTime>,
    /// Aperture where the file does not tell the true one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub f_number: Option<FNumber>,
    /// ISO setting where the file does not tell the true one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub iso: Option<Iso>,
    /// Not to be used.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub left_out: bool,
    /// A note to keep.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub note: Option<String>,
    /// Fields that this version does not know.
    #[serde(flatten)]
    pub more: Map<String, Value>,
}

/// A time as somebody writes it: seconds, or "1/15", "2m08s".
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum WrittenTime {
    /// Seconds.
    Number(f64),
    /// Text as on the command line.
    Text(String),
}

impl WrittenTime {
    /// The time in seconds.
    ///
    /// # Errors
    /// [`TimeError`] where it is none.
    pub fn seconds(&self) -> Result<Seconds, TimeError> {
        let text = match self {
            Self::Number(number) => number.to_string(),
            Self::Text(text) => text.clone(),
        };
        Ok(parse_time(&text)?.seconds())
    }
}

/// Why a document could not be read.
#[derive(Debug, thiserror::Error)]
pub enum ShootFileError {
    /// Not JSON, or JSON of another shape.
    #[error("shoot.json is not readable: {0}; mend it, or take it out of the folder")]
    Malformed(#[from] serde_json::Error),
    /// A later version.
    #[error(
        "shoot.json has schema {0:?}, this program reads {SCHEMA:?}; use a later version of lightloss, \
         or take it out of the folder"
    )]
    Later(String),
    /// Another document.
    #[error(
        "shoot.json has schema {0:?}, expected {SCHEMA:?}; mend it, or take it out of the folder"
    )]
    Foreign(String),
}

impl ShootFile {
    /// A document that says nothing yet.
    #[must_use]
    pub fn empty() -> Self {
        Self {
            schema: SCHEMA.to_owned(),
            filter: ShootFilter::default(),
            times: None,
            focal: None,
            sensor: None,
            f_number: None,
            iso: None,
            planned: Vec::new(),
            frames: Vec::new(),
            more: Map::new(),
        }
    }

    /// Reads a document.
    ///
    /// # Errors
    /// [`ShootFileError`].
    pub fn parse(text: &str) -> Result<Self, ShootFileError> {
        // A later version may differ in anything else.
        let value: Value = serde_json::from_str(text)?;
        let schema = value.get("schema").and_then(Value::as_str).unwrap_or_default();
        let number = schema.strip_prefix("lightloss-shoot/").map(str::parse::<u64>);
        if matches!(number, Some(Ok(number)) if number > 1) {
            return Err(ShootFileError::Later(schema.to_owned()));
        }
        // As it stands, since its faults have a line.
        let _: Self = serde_json::from_str(text)?;
        let file: Self = serde_json::from_value(one_line_each(value))?;
        if file.schema == SCHEMA { Ok(file) } else { Err(ShootFileError::Foreign(file.schema)) }
    }

    /// The document's text, indented, with a final line end.
    ///
    /// # Errors
    /// Where a number in it is not finite.
    pub fn to_text(&self) -> Result<String, ShootFileError> {
        Ok(format!("{}\n", serde_json::to_string_pretty(self)?))
    }
}
