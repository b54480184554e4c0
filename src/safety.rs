//! What must be said about the sun, in one place.

use crate::quantity::Stops;

/// Stands on every card, plan and report, whatever the strength.
pub const SUN_SHORT: &str = "Never look at the sun through any of these filters, least of all \
through an optical viewfinder.";

/// From 13 stops, where a name mentions the sun, and in the help.
pub const SUN_FULL: &str = "This measures visible light as the camera sees it; it says nothing of \
ultraviolet or infrared. No photographic filter, and no pair of polarisers, makes it safe to look \
at the sun, through the viewfinder or beside it. Use only a filter made and marked for that \
(ISO 12312-2), and follow local rules and qualified advice. The sun in a long lens can also damage \
shutter and sensor; point away from the sun before the filter comes off.";

/// Whether [`SUN_FULL`] must be shown for a filter (or stack) of this strength and name.
#[must_use]
pub fn full_warning_needed(strength: Stops, name: &str) -> bool {
    let name = name.to_lowercase();
    strength.get() >= 13.0 || ["sun", "solar", "eclipse"].iter().any(|word| name.contains(word))
}

/// Whether [`SUN_FULL`] must be shown for a kit of these names.
#[must_use]
pub fn needs_full<'a>(strongest: Stops, names: impl IntoIterator<Item = &'a str>) -> bool {
    names.into_iter().any(|name| full_warning_needed(strongest, name))
}

/// What must be said: [`SUN_SHORT`] always, and [`SUN_FULL`] besides where it is needed.
#[must_use]
pub fn text(full: bool) -> String {
    if full { format!("{SUN_SHORT} {SUN_FULL}") } else { SUN_SHORT.to_owned() }
}
