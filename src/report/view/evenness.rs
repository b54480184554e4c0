//! How even the filter is, setting by setting, on one scale.

use super::words::{fixed, signed, unit};
use super::{Drawings, Figure};
use crate::profile::{CrossState, Evenness, Kind, Profile, Setting};
use crate::quantity::Stops;
use crate::report::plots::Caption;
use crate::report::plots::contours::Field;
use crate::report::plots::heat::{self, Scale, Written};
use crate::report::table::{Column, Table};

/// The section on evenness.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EvennessView {
    /// Sentences.
    pub lead: Vec<String>,
    /// The scale of all maps.
    pub legend: Figure,
    /// One map per setting.
    pub maps: Vec<MapView>,
    /// Dust and scratches.
    pub specks: Option<Table>,
}

/// One map.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MapView {
    /// Heading, e.g. "Mark 3, 3.1 stops"; empty for a filter with one setting.
    pub heading: String,
    /// The map.
    pub figure: Figure,
}

/// Builds the section; `None` where nothing was mapped.
pub fn evenness(profile: &Profile, drawings: &mut Drawings) -> Option<EvennessView> {
    let mapped: Vec<(&Setting, &Evenness)> =
        profile.settings.iter().filter_map(|s| s.evenness.as_ref().map(|e| (s, e))).collect();
    let (_, first) = mapped.first()?;
    let scale = Scale::shared(mapped.iter().flat_map(|(_, e)| finite(&e.maps.green)));
    let alone = mapped.len() == 1;
    let maps = mapped
        .iter()
        .enumerate()
        .map(|(index, (setting, evenness))| {
            map(index, setting, evenness, (scale, profile.filter.kind, alone), drawings)
        })
        .collect();
    let lead = match profile.filter.kind {
        Kind::Graduated => describe_graduated(first),
        _ if alone => describe(first),
        _ => describe_series(&mapped),
    };
    Some(EvennessView { lead, legend: legend(scale, drawings), maps, specks: specks(&mapped) })
}

fn finite(map: &[Option<Stops>]) -> impl Iterator<Item = f64> + '_ {
    map.iter().flatten().map(|stops| stops.get())
}

fn legend(scale: Scale, drawings: &mut Drawings) -> Figure {
    let caption = Caption {
        name: "evenness-scale".to_owned(),
        title: "Scale of the evenness maps".to_owned(),
        finding: format!(
            "From {} stop (paper) to {} stops (ink) relative to the centre of the frame.",
            signed(scale.lo(), 2),
            signed(scale.hi(), 2)
        ),
    };
    Figure {
        wide: drawings.keep("the scale of the maps", heat::legend(&caption, scale, 330.0)),
        narrow: String::new(),
        caption: "Extra stops relative to the centre of the frame: darker is darker. Thin lines \
                  stand at every third of a stop, heavier ones at full stops. Written in: the \
                  centre, which is the zero, and the four corners."
            .to_owned(),
    }
}

fn map(
    index: usize,
    setting: &Setting,
    evenness: &Evenness,
    (scale, kind, alone): (Scale, Kind, bool),
    drawings: &mut Drawings,
) -> MapView {
    let finding = finding(evenness, kind);
    let (name, heading, title) = match (&setting.mark, alone) {
        (Some(mark), _) => (
            format!("evenness-{}", index + 1),
            format!("Mark {mark}, {} stops", fixed(setting.strength.stops.get(), 2)),
            format!("Evenness at mark {mark}"),
        ),
        (None, true) => {
            ("evenness".to_owned(), String::new(), "Evenness across the frame".to_owned())
        }
        (None, false) => {
            let title = format!("Setting {}", index + 1);
            (format!("evenness-{}", index + 1), title.clone(), title)
        }
    };
    let caption = Caption { name, title, finding: finding.clone() };
    let field = Field {
        columns: evenness.maps.columns,
        rows: evenness.maps.rows,
        values: evenness.maps.green.iter().map(|v| v.map(Stops::get)).collect(),
    };
    let corners = &evenness.corners_stops;
    let written = Written {
        centre: "0".to_owned(),
        corners: [corners.top_left, corners.top_right, corners.bottom_left, corners.bottom_right]
            .map(|stops| signed(stops.get(), 2)),
    };
    let width = if alone { 440.0 } else { 310.0 };
    let what = format!("the map {}", caption.title);
    let wide = drawings.keep(&what, heat::map(&caption, &field, scale, &written, width));
    MapView { heading, figure: Figure { wide, narrow: String::new(), caption: finding } }
}

/// A sentence that states what a map shows.
fn finding(evenness: &Evenness, kind: Kind) -> String {
    let corners = &evenness.corners_stops;
    let all = [corners.top_left, corners.top_right, corners.bottom_left, corners.bottom_right];
    let darkest = all.iter().map(|s| s.get()).fold(f64::NEG_INFINITY, f64::max);
    let cross = match evenness.dark_cross.state {
        // A graduation is no cross, however deep.
        _ if kind == Kind::Graduated => String::new(),
        CrossState::Absent => String::new(),
        state => format!(" A dark cross is {}, {} deep.", state_word(state), depth(evenness)),
    };
    format!(
        "Spread {}; darkest corner {} {}.{cross}",
        amount(evenness.spread_stops),
        signed(darkest, 2),
        unit(darkest)
    )
}

/// "0.43 stop", "2.44 stops".
pub fn amount(stops: Stops) -> String {
    format!("{} {}", fixed(stops.get(), 2), unit(stops.get()))
}

fn depth(evenness: &Evenness) -> String {
    amount(evenness.dark_cross.depth_stops)
}

fn state_word(state: CrossState) -> &'static str {
    match state {
        CrossState::Absent => "absent",
        CrossState::Forming => "forming",
        CrossState::Present => "present",
    }
}

/// A graduation's map is no fault of evenness.
fn describe_graduated(evenness: &Evenness) -> Vec<String> {
    vec![format!(
        "The map holds the graduation itself, which is described below: lightest and darkest place are \
         {} apart.",
        amount(evenness.extremes_stops)
    )]
}

fn describe(evenness: &Evenness) -> Vec<String> {
    let mut lead = vec![format!(
        "Nine tenths of the frame lie within {} of each other (spread); the lightest and the darkest \
         place are {} apart.",
        amount(evenness.spread_stops),
        amount(evenness.extremes_stops)
    )];
    lead.push(match evenness.dark_cross.state {
        CrossState::Absent => "There is no dark cross.".to_owned(),
        state => cross(state, evenness),
    });
    let spread = &evenness.colour_spread;
    let colour = spread.red_green_stops.get().max(spread.blue_green_stops.get());
    lead.push(format!("The cast changes by at most {} stop across the frame.", fixed(colour, 2)));
    lead.push(format!(
        "One cell of the map is sure to about {} stop.",
        fixed(evenness.pattern.noise_stops.get() * 2.0, 3)
    ));
    lead
}

fn cross(state: CrossState, evenness: &Evenness) -> String {
    let angle = evenness.dark_cross.angle.map_or_else(String::new, |angle| {
        format!(", its darkest arm at {}\u{b0} from the right edge", fixed(angle.get(), 0))
    });
    format!("A dark cross is {}, {} deep{angle}.", state_word(state), depth(evenness))
}

fn describe_series(mapped: &[(&Setting, &Evenness)]) -> Vec<String> {
    let mut lead = Vec::new();
    let name = |setting: &Setting| setting.mark.clone().unwrap_or_else(|| "\u{2013}".to_owned());
    if let (Some((first, even)), Some((last, uneven))) = (mapped.first(), mapped.last()) {
        lead.push(format!(
            "The spread (nine tenths of the frame) goes from {} at mark {} to {} at mark {}.",
            amount(even.spread_stops),
            name(first),
            amount(uneven.spread_stops),
            name(last)
        ));
    }
    let begins = mapped.iter().find(|(_, e)| e.dark_cross.state != CrossState::Absent);
    lead.push(match begins {
        Some((setting, _)) => format!("The dark cross begins to show at mark {}.", name(setting)),
        None => "No mark shows a dark cross.".to_owned(),
    });
    lead
}

fn specks(mapped: &[(&Setting, &Evenness)]) -> Option<Table> {
    let mut table = Table::new(
        "Dust and scratches, left out of the figures above",
        [
            ("Setting", Column::Words),
            ("From the left", Column::Figures),
            ("From the top", Column::Figures),
            ("Extra stops", Column::Figures),
        ],
    );
    for (setting, evenness) in mapped {
        for speck in &evenness.specks {
            table.push(
                setting
                    .mark
                    .as_ref()
                    .map_or_else(|| "filter".to_owned(), |mark| format!("mark {mark}")),
                vec![
                    format!("{} %", fixed(speck.x_percent.get(), 0)),
                    format!("{} %", fixed(speck.y_percent.get(), 0)),
                    signed(speck.stops.get(), 2),
                ],
            );
        }
    }
    (!table.lines.is_empty()).then_some(table)
}
