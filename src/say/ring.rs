//! How far to turn a ring, and with which lens.

use super::figures::{fixed, with_doubt};
use crate::kit::lens::{self, Widest};
use crate::profile::{CrossState, PolariserPair, Profile, Usable};
use crate::quantity::Millimetres;

/// Where to stop turning, and why.
#[must_use]
pub fn usable_sentence(usable: &Usable) -> String {
    let reason = super::figures::sentence(usable.reason.trim_end_matches('.'));
    match (&usable.last_mark, usable.last_stops) {
        (Some(mark), Some(stops)) => {
            format!("Turn it no further than mark {mark} ({:.2} stops). {reason}.", stops.get())
        }
        (Some(mark), None) => format!("Turn it no further than mark {mark}. {reason}."),
        (None, _) => format!("No mark stays within the tolerance. {reason}."),
    }
}

/// What the fitted pair of polarisers is, in a sentence.
#[must_use]
pub fn pair_sentence(pair: &PolariserPair) -> Option<String> {
    let (focal, base) = (pair.focal_length_mm?, pair.base_stops?);
    let floor = pair.floor_stops.map_or_else(String::new, |floor| {
        let floor = pair
            .floor_u95
            .map_or_else(|| fixed(floor.get(), 1), |u95| with_doubt(floor.get(), u95.get()));
        format!(", and {floor} stops are the most that crossed polarisers reach")
    });
    let base =
        pair.base_u95.map_or_else(|| fixed(base.get(), 2), |u95| with_doubt(base.get(), u95.get()));
    Some(format!(
        "Taken as two polarisers seen through a lens of {} mm, the filter costs {base} stops before any \
         turning{floor}.",
        fixed(focal.get(), 0)
    ))
}

/// What [`widest`] means where it says "none".
pub const NONE_WILL_DO: &str = "none: no lens from 14 to 85 mm is even enough";

/// Where the last mark at a focal length comes from.
pub const FORETOLD: &str = "With the lens of the shoot the last mark is the measured one; with other \
                            lenses the fitted polarisers foretell it.";

/// How wide a lens a mark allows: "24 mm", "none", a dash where it is not known.
#[must_use]
pub fn widest(widest: Widest) -> String {
    match widest {
        Widest::Unknown => "\u{2013}".to_owned(),
        Widest::Lens(lens) => format!("{:.0} mm", lens.get()),
        Widest::None => "none".to_owned(),
    }
}

/// For each lens that is foretold: the last mark before one is too uneven.
#[must_use]
pub fn last_marks(profile: &Profile) -> Vec<(Millimetres, String)> {
    let Some(pair) = &profile.polariser_pair else { return Vec::new() };
    let lenses = pair.last_mark.iter().map(|l| l.focal_length_mm);
    let last = |focal| {
        let mark = lens::last_mark_with(profile, focal).flatten().and_then(|s| s.mark.clone());
        (focal, mark.unwrap_or_else(|| "none".to_owned()))
    };
    lenses.map(last).collect()
}

/// Whether a dark cross shows, in a word.
#[must_use]
pub fn cross(state: CrossState) -> &'static str {
    match state {
        CrossState::Absent => "absent",
        CrossState::Forming => "forming",
        CrossState::Present => "present",
    }
}
