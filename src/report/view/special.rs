//! Graduations, polarisers, and shading by rings and holders.

use super::{Drawings, Figure};
use crate::profile::{Corners, Graduation, Profile, Vignetting};
use crate::report::plots::Caption;
use crate::report::plots::graduation::{self as plot, Edge};
use crate::report::table::{Column, Table};
use crate::say::figures::{self as words, fixed, signed};
use crate::say::special as said;

/// The section on a graduation.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GraduationView {
    /// Sentences.
    pub lead: Vec<String>,
    /// Across the line.
    pub profile: Option<Figure>,
    /// Figures.
    pub table: Table,
}

/// The section on a polariser or on shading: sentences and figures.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plain {
    /// Heading.
    pub heading: String,
    /// Sentences.
    pub lead: Vec<String>,
    /// Figures.
    pub table: Option<Table>,
}

/// Builds the graduation's section.
pub fn graduation(profile: &Profile, drawings: &mut Drawings) -> Option<GraduationView> {
    let found = profile.graduation.as_ref()?;
    let mut table = Table::new(
        "The graduation in figures",
        [("Figure", Column::Words), ("Value", Column::Figures)],
    );
    let percent = |value: f64| format!("{} % of the height", fixed(value, 0));
    table.push(
        "Dark end minus clear end",
        vec![format!(
            "{} stops",
            found.dark_end_u95.map_or_else(
                || fixed(found.dark_end_stops.get(), 2),
                |u95| words::with_doubt(found.dark_end_stops.get(), u95.get())
            )
        )],
    );
    table.push(
        "Clear end against no filter",
        vec![format!(
            "{} {}",
            fixed(found.clear_end_stops.get(), 2),
            words::unit(found.clear_end_stops.get())
        )],
    );
    table.push("Width, 10 to 90 %", vec![percent(found.width_percent_of_height.get())]);
    table.push("Centre line from the top", vec![percent(found.centre_percent_of_height.get())]);
    table.push(
        "Angle of the line, 0 is level",
        vec![format!("{}\u{b0}", fixed(found.angle.get(), 1))],
    );
    table.push("Shape", vec![found.shape.clone()]);
    if let Some(gains) = said::dark_half_gains(found) {
        table.push("Raw gains of the dark half, green 1", vec![gains]);
    }
    if let Some(corners) = found.corner_darkening_stops {
        table.push(
            "Corners beyond the graduation",
            vec![format!("{} {}", signed(corners.get(), 2), words::unit(corners.get()))],
        );
    }
    Some(GraduationView {
        lead: [said::edge(found)]
            .into_iter()
            .chain(said::edge_doubt(found))
            .chain([said::edge_belongs_to(profile)])
            .chain(crate::say::picture::without_graduated(found))
            .collect(),
        profile: drawn(profile, found, drawings),
        table,
    })
}

fn drawn(profile: &Profile, found: &Graduation, drawings: &mut Drawings) -> Option<Figure> {
    if found.profile.is_empty() {
        return None;
    }
    let points: Vec<(f64, f64)> =
        found.profile.iter().map(|[height, stops]| (*height, *stops)).collect();
    let edge = Edge {
        centre: found.centre_percent_of_height.get(),
        width: found.width_percent_of_height.get(),
        centre_words: format!("half at {} %", fixed(found.centre_percent_of_height.get(), 0)),
        width_words: format!("10 to 90 % over {} %", fixed(found.width_percent_of_height.get(), 0)),
    };
    let rated = profile.filter.rated_stops.map(|s| {
        // The claim is what the dark end takes more than the clear one.
        let place = (found.clear_end_stops + s).get();
        (place, format!("rated {}", words::rating(s.get())))
    });
    let finding = format!(
        "From {} stops at one end to {} at the other, half of it at {} % of the height from the top.",
        fixed(found.dark_end_stops.get() + found.clear_end_stops.get(), 2),
        fixed(found.clear_end_stops.get(), 2),
        fixed(found.centre_percent_of_height.get(), 0)
    );
    let title = "Stops across the graduation".to_owned();
    let caption = Caption { name: "graduation".to_owned(), title, finding };
    let words = "Across the line, top of the picture at the top. Shaded: from a tenth to nine tenths \
                 of the change.";
    Some(drawings.both("the graduation", &caption, words.to_owned(), |caption, width| {
        let rated = rated.as_ref().map(|(s, w)| (*s, w.as_str()));
        plot::profile(caption, &points, &edge, rated, width)
    }))
}

/// Builds the polariser's section.
pub fn polarising(profile: &Profile) -> Option<Plain> {
    let found = profile.polarising.as_ref()?;
    let mut table = Table::new(
        "The polariser in figures",
        [("Figure", Column::Words), ("Value", Column::Figures)],
    );
    if let Some(loss) = found.loss_stops {
        table.push("Loss in unpolarised light", vec![format!("{} stops", words::stops(loss))]);
    }
    if let Some(extinction) = found.extinction_stops {
        table.push("Darkest minus lightest rotation", vec![said::apart(extinction)]);
    }
    if let Some(angle) = said::most_light(found) {
        table.push("Rotation of the most light", vec![angle]);
    }
    let lead = if found.light_polarised {
        "The light of the shoot was polarised, so the loss cannot be told from the light's own \
         direction."
    } else {
        "The light of the shoot was unpolarised as far as can be seen: turning the filter did not \
         change the level."
    };
    Some(Plain {
        heading: "What the polariser does".to_owned(),
        lead: vec![lead.to_owned()],
        table: (!table.lines.is_empty()).then_some(table),
    })
}

/// Builds the section on shading.
pub fn vignetting(profile: &Profile) -> Option<Plain> {
    let found = profile.vignetting.as_ref()?;
    let several = !found.by_focal_length.is_empty();
    let own = found.corners_stops.as_ref().filter(|_| found.mechanical).map(corners);
    Some(Plain {
        heading: "Shading by rings or holder".to_owned(),
        lead: said::shading(profile),
        table: if several { Some(by_focal_length(found)) } else { own },
    })
}

fn by_focal_length(found: &Vignetting) -> Table {
    let mut table = Table::new(
        "Shading at each focal length",
        [
            ("Focal length", Column::Figures),
            ("Begins at, % of the half diagonal", Column::Figures),
            ("Darkest corner, stops", Column::Figures),
        ],
    );
    for row in &found.by_focal_length {
        let none = || "none".to_owned();
        let onset = row.onset_percent_of_half_diagonal.filter(|_| row.mechanical);
        let darkest = row.darkest_corner_stops.filter(|_| row.mechanical);
        table.push(
            format!("{} mm", fixed(row.focal_length_mm.get(), 0)),
            vec![
                onset.map_or_else(none, |o| fixed(o.get(), 0)),
                darkest.map_or_else(none, |d| signed(d.get(), 2)),
            ],
        );
    }
    table
}

fn corners(corners: &Corners) -> Table {
    let mut table = Table::new(
        "How dark the corners get, in stops",
        [("Corner", Column::Words), ("Extra stops", Column::Figures)],
    );
    for (name, stops) in [
        ("top left", corners.top_left),
        ("top right", corners.top_right),
        ("bottom left", corners.bottom_left),
        ("bottom right", corners.bottom_right),
    ] {
        table.push(name, vec![signed(stops.get(), 2)]);
    }
    table
}
