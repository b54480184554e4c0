//! Camera records as JSON: reading, checking, writing.

use super::triangle::factor;
use super::{BodyRecord, SCHEMA};
use crate::exposure::limits::TIME_S;
use crate::profile::json::one_line_each;
use serde::Deserialize;
use serde_json::Value;

/// Most times of a dial.
const MOST_TIMES: usize = 256;
/// A shutter is off by less than this, stops; a record's doubt is smaller.
const MOST_STOPS: f64 = 1.0;

/// Why a camera record could not be read or written.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// Not JSON, or JSON of another shape.
    #[error("not a readable camera record ({0}); make it again with lightloss camera --replace")]
    Malformed(serde_json::Error),
    /// A later version, or some other document.
    #[error(
        "the document has schema {found:?}, this program reads {SCHEMA:?}; give a camera record that \
         this version of lightloss wrote"
    )]
    Schema {
        /// As found, empty where there is none.
        found: String,
    },
    /// It reads, and cannot be right.
    #[error(
        "the camera record cannot be right: {0}; make it again with lightloss camera --replace"
    )]
    Unsound(String),
    /// A number in it is not finite.
    #[error("the camera record cannot be written: {0}")]
    Unwritable(serde_json::Error),
}

impl BodyRecord {
    /// Reads a document.
    ///
    /// # Errors
    /// Malformed JSON, another schema, or numbers that cannot be.
    pub fn parse(text: &str) -> Result<Self, RecordError> {
        let value: Value = serde_json::from_str(text).map_err(RecordError::Malformed)?;
        let found = value.get("schema").and_then(Value::as_str).unwrap_or_default();
        if found != SCHEMA {
            return Err(RecordError::Schema { found: found.to_owned() });
        }
        let record = Self::deserialize(one_line_each(value)).map_err(RecordError::Malformed)?;
        record.sound()?;
        Ok(record)
    }

    /// The document's text, indented, with a final line end.
    ///
    /// # Errors
    /// Where a number in it is not finite, or none that [`BodyRecord::parse`] would take again.
    pub fn to_text(&self) -> Result<String, RecordError> {
        self.sound()?;
        let mut text = serde_json::to_string_pretty(self).map_err(RecordError::Unwritable)?;
        text.push('\n');
        Ok(text)
    }

    fn sound(&self) -> Result<(), RecordError> {
        let unsound = |why: String| Err(RecordError::Unsound(why));
        let times = &self.times;
        if times.list.is_empty() || times.list.len() > MOST_TIMES {
            return unsound(format!("it holds {} times", times.list.len()));
        }
        if !(0.0..=1.0).contains(&times.as_shown) {
            return unsound(format!("as_shown is {}", times.as_shown));
        }
        for t in &times.list {
            let (shown, open) = (t.shown_s.get(), t.true_s.get());
            let possible = TIME_S.contains(&shown) && TIME_S.contains(&open);
            let deviation = t.deviation_stops.get();
            let near = (open / shown).log2().abs() < MOST_STOPS
                && ((open / shown).log2() - deviation).abs() < 1e-3;
            if !(possible && near) {
                return unsound(format!("a true time of {open} s stands behind {shown} s"));
            }
            if !(0.0..=MOST_STOPS).contains(&t.u95_stops.get()) {
                return unsound(format!("u95 of {} is {} stops", t.dial, t.u95_stops.get()));
            }
        }
        if times.list.windows(2).any(|w| w[0].shown_s >= w[1].shown_s) {
            return unsound("its times do not rise".to_owned());
        }
        if self.reference().is_none() {
            return unsound(format!("its reference {:?} is none of its times", times.reference));
        }
        let doubts = times.covariance.iter().filter_map(|row| row.last());
        let small = doubts.clone().all(|v| (0.0..=MOST_STOPS).contains(v));
        if times.covariance.len() != times.list.len()
            || !small
            || factor(&times.covariance).is_none()
        {
            return unsound("what it holds as covariance is none".to_owned());
        }
        self.linearity.as_ref().map_or(Ok(()), |line| {
            if line.is_sound() {
                Ok(())
            } else {
                unsound("what it holds as linearity is none".to_owned())
            }
        })
    }
}

/// Whether a document says that it is a camera record, of whatever version.
#[must_use]
pub fn is_camera_record(text: &str) -> bool {
    let said = serde_json::from_str::<Value>(text).ok();
    let schema = said.as_ref().and_then(|value| value.get("schema")?.as_str());
    schema.is_some_and(|name| name.split('/').next() == SCHEMA.split('/').next())
}

/// The program's own JSON Schema (2020-12) for its camera records.
#[must_use]
pub fn schema() -> Value {
    schemars::schema_for!(BodyRecord).to_value()
}
