//! What the filter does to the picture: sharpness by place with its curves, veil, ghosts.

use super::{Drawings, Figure};
use crate::profile::{Picture, Profile, Sharpness};
use crate::report::plots::Caption;
use crate::report::plots::mtf;
use crate::report::table::{Column, Table};
use crate::say::figures::{fixed, with_doubt};
use crate::say::picture as said;

/// The section.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PictureView {
    /// Sentences.
    pub lead: Vec<String>,
    /// Curves by place.
    pub curves: Vec<(String, Figure)>,
    /// Figures by place.
    pub edges: Option<Table>,
    /// Veil and ghosts in figures.
    pub others: Option<Table>,
    /// How to read it.
    pub notes: Vec<String>,
    /// Frames that were used for it, or not.
    pub frames: String,
}

/// Builds the section.
pub fn picture(profile: &Profile, drawings: &mut Drawings) -> Option<PictureView> {
    let found = profile.picture.as_ref()?;
    let mut notes = Vec::new();
    if !found.sharpness.is_empty() {
        notes.push(
            "MTF50 is the number of lines, counted as pairs of dark and light, at which their contrast \
             falls to a half. It belongs to this lens, aperture, focus and camera; only the ratio of \
             filtered over bare belongs to the filter. After the idea of ISO 12233, on the green pixels \
             of the raw mosaic, without sharpening."
                .to_owned(),
        );
    }
    if found.veiling_glare.is_some() {
        notes.push(
            "Veil is light in a dark hole over the light around it (the idea of ISO 18844); what the \
             hole itself sends back is in both figures and not in their difference."
                .to_owned(),
        );
    }
    Some(PictureView {
        lead: said::sentences(profile),
        curves: found.sharpness.iter().enumerate().map(|(i, e)| curves(i, e, drawings)).collect(),
        edges: edges(found),
        others: others(found),
        notes,
        frames: frames(found),
    })
}

fn curves(index: usize, edge: &Sharpness, drawings: &mut Drawings) -> (String, Figure) {
    let finding = format!(
        "MTF50 {} cycles per pixel without the filter{}.",
        fixed(edge.bare.mtf50.value.get(), 3),
        edge.filtered.as_ref().map_or_else(String::new, |f| format!(
            ", {} through it",
            fixed(f.mtf50.value.get(), 3)
        ))
    );
    let draw = |name: String, width| {
        let title = format!("Modulation by frequency, {}", edge.place);
        let caption = Caption { name, title, finding: finding.clone() };
        let filtered = edge.filtered.as_ref().map(|f| f.curve.as_slice());
        mtf::both(&caption, &edge.bare.curve, filtered, width)
    };
    let name = format!("sharpness-{}", index + 1);
    let narrow = format!("{name}-narrow");
    let figure = Figure {
        wide: drawings.keep("the sharpness", draw(name, 330.0)),
        narrow: drawings.only_inline("the sharpness", draw(narrow, 330.0)),
        caption: String::new(),
    };
    (crate::say::figures::sentence(&edge.place), figure)
}

fn edges(found: &Picture) -> Option<Table> {
    if found.sharpness.is_empty() {
        return None;
    }
    let mut table = Table::new(
        "MTF50 by place, in line pairs per picture height, and filtered over bare",
        [
            ("Place", Column::Words),
            ("Without", Column::Figures),
            ("Through it", Column::Figures),
            ("Ratio", Column::Figures),
        ],
    );
    for edge in &found.sharpness {
        let heights = |m: &crate::profile::Mtf| {
            let per_pixel = m.mtf50_per_height.get() / m.mtf50.value.get();
            with_doubt(m.mtf50_per_height.get(), m.mtf50.u95.get() * per_pixel)
        };
        let none = || "\u{2013}".to_owned();
        table.push(
            edge.place.clone(),
            vec![
                heights(&edge.bare),
                edge.filtered.as_ref().map_or_else(none, heights),
                edge.ratio.map_or_else(none, |r| with_doubt(r.value.get(), r.u95.get())),
            ],
        );
    }
    Some(table)
}

fn others(found: &Picture) -> Option<Table> {
    let mut table =
        Table::new("Veil and ghosts", [("Figure", Column::Words), ("Value", Column::Figures)]);
    if let Some(veil) = &found.veiling_glare {
        for (name, value) in [
            ("Veil without the filter, % of the light around", veil.bare),
            ("Veil through it", veil.filtered),
            ("The filter\u{2019}s own part", veil.added),
        ] {
            table.push(name, vec![with_doubt(value.value.get(), value.u95.get())]);
        }
        let lift = (veil.shadow_lift_stops.get(), veil.shadow_lift_u95.get());
        table.push(
            "Lift of a shadow ten stops below white",
            vec![format!("{} stop", with_doubt(lift.0, lift.1))],
        );
    }
    for ghost in found.ghosts.iter().flatten() {
        table.push(
            format!(
                "Ghost at {} % from the left, {} % from the top",
                fixed(ghost.x_percent.get(), 0),
                fixed(ghost.y_percent.get(), 0)
            ),
            vec![format!("{} stops", with_doubt(ghost.stops.get(), ghost.u95.get()))],
        );
    }
    (!table.lines.is_empty()).then_some(table)
}

fn frames(found: &Picture) -> String {
    let used = found.frames.iter().filter(|f| f.state != "left_out").count();
    let left: Vec<String> = found
        .frames
        .iter()
        .filter(|f| f.state == "left_out")
        .map(|f| format!("{} ({})", f.file, f.verdict.text))
        .collect();
    let words = crate::say::figures::count(used, "frame");
    if left.is_empty() {
        format!("From {words} of their own.")
    } else {
        format!("From {words} of their own; left out: {}.", left.join(", "))
    }
}
