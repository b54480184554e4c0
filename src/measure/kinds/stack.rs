//! A stack of filters: what its single profiles foretell beside what was measured.

use crate::kit::stack::{Part, together, u95_of_difference};
use crate::measured::Measured;
use crate::profile::{StackRecord, StopsU95};
use crate::quantity::Stops;

/// What the parts foretell beside what was measured; `None` without parts.
#[must_use]
pub fn stack(measured: &Measured<Stops>, parts: &[Part]) -> Option<StackRecord> {
    if parts.is_empty() {
        return None;
    }
    let (stops, u95) = together(parts);
    let difference = StopsU95 {
        stops: measured.value() - stops,
        u95: Stops::new(u95_of_difference(u95.get(), measured.u95().get())),
    };
    Some(StackRecord {
        parts: parts.iter().map(|p| p.name.clone()).collect(),
        predicted: StopsU95 { stops, u95 },
        difference,
    })
}
