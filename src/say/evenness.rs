//! How even the filter is across the frame, in sentences.

use super::figures::{fixed, unit};
use super::ring;
use crate::profile::{CrossState, Evenness, Kind, Profile, Setting};
use crate::quantity::Stops;

/// "0.43 stop", "2.44 stops".
#[must_use]
pub fn amount(stops: Stops) -> String {
    format!("{} {}", fixed(stops.get(), 2), unit(stops.get()))
}

/// Spread and dark cross of one setting, short.
#[must_use]
pub fn short(evenness: &Evenness) -> String {
    let cross = match evenness.dark_cross.state {
        CrossState::Absent => "no dark cross",
        CrossState::Forming => "a dark cross is forming",
        CrossState::Present => "a dark cross is present",
    };
    format!("{} across the frame; {cross}", amount(evenness.spread_stops))
}

/// What a map of one setting shows, in a caption.
#[must_use]
pub fn finding(evenness: &Evenness, kind: Kind) -> String {
    let corners = &evenness.corners_stops;
    let all = [corners.top_left, corners.top_right, corners.bottom_left, corners.bottom_right];
    let darkest = all.iter().map(|s| s.get()).fold(f64::NEG_INFINITY, f64::max);
    let cross = match evenness.dark_cross.state {
        // A graduation is no cross, however deep.
        _ if kind == Kind::Graduated => String::new(),
        CrossState::Absent => String::new(),
        state => format!(" A dark cross is {}, {} deep.", ring::cross(state), depth(evenness)),
    };
    format!(
        "Spread {}; darkest corner {} {}.{cross}",
        amount(evenness.spread_stops),
        super::figures::signed(darkest, 2),
        unit(darkest)
    )
}

/// Everything about evenness, in sentences; empty where nothing was mapped.
#[must_use]
pub fn sentences(profile: &Profile) -> Vec<String> {
    let mapped: Vec<(&Setting, &Evenness)> =
        profile.settings.iter().filter_map(|s| Some((s, s.evenness.as_ref()?))).collect();
    match mapped.as_slice() {
        [] => Vec::new(),
        [(_, first), ..] if profile.filter.kind == Kind::Graduated => vec![graduated(first)],
        [(_, only)] => alone(only),
        many => series(many),
    }
}

fn depth(evenness: &Evenness) -> String {
    amount(evenness.dark_cross.depth_stops)
}

/// A graduation's map is no fault of evenness.
fn graduated(evenness: &Evenness) -> String {
    format!(
        "The map holds the graduation itself, which is described below: lightest and darkest place are \
         {} apart.",
        amount(evenness.extremes_stops)
    )
}

fn alone(evenness: &Evenness) -> Vec<String> {
    let spread = &evenness.colour_spread;
    let colour = spread.red_green_stops.get().max(spread.blue_green_stops.get());
    vec![
        format!(
            "Nine tenths of the frame lie within {} of each other (spread); the lightest and the darkest \
             place are {} apart.",
            amount(evenness.spread_stops),
            amount(evenness.extremes_stops)
        ),
        match evenness.dark_cross.state {
            CrossState::Absent => "There is no dark cross (the X pattern).".to_owned(),
            state => cross(state, evenness),
        },
        format!(
            "The cast changes by at most {} {} across the frame.",
            fixed(colour, 2),
            unit(colour)
        ),
        format!(
            "One cell of the map is sure to about {} stop.",
            fixed(evenness.pattern.noise_stops.get() * 2.0, 3)
        ),
    ]
}

fn cross(state: CrossState, evenness: &Evenness) -> String {
    let angle = evenness.dark_cross.angle.map_or_else(String::new, |angle| {
        format!(", its darkest arm at {}\u{b0} from the right edge", fixed(angle.get(), 0))
    });
    format!(
        "A dark cross (the X pattern) is {}, {} deep{angle}.",
        ring::cross(state),
        depth(evenness)
    )
}

fn series(mapped: &[(&Setting, &Evenness)]) -> Vec<String> {
    let name = |setting: &Setting| setting.mark.clone().unwrap_or_else(|| "\u{2013}".to_owned());
    let mut said = Vec::new();
    if let (Some((first, even)), Some((last, uneven))) = (mapped.first(), mapped.last()) {
        said.push(format!(
            "The spread (nine tenths of the frame) goes from {} at mark {} to {} at mark {}.",
            amount(even.spread_stops),
            name(first),
            amount(uneven.spread_stops),
            name(last)
        ));
    }
    let begins = mapped.iter().find(|(_, e)| e.dark_cross.state != CrossState::Absent);
    said.push(match begins {
        Some((setting, _)) => {
            format!("The dark cross (the X pattern) begins to show at mark {}.", name(setting))
        }
        None => "No mark shows a dark cross (the X pattern).".to_owned(),
    });
    said
}
