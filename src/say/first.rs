//! The first four questions, one line each with a verdict: how strong, what colour, how even, may I
//! trust it.

use super::cast;
use super::evenness;
use super::figures;
use super::strength::Strength;
use super::{cautions, special};
use crate::profile::{Grade, Kind, Profile};

/// Unevenness that is called even, in stops: a third, as for a ring where no other is named (ours).
const EVEN_STOPS: f64 = 1.0 / 3.0;

/// The questions after the first, each with its answer.
#[must_use]
pub fn after_the_strength(profile: &Profile) -> Vec<(&'static str, String)> {
    let colour = colour(profile).map(|words| ("What colour", words));
    let others = [("How even", even(profile)), ("May I trust it", trust(profile))];
    colour.into_iter().chain(others).collect()
}

/// What colour.
#[must_use]
pub fn colour(profile: &Profile) -> Option<String> {
    let setting = cast::representative(profile)?;
    let place =
        if profile.filter.kind == Kind::Graduated { " in the middle of the frame" } else { "" };
    let words = figures::sentence(cast::words(&setting.cast));
    let set = cast::to_set(&setting.cast, cast::seen_by(profile));
    Some(format!("{words}{place}{}.{set}", cast::at_mark(setting)))
}

/// How even, and from which focal length.
#[must_use]
pub fn even(profile: &Profile) -> String {
    if let Some(edge) = &profile.graduation {
        return special::edge_short(edge);
    }
    let at = profile.camera.focal_length_mm.map(|f| format!(" at {:.0} mm", f.get()));
    let at = at.unwrap_or_default();
    if let Some(usable) = profile.usable.as_ref().filter(|_| profile.settings.len() > 1) {
        let allowed = figures::fixed(usable.tolerance_stops.get(), 2);
        return match &usable.last_mark {
            Some(mark) => format!("Even within {allowed} stop up to mark {mark}{at}."),
            None => format!("No mark is even within {allowed} stop{at}."),
        };
    }
    let measured = cast::representative(profile).and_then(|s| s.evenness.as_ref());
    let Some(measured) = measured else { return "Not measured.".to_owned() };
    let verdict = if measured.spread_stops.get() <= EVEN_STOPS { "Even" } else { "Uneven" };
    let wider = if at.is_empty() { "" } else { " Wider lenses may show more." };
    format!("{verdict}{at}: {}.{wider}", evenness::short(measured))
}

/// May I trust it.
#[must_use]
pub fn trust(profile: &Profile) -> String {
    let told = cautions::of_grade(profile, Grade::Number);
    let to = doubt(profile);
    let Some(first) = told.first() else {
        return match to {
            Some(to) => format!("Yes, to {to}: no caution touches the number."),
            None => "No caution touches the number, but its uncertainty is not stated.".to_owned(),
        };
    };
    let to = to.map_or_else(String::new, |to| format!(", to {to}"));
    let sentence = first.text.split_inclusive(". ").next().unwrap_or(&first.text).trim();
    let about = if first.about.is_empty() { String::new() } else { format!(" ({})", first.about) };
    let more = match told.len() - 1 {
        0 => String::new(),
        1 => " One more caution stands below.".to_owned(),
        n => format!(" {n} more cautions stand below."),
    };
    format!("With care{to}{about}: {sentence}{more}")
}

/// How well the strength is known, of several settings the least known: "± 0.07 stop".
fn doubt(profile: &Profile) -> Option<String> {
    let ring = profile.filter.kind == Kind::Variable;
    let marks = profile.settings.iter().filter(|_| ring).map(|s| s.strength.u95.get());
    let u95 = marks.fold(Strength::of(profile).map_or(0.0, |s| s.u95_stops()), f64::max);
    let places = crate::rounding::places(u95);
    let unit = figures::unit(u95);
    (u95 > 0.0).then(|| format!("\u{b1} {} {unit}", crate::rounding::fixed(u95, places)))
}
