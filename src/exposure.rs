//! Exposure arithmetic: dial and true times, what a filter of so many stops makes of a time,
//! ratings as people write them.
//!
//! Cameras aim at powers of two behind the rounded times of their dials: 1/15 is 1/16 s, 30 s is
//! 32 s (common practice, no source; ISO 516 gives the markings). A multiplied time starts from
//! the true one, so 1/15 through ten stops is 64 s, not 68.

pub mod limits;
pub mod series;
pub mod times;
pub mod ratings;

pub use ratings::{Rating, RatingError, Reading, parse_rating};
pub use series::{DialTime, Series, Times, true_f_number, true_iso, true_time};
pub use times::{GivenTime, TimeError, card_text, dial_text, parse_time, sentence_text};

use crate::quantity::{Seconds, Stops};

/// The time through a filter: true metered time times 2^S (definition of the filter factor).
#[must_use]
pub fn filtered_time(metered: Seconds, strength: Stops) -> Seconds {
    Seconds::new(metered.get() * strength.factor().get())
}

/// The metered time that a filter turns into this time: the inverse of [`filtered_time`].
#[must_use]
pub fn metered_time(filtered: Seconds, strength: Stops) -> Seconds {
    filtered_time(filtered, -strength)
}

/// From one time to another in stops: log2(to / from).
#[must_use]
pub fn stops_between(from: Seconds, to: Seconds) -> Stops {
    Stops::new((to.get() / from.get()).log2())
}

/// A bridge is shot at a long time that makes up for so much less than half of the filter, stops (ours):
/// one that is up to a stop weaker than half does not clip then.
pub const BRIDGE_SPARE_STOPS: f64 = 0.5;

/// A strength in clicks of a dial in thirds: 10.35 is 31.
#[must_use]
pub fn clicks(strength: Stops) -> i64 {
    (3.0 * strength.get()).round() as i64
}
