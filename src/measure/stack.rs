//! A stack of filters: what its single profiles foretell beside what was measured.

use crate::profile::{Profile, StackRecord, StopsU95};
use crate::quantity::Stops;

/// One filter of a stack, from its own profile.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Name.
    pub name: String,
    /// Strength in the frame's centre.
    pub strength: StopsU95,
}

/// Fills the record: strengths add, independent doubts by their squares.
pub fn fill(profile: &mut Profile, parts: &[Part]) {
    let Some(setting) = profile.settings.first().filter(|_| !parts.is_empty()) else { return };
    let sum: f64 = parts.iter().map(|p| p.strength.stops.get()).sum();
    let u95 = parts.iter().map(|p| p.strength.u95.get().powi(2)).sum::<f64>().sqrt();
    let measured = &setting.strength;
    let difference = StopsU95 {
        stops: Stops::new(measured.stops.get() - sum),
        u95: Stops::new(u95.hypot(measured.u95.get())),
    };
    profile.stack = Some(StackRecord {
        parts: parts.iter().map(|p| p.name.clone()).collect(),
        predicted: StopsU95 { stops: Stops::new(sum), u95: Stops::new(u95) },
        difference,
    });
}
