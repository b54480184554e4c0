//! How even the filter is, setting by setting, on one scale.

use super::{Drawings, Figure};
use crate::profile::{Evenness, Kind, Profile, Setting};
use crate::quantity::Stops;
use crate::report::plots::Caption;
use crate::report::plots::contours::Field;
use crate::report::plots::heat::{self, Scale, Written};
use crate::report::table::{Column, Table};
use crate::say::evenness as said;
use crate::say::figures::{fixed, signed, unit};

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
    mapped.first()?;
    let scale = Scale::shared(mapped.iter().flat_map(|(_, e)| finite(&e.maps.green)));
    let alone = mapped.len() == 1;
    let maps = mapped
        .iter()
        .enumerate()
        .map(|(index, (setting, evenness))| {
            map(index, setting, evenness, (scale, profile.filter.kind, alone), drawings)
        })
        .collect();
    let lead = said::sentences(profile);
    let fields: Vec<Field> = mapped.iter().map(|(_, e)| field(e)).collect();
    let legend = legend(scale, &fields, drawings);
    Some(EvennessView { lead, legend, maps, specks: specks(&mapped) })
}

fn finite(map: &[Option<Stops>]) -> impl Iterator<Item = f64> + '_ {
    map.iter().flatten().map(|stops| stops.get())
}

fn field(evenness: &Evenness) -> Field {
    Field {
        columns: evenness.maps.columns,
        rows: evenness.maps.rows,
        values: evenness.maps.green.iter().map(|v| v.map(Stops::get)).collect(),
    }
}

/// The scale, and what these maps hold: lines and hatching are named where there are any.
fn legend(scale: Scale, fields: &[Field], drawings: &mut Drawings) -> Figure {
    let caption = Caption {
        name: "evenness-scale".to_owned(),
        title: "Scale of the evenness maps".to_owned(),
        finding: format!(
            "From {} {} (paper) to {} {} (ink) relative to the centre of the frame.",
            signed(scale.lo(), 2),
            unit(scale.lo()),
            signed(scale.hi(), 2),
            unit(scale.hi())
        ),
    };
    let lines = if fields.iter().any(heat::has_lines) {
        " Thin lines stand at every third of a stop, heavier ones at full stops."
    } else {
        ""
    };
    let unknown = fields.iter().flat_map(|f| &f.values).any(Option::is_none);
    let hatched = if unknown { " Hatched: not measured there." } else { "" };
    Figure {
        wide: drawings.keep("the scale of the maps", heat::legend(&caption, scale, 330.0)),
        narrow: String::new(),
        caption: format!(
            "Extra stops of green relative to the centre of the frame: darker is darker.{lines} Written in: \
             the centre, which is the zero, and the four corners.{hatched}"
        ),
    }
}

fn map(
    index: usize,
    setting: &Setting,
    evenness: &Evenness,
    (scale, kind, alone): (Scale, Kind, bool),
    drawings: &mut Drawings,
) -> MapView {
    let finding = said::finding(evenness, kind);
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
    let field = field(evenness);
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
