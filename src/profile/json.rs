//! Profile documents as JSON: reading, versions, writing, the published schema.

use super::plausible::{Disagreement, disagreement, implausible};
use super::{Profile, SCHEMA};
use crate::text::{lines, one_line};
use serde::Deserialize;
use serde_json::Value;

/// A document as it was read: whatever rewrites it writes `value`, so that fields this version
/// does not know survive.
#[derive(Clone, Debug, PartialEq)]
pub struct Document {
    /// Everything that stood in the file.
    pub value: Value,
    /// The part this version understands.
    pub profile: Profile,
}

/// Why a profile could not be read or written.
#[derive(Debug, thiserror::Error)]
pub enum JsonError {
    /// Not JSON, or JSON of another shape.
    #[error("not a readable profile ({0}); give a profile.json that lightloss wrote")]
    Malformed(serde_json::Error),
    /// A later major version.
    #[error(
        "the profile has schema {found:?}, this program reads {SCHEMA:?}; use a later version of lightloss"
    )]
    Later {
        /// As found.
        found: String,
    },
    /// Some other document.
    #[error(
        "the document has {}, expected {SCHEMA:?}; give a profile.json that lightloss wrote",
        named(found)
    )]
    Foreign {
        /// As found, empty where there is none.
        found: String,
    },
    /// A number in it is beyond any filter or camera.
    #[error("the profile cannot be right: {place} is {found}; mend it, or measure again")]
    Implausible {
        /// Where it stands, its keys joined by `/`.
        place: String,
        /// The number.
        found: f64,
    },
    /// Two numbers that ought to be one.
    #[error(
        "the profile contradicts itself: {place} is {found}, and by {other} it is {told:.3}; mend it, or \
         measure again"
    )]
    Disagreeing {
        /// Where the first stands, its keys joined by `/`.
        place: String,
        /// What it is.
        found: f64,
        /// Where the second stands.
        other: String,
        /// What the first would be by it.
        told: f64,
    },
    /// Its filter has no name.
    #[error("the profile names no filter: filter/name is {found:?}; write its name there")]
    Nameless {
        /// As found.
        found: String,
    },
    /// The same in one that was just measured.
    #[error(
        "no filter has {place} {found}; look at the frames' times and levels with lightloss frames"
    )]
    Unbelievable {
        /// Where it stands, its keys joined by `/`.
        place: String,
        /// The number.
        found: f64,
    },
    /// A number in it is not finite.
    #[error("the profile cannot be written: {0}")]
    Unwritable(serde_json::Error),
}

fn named(schema: &str) -> String {
    if schema.is_empty() { "no schema".to_owned() } else { format!("schema {schema:?}") }
}

impl Document {
    /// Reads a document.
    ///
    /// # Errors
    /// Malformed JSON, a later schema number, another document altogether, or numbers that cannot
    /// be.
    pub fn parse(text: &str) -> Result<Self, JsonError> {
        let value: Value = serde_json::from_str(text).map_err(JsonError::Malformed)?;
        let found = value.get("schema").and_then(Value::as_str).unwrap_or_default().to_owned();
        if found != SCHEMA {
            let number = found.strip_prefix("lightloss-profile/").map(str::parse::<u64>);
            return Err(match number {
                Some(Ok(n)) if n > 1 => JsonError::Later { found },
                _ => JsonError::Foreign { found },
            });
        }
        if let Some((place, found)) = implausible(&value) {
            return Err(JsonError::Implausible { place, found });
        }
        if let Some(Disagreement { place, found, other, told }) = disagreement(&value) {
            return Err(JsonError::Disagreeing { place, found, other, told });
        }
        let name = value.pointer("/filter/name").and_then(Value::as_str);
        if let Some(empty) = name.filter(|name| one_line(name).is_empty()) {
            return Err(JsonError::Nameless { found: empty.to_owned() });
        }
        let profile =
            Profile::deserialize(one_line_each(value.clone())).map_err(JsonError::Malformed)?;
        Ok(Self { value, profile })
    }
}

/// The document with every text in one line that pages, tables and terminals can show.
pub(crate) fn one_line_each(value: Value) -> Value {
    match value {
        Value::String(text) => Value::String(one_line(&text)),
        Value::Array(list) => list.into_iter().map(one_line_each).collect(),
        Value::Object(map) => {
            let shown = |(key, value): (String, Value)| match value {
                // What a caution says may name commands, each in a line of its own.
                Value::String(text) if key == "text" => (key, Value::String(lines(&text))),
                other => (key, one_line_each(other)),
            };
            map.into_iter().map(shown).collect()
        }
        other => other,
    }
}

/// The document's text, indented, with a final line end.
///
/// # Errors
/// Where a number in it is not finite, or none that [`Document::parse`] would take again.
pub fn to_text(profile: &Profile) -> Result<String, JsonError> {
    let value = serde_json::to_value(profile).map_err(JsonError::Unwritable)?;
    if let Some((place, found)) = implausible(&value) {
        return Err(JsonError::Unbelievable { place, found });
    }
    let mut text = serde_json::to_string_pretty(profile).map_err(JsonError::Unwritable)?;
    text.push('\n');
    Ok(text)
}

/// The program's own JSON Schema (2020-12) for its profiles.
#[must_use]
pub fn schema() -> Value {
    schemars::schema_for!(Profile).to_value()
}
