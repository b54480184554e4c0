//! What the map of a filter taken as even says against that: an edge through the frame, which is a
//! graduation where the other end is nearly clear, and a shadow where it is not.

use super::graduated::{self, Recognised};
use crate::caution::Caution;
use crate::measure::evenness::Found;
use crate::measure::map::RatioMap;
use crate::measure::result::SettingResult;
use crate::numerics::robust::quantile;
use crate::profile::Graduation;
use crate::quantity::Stops;
use crate::text::in_stops;

/// The clear end of a graduated filter takes no more than this, in stops (ours).
const CLEAR_END: f64 = 1.0;
/// A graduated filter takes this much more at its dark end, in stops (ours): makers begin at one.
const GRADUATION: f64 = 0.5;
/// An edge that no graduation makes is a shadow from this step on, in stops (ours).
const SHADOW_STEP: f64 = 0.08;

/// The edge of a graduated filter, from its whole map and its strength in the centre.
#[must_use]
pub fn graduation(map: &RatioMap, centre: Stops) -> Option<Recognised> {
    let found = graduated::recognise(map, map.green(), graduated::LEAST_STEP, false)?;
    (found.step.get() > GRADUATION && (centre + found.clear).get() < CLEAR_END).then_some(found)
}

/// Levels that were taken for marks of a ring, where an edge over a clear end tells one graduated filter
/// at several heights.
#[must_use]
pub fn at_several_heights(found: &[Option<Found>], settings: &[SettingResult]) -> Option<Caution> {
    let edge = |(found, setting): (&Option<Found>, &SettingResult)| {
        let (map, centre) = (&found.as_ref()?.clean, setting.strength().value());
        // Fitting an edge takes as long as the rest of a mark: only where there is a clear end.
        let lightest = quantile(map.green().iter().flatten().copied(), 0.02)?;
        if centre.get() + lightest >= CLEAR_END {
            return None;
        }
        graduation(map, centre).map(|found| found.step.get())
    };
    let step = found.iter().zip(settings).filter_map(edge).reduce(f64::max)?;
    let heights = if settings.len() > 1 { ", as of one filter at several heights" } else { "" };
    let reason = format!("{}{heights}", edge_of(step));
    Some(Caution::LooksLike { kind: "graduated", reason })
}

/// A filter that was said to be of another kind, where its map shows a graduation.
#[must_use]
pub fn looks_graduated(found: &Recognised) -> Caution {
    Caution::LooksLike { kind: "graduated", reason: edge_of(found.step.get()) }
}

fn edge_of(step: f64) -> String {
    format!("an edge runs across the frame, one end {} darker", in_stops(step, 1))
}

/// Whether what was fitted to a map is an edge at all.
#[must_use]
pub fn is_graduation(found: &Graduation) -> bool {
    found.dark_end_stops.get() >= GRADUATION
}

/// A filter that was said to be graduated, where its map shows no graduation.
#[must_use]
pub fn no_graduation(found: &Graduation) -> Option<Caution> {
    let step = found.dark_end_stops;
    let unsure = found.dark_end_u95.is_some_and(|u95| step <= u95);
    // A step that is no surer than that may still be seen in part.
    let levels = || found.profile.iter().map(|[_, stops]| *stops);
    let shown = levels().fold(f64::NEG_INFINITY, f64::max) - levels().fold(f64::INFINITY, f64::min);
    (!is_graduation(found) || (unsure && shown < GRADUATION)).then(|| Caution::LooksLike {
        kind: "solid",
        reason: format!(
            "no graduation shows: one end takes {} more than the other",
            in_stops(step.get(), 2)
        ),
    })
}

/// Shadows: an edge in what ought to be even.
#[must_use]
pub fn shadow(map: &RatioMap) -> Option<Caution> {
    let changes = map.bare_changes.iter().chain(&map.filtered_changes);
    let changing = changes.filter_map(|cells| graduated::recognise(map, cells, SHADOW_STEP, true));
    let largest = changing.map(|found| found.step.get()).reduce(f64::max);
    let through = || graduated::recognise(map, map.green(), SHADOW_STEP, true);
    match largest {
        Some(stops) => Some(Caution::ShadowSuspected { stops: Stops::new(stops), changes: true }),
        None => through().map(|f| Caution::ShadowSuspected { stops: f.step, changes: false }),
    }
}
