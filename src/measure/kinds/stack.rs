//! A stack of filters: what its single profiles foretell beside what was measured.

use crate::measured::Measured;
use crate::profile::{StackRecord, StopsU95};
use crate::quantity::Stops;

/// One filter of a stack, from its own profile.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Name.
    pub name: String,
    /// Strength in the frame's centre.
    pub strength: StopsU95,
}

/// What the parts foretell beside what was measured; `None` without parts. Strengths add,
/// independent doubts by their squares.
#[must_use]
pub fn stack(measured: &Measured<Stops>, parts: &[Part]) -> Option<StackRecord> {
    if parts.is_empty() {
        return None;
    }
    let sum: f64 = parts.iter().map(|p| p.strength.stops.get()).sum();
    let u95 = parts.iter().map(|p| p.strength.u95.get().powi(2)).sum::<f64>().sqrt();
    let difference = StopsU95 {
        stops: Stops::new(measured.value().get() - sum),
        u95: Stops::new(u95.hypot(measured.u95().get())),
    };
    Some(StackRecord {
        parts: parts.iter().map(|p| p.name.clone()).collect(),
        predicted: StopsU95 { stops: Stops::new(sum), u95: Stops::new(u95) },
        difference,
    })
}
