//! What a camera record did for the strengths.

use crate::quantity::Stops;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The camera record that shutter times were taken from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ShutterRecord {
    /// The day its frames were made, where they tell.
    pub made_on: Option<String>,
    /// The dial time that its times are relative to.
    pub reference: String,
    /// Dial times of this shoot that it holds.
    pub times_known: Vec<String>,
    /// Dial times of this shoot that it does not hold, taken as without a record.
    pub times_not_known: Vec<String>,
    /// u95 of each setting's strength as it would be without the record.
    pub u95_without_stops: Vec<Stops>,
}
