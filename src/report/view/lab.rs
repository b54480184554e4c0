//! What is for the laboratory: budget, colour figures, pattern, provenance; folded on the page.

use super::{Drawings, Figure};
use crate::measured::dof_of_factor;
use crate::profile::{BudgetKind, CameraRecord, Cast, Profile, Setting};
use crate::quantity::Stops;
use crate::report::plots::Caption;
use crate::report::plots::colour::{PlanePoint, plane};
use crate::report::table::{Column, Table};
use crate::say::figures::{self as words, fixed, signed, significant, unit};

/// One folded part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fold {
    /// Its heading.
    pub heading: String,
    /// Sentences.
    pub lead: Vec<String>,
    /// A drawing.
    pub figure: Option<Figure>,
    /// Tables.
    pub tables: Vec<Table>,
}

/// All folded parts that have something to say.
pub fn folds(profile: &Profile, drawings: &mut Drawings) -> Vec<Fold> {
    let mut folds = Vec::new();
    folds.extend(budget(profile));
    folds.extend(colour(profile, drawings));
    folds.extend(pattern(profile));
    folds.push(provenance(profile));
    folds
}

fn budget(profile: &Profile) -> Option<Fold> {
    if profile.budget.is_empty() {
        return None;
    }
    let total: f64 = profile.budget.iter().map(|line| line.stops.get().powi(2)).sum();
    let mut table = Table::new(
        "What the uncertainty of the first setting is made of (standard uncertainties in stops)",
        [
            ("Source", Column::Words),
            ("Type", Column::Words),
            ("Stops", Column::Figures),
            ("Share", Column::Figures),
        ],
    );
    for line in &profile.budget {
        let kind = match line.kind {
            BudgetKind::A => "A",
            BudgetKind::B => "B",
        };
        let stops = line.stops.get();
        let share = if total > 0.0 { 100.0 * stops * stops / total } else { 0.0 };
        table.push(
            line.source.clone(),
            vec![kind.to_owned(), fixed(stops, 4), format!("{share:.0} %")],
        );
    }
    let mut lead = vec![
        "Type A comes from repeated frames, type B from other knowledge (JCGM 100). The parts add \
         as squares; the expanded uncertainty is the root of their sum times a coverage factor for \
         95 %."
            .to_owned(),
    ];
    let first = profile.settings.first().map(|setting| setting.strength.u95.get());
    lead.extend(first.and_then(|u95| expanded(total.sqrt(), u95)));
    lead.extend(profile.graduation.as_ref().and_then(|g| g.dark_end_u95).map(of_dark_end));
    Some(Fold { heading: "Uncertainty budget".to_owned(), lead, figure: None, tables: vec![table] })
}

/// From standard to expanded uncertainty, both in stops.
fn expanded(u: f64, u95: f64) -> Option<String> {
    let factor = u95 / u;
    let dof = dof_of_factor(factor);
    let why = match (factor < LEAST_FACTOR, dof.is_finite()) {
        (true, _) => "less than 1.96, since what is unknown has bounds".to_owned(),
        (_, false) => "that of a normal distribution".to_owned(),
        _ => format!("Student's t for {} degrees of freedom", significant(dof, 2)),
    };
    factor.is_finite().then(|| {
        format!(
            "Here the root is {} {} and the factor {}, {why}: together {} {}.",
            significant(u, 3),
            unit(u),
            fixed(factor, 2),
            significant(u95, 3),
            unit(u95)
        )
    })
}

/// Smaller factors are not those of a normal distribution, 1.96.
const LEAST_FACTOR: f64 = 1.95;

fn of_dark_end(u95: Stops) -> String {
    format!(
        "All this is of the middle of the frame. How much darker the dark end is than the clear one is \
         known to \u{b1} {} stop, from four doubts that add as squares as well: noise of the map, shape of \
         the edge, its part beyond the frame, and a light that may have changed across the frame.",
        significant(u95.get(), 2)
    )
}

fn colour(profile: &Profile, drawings: &mut Drawings) -> Option<Fold> {
    let several = profile.settings.len() > 1;
    let mut table = Table::new(
        "Colour through the camera's matrix, the bare light as white",
        [
            ("Setting", Column::Words),
            ("a*, b* at L* 50", Column::Figures),
            ("\u{394}E00", Column::Figures),
            ("Mired", Column::Figures),
            ("Duv", Column::Figures),
        ],
    );
    let mut points = Vec::new();
    for (index, setting) in profile.settings.iter().enumerate() {
        let Some([_, a, b]) = setting.cast.lab else { continue };
        let name = name_of(setting);
        let end = index == 0 || index + 1 == profile.settings.len();
        let label = if end { name.clone() } else { String::new() };
        points.push(PlanePoint { label, a, b, doubt: MATRIX_DOUBT_95 });
        table.push(name, colour_cells(&setting.cast, a, b));
    }
    if points.is_empty() {
        return None;
    }
    Some(Fold {
        heading: "Colour for the laboratory".to_owned(),
        lead: colour_lead(profile),
        figure: Some(colour_figure(several, &points, drawings)),
        tables: vec![table],
    })
}

fn colour_figure(several: bool, points: &[PlanePoint], drawings: &mut Drawings) -> Figure {
    let finding = format!(
        "{} in the plane of a* and b*; the bare light stands in the middle.",
        if several { "All marks" } else { "The filter" }
    );
    let caption =
        Caption { name: "plane".to_owned(), title: "The cast in CIELAB".to_owned(), finding };
    Figure {
        wide: drawings.keep("the plane of a* and b*", plane(&caption, points, 340.0)),
        narrow: String::new(),
        caption:
            "A neutral behind the filter, the bare light as white. The ring round each point is \
                  what the matrix leaves open."
                .to_owned(),
    }
}

fn name_of(setting: &Setting) -> String {
    setting.mark.as_ref().map_or_else(|| "filter".to_owned(), |mark| format!("mark {mark}"))
}

fn colour_cells(cast: &Cast, a: f64, b: f64) -> Vec<String> {
    let dash = || "\u{2013}".to_owned();
    vec![
        format!("{}, {}", signed(a, 1), signed(b, 1)),
        cast.delta_e_2000.map_or_else(dash, |d| fixed(d.get(), 1)),
        cast.mired_shift
            .map_or_else(dash, |m| words::signed_with_doubt(m.value.get(), m.u95.get())),
        cast.duv_shift.map_or_else(dash, |d| words::signed_with_doubt(d.value.get(), d.u95.get())),
    ]
}

/// Twice the standard uncertainty of a colour difference through a camera's matrix, 1.1 (ours).
const MATRIX_DOUBT_95: f64 = 2.2;

fn colour_lead(profile: &Profile) -> Vec<String> {
    let mut lead = vec![
        "A camera is no colorimeter: these figures are bounded by its matrix. A filter that leaks far \
         red cannot be judged for the eye by a camera that cuts it."
            .to_owned(),
    ];
    if let Some(light) = &profile.light {
        lead.push(format!(
            "Bare light as this camera sees it: {} K, Duv {}.",
            words::thousands(light.cct_k.get()),
            signed(light.duv.get(), 4)
        ));
    }
    if let Some(matrix) = &profile.camera.colour_matrix {
        let light = matrix.illuminant.as_ref().map_or_else(String::new, |i| format!(", for {i}"));
        let values: Vec<String> = matrix.xyz_to_camera.iter().map(|v| fixed(*v, 4)).collect();
        lead.push(format!("Matrix from {}{light}: {}.", matrix.source, values.join(" ")));
    }
    lead
}

fn pattern(profile: &Profile) -> Option<Fold> {
    let mut table = Table::new(
        "Fitted pattern, peak to peak in stops at the corner radius; angles from the right edge, \
         counter-clockwise",
        [
            ("Setting", Column::Words),
            ("Falloff", Column::Figures),
            ("Tilt", Column::Figures),
            ("Saddle", Column::Figures),
            ("Cross", Column::Figures),
            ("Residual", Column::Figures),
        ],
    );
    let directed = |d: &crate::profile::Directed| {
        format!("{} at {}\u{b0}", fixed(d.stops.get(), 3), fixed(d.angle.get(), 0))
    };
    let mut all_valid = true;
    for setting in &profile.settings {
        let Some(evenness) = &setting.evenness else { continue };
        let p = &evenness.pattern;
        all_valid &= p.valid;
        let mut name = name_of(setting);
        if !p.valid {
            name.push_str(" (not valid)");
        }
        table.push_marked(
            name,
            vec![
                signed(p.falloff_stops.get(), 3),
                directed(&p.tilt),
                directed(&p.saddle),
                directed(&p.cross),
                fixed(p.residual_stops.get(), 3),
            ],
            !p.valid,
        );
    }
    if table.lines.is_empty() {
        return None;
    }
    let mut lead = vec![
        "Filtered over bare, cell by cell, so uneven light and the lens's own falloff cancel."
            .to_owned(),
    ];
    if !all_valid {
        lead.push(
            "Where the pattern is marked not valid, the harmonics do not describe the map."
                .to_owned(),
        );
    }
    Some(Fold {
        heading: "Pattern of the maps".to_owned(),
        lead,
        figure: None,
        tables: vec![table],
    })
}

fn provenance(profile: &Profile) -> Fold {
    let mut table = Table::new(
        "Where the numbers come from",
        [("What", Column::Words), ("Value", Column::Words)],
    );
    let mut push = |name: &str, value: Option<String>| {
        if let Some(value) = value {
            table.push(name, vec![value]);
        }
    };
    let CameraRecord {
        make, model, serial, lens, focal_length_mm, f_number, iso, sensor_mm, ..
    } = &profile.camera;
    push("Program", Some(format!("{} {}", profile.made_by.program, profile.made_by.version)));
    push("Profile", Some(profile.schema.clone()));
    push("Camera", camera(make.as_deref(), model.as_deref()));
    push("Serial number", serial.clone());
    push("Lens", lens.clone());
    push("Focal length", focal_length_mm.map(|f| format!("{} mm", words::rating(f.get()))));
    push("Aperture", f_number.map(|n| format!("f/{}", words::rating(n.get()))));
    push("ISO", iso.map(|iso| format!("{:.0}", iso.get())));
    push(
        "Sensor",
        sensor_mm.as_ref().map(|s| {
            let size = |v: f64| significant(v, 3);
            format!("{} x {} mm ({})", size(s.width.get()), size(s.height.get()), s.source)
        }),
    );
    push("Filter size", profile.filter.size.clone());
    push("Note", profile.filter.note.clone());
    let mut hashes =
        Table::new("SHA-256 of every frame", [("File", Column::Words), ("SHA-256", Column::Words)]);
    for frame in &profile.frames {
        hashes.push(frame.file.clone(), vec![frame.sha256.clone()]);
    }
    Fold {
        heading: "Provenance".to_owned(),
        lead: vec!["Everything on this page follows from the profile beside it, and that from these files.".to_owned()],
        figure: None,
        tables: vec![table, hashes],
    }
}

/// "Maker Model" without saying the maker twice.
pub fn camera(make: Option<&str>, model: Option<&str>) -> Option<String> {
    match (make, model) {
        (Some(make), Some(model)) if model.to_lowercase().starts_with(&make.to_lowercase()) => {
            Some(model.to_owned())
        }
        (Some(make), Some(model)) => Some(format!("{make} {model}")),
        (one, other) => one.or(other).map(str::to_owned),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// JCGM 100:2008, table G.2: 2.78 at four degrees of freedom.
    #[test]
    fn the_coverage_factor_is_told_and_what_it_stands_for() {
        let of = |u95| expanded(0.01, u95).unwrap();
        let said = "Here the root is 0.0100 stop and the factor 2.78, Student's t for 4.0 degrees of \
                    freedom: together 0.0278 stop.";
        assert_eq!(of(0.027_76), said);
        assert!(of(0.019_6).contains("1.96, that of a normal distribution"), "{}", of(0.019_6));
        assert!(of(0.015).contains("1.50, less than 1.96"), "{}", of(0.015));
        assert_eq!(expanded(0.0, 0.0), None);
    }
}
