//! A variable filter: marks against stops, where to stop, which lens is wide enough.

use super::{Drawings, Figure};
use crate::kit::lens;
use crate::profile::{PolariserPair, Profile, Setting};
use crate::report::plots::Caption;
use crate::report::plots::marks::{self, MarkPoint};
use crate::report::plots::ruler::{self, Band, Claim, Row};
use crate::report::table::{Column, Table};
use crate::say::figures::{self as words, fixed};
use crate::say::{ring as said, strength};

/// The section on the ring.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ring {
    /// Sentences.
    pub lead: Vec<String>,
    /// Marks against stops.
    pub curve: Figure,
    /// Each mark on the ruler.
    pub rulers: Figure,
    /// All marks.
    pub marks: Table,
    /// For each lens the last mark.
    pub lenses: Option<Table>,
}

/// For each setting whether it lies beyond the last usable mark.
pub fn beyond_usable(profile: &Profile) -> Vec<bool> {
    profile.settings.iter().map(|s| !lens::within_usable(profile, s)).collect()
}

/// Builds the section for filters with marks.
pub fn ring(profile: &Profile, drawings: &mut Drawings) -> Option<Ring> {
    if profile.settings.len() < 2 || profile.settings.iter().all(|s| s.mark.is_none()) {
        return None;
    }
    let mut lead: Vec<String> = profile.usable.iter().map(said::usable_sentence).collect();
    if let Some(pair) = &profile.polariser_pair {
        lead.extend(said::pair_sentence(pair));
        lead.push(said::FORETOLD.to_owned());
    }
    let claims: Vec<Claim> = strength::claims(profile)
        .into_iter()
        .map(|(stops, words)| Claim { stops: stops.get(), words })
        .collect();
    Some(Ring {
        lead,
        curve: curve(profile, &claims, drawings),
        rulers: rulers(profile, &claims, drawings),
        marks: table(profile),
        lenses: lenses(profile),
    })
}

fn extremes(setting: &Setting) -> Option<(f64, f64)> {
    let evenness = setting.evenness.as_ref()?;
    let known = evenness.maps.green.iter().flatten().map(|stops| stops.get());
    let (lo, hi) =
        known.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), v| (lo.min(v), hi.max(v)));
    (lo <= hi).then_some((lo, hi))
}

fn mark_of(setting: &Setting) -> String {
    setting.mark.clone().unwrap_or_else(|| "\u{2013}".to_owned())
}

fn curve(profile: &Profile, claims: &[Claim], drawings: &mut Drawings) -> Figure {
    let beyond = beyond_usable(profile);
    let judged = profile.usable.is_some();
    let points: Vec<MarkPoint> = profile
        .settings
        .iter()
        .zip(beyond)
        .map(|(setting, beyond)| MarkPoint {
            label: mark_of(setting),
            stops: setting.strength.stops.get(),
            u95: setting.strength.u95.get(),
            extremes: extremes(setting),
            usable: judged.then_some(!beyond),
        })
        .collect();
    let zone = profile.usable.as_ref().map_or_else(String::new, |usable| {
        format!("even within {} stop", fixed(usable.tolerance_stops.get(), 2))
    });
    let finding = points
        .iter()
        .map(|p| format!("mark {} {} stops", p.label, fixed(p.stops, 2)))
        .collect::<Vec<_>>()
        .join(", ");
    let caption = Caption {
        name: "marks".to_owned(),
        title: "Marks of the ring against stops".to_owned(),
        finding: format!("{}.", words::sentence(&finding)),
    };
    let words = "Dots: the centre of the frame. Thin brackets: from the lightest to the darkest place of \
                 the frame. Shaded: marks within the tolerance; rings instead of dots lie beyond it.";
    drawings.both("the curve of marks", &caption, words.to_owned(), |caption, width| {
        marks::curve(caption, &points, claims, &zone, width)
    })
}

fn rulers(profile: &Profile, claims: &[Claim], drawings: &mut Drawings) -> Figure {
    let rows: Vec<Row> = profile
        .settings
        .iter()
        .map(|setting| {
            let (stops, u95) = (setting.strength.stops.get(), setting.strength.u95.get());
            Row {
                label: format!("mark {}", mark_of(setting)),
                band: Band::one(stops, u95, words::with_doubt(stops, u95)),
            }
        })
        .collect();
    let caption = Caption {
        name: "mark-rulers".to_owned(),
        title: "Each mark on the ruler of stops".to_owned(),
        finding:
            "The strength of every mark with its uncertainty; the figures stand in the table below."
                .to_owned(),
    };
    let rated = if claims.is_empty() { "" } else { "; the grey lines are what it is rated" };
    let words = format!("Each mark on the ruler{rated}.");
    drawings.both("the rulers of marks", &caption, words, |caption, width| {
        ruler::rows(caption, &rows, claims, width)
    })
}

fn table(profile: &Profile) -> Table {
    let mut table = Table::new(
        format!(
            "Marks, true stops, and how even each is (beyond: less even than the tolerance allows; {})",
            said::NONE_WILL_DO
        ),
        [
            ("Mark", Column::Words),
            ("Stops", Column::Figures),
            ("Spread", Column::Figures),
            ("Dark cross", Column::Words),
            ("Axes apart", Column::Figures),
            ("Widest lens", Column::Figures),
        ],
    );
    let repeats = profile.settings.iter().any(|s| s.ring_repeat_stops.is_some());
    if repeats {
        table.head.push("Set by hand".to_owned());
        table.columns.push(Column::Figures);
    }
    for (setting, beyond) in profile.settings.iter().zip(beyond_usable(profile)) {
        let mark = mark_of(setting);
        let mut cells = vec![
            words::with_doubt(setting.strength.stops.get(), setting.strength.u95.get()),
            setting.evenness.as_ref().map_or_else(dash, |e| fixed(e.spread_stops.get(), 2)),
            setting
                .evenness
                .as_ref()
                .map_or_else(dash, |e| said::cross(e.dark_cross.state).to_owned()),
            profile.polariser_pair.as_ref().map_or_else(dash, |pair| axes(pair, &mark)),
            said::widest(lens::widest(profile, setting)),
        ];
        if repeats {
            cells.push(setting.ring_repeat_stops.map_or_else(dash, |repeat| {
                format!("\u{b1} {}", crate::rounding::fixed(repeat.value.get(), 2))
            }));
        }
        let header = if beyond { format!("{mark}, beyond") } else { mark };
        table.push_marked(header, cells, beyond);
    }
    table
}

fn dash() -> String {
    "\u{2013}".to_owned()
}

fn axes(pair: &PolariserPair, mark: &str) -> String {
    let Some(found) = pair.marks.iter().find(|m| m.mark == mark) else { return dash() };
    match (found.axes_angle, found.u95) {
        (Some(angle), _) if found.state == "near parallel" => {
            format!("under {}\u{b0}", fixed(angle.get(), 0))
        }
        (Some(angle), Some(u95)) => format!("{}\u{b0}", words::with_doubt(angle.get(), u95.get())),
        (Some(angle), None) => format!("{}\u{b0}", fixed(angle.get(), 0)),
        (None, _) => found.state.clone(),
    }
}

fn lenses(profile: &Profile) -> Option<Table> {
    let mut table = Table::new(
        "How far to turn the ring with each lens",
        [("Focal length", Column::Figures), ("Last mark", Column::Words)],
    );
    for (focal, mark) in said::last_marks(profile) {
        table.push(format!("{} mm", fixed(focal.get(), 0)), vec![mark]);
    }
    (!table.lines.is_empty()).then_some(table)
}
