//! A variable filter: marks against stops, where to stop, which lens is wide enough.

use super::headline::usable_sentence;
use super::words::{self, fixed};
use super::{Drawings, Figure};
use crate::profile::{CrossState, PolariserPair, Profile, Setting};
use crate::report::plots::Caption;
use crate::report::plots::marks::{self, MarkPoint};
use crate::report::plots::ruler::{self, Band, Claim, Row};
use crate::report::table::{Column, Table};

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

/// For each setting whether it lies beyond the last usable mark; all false where that is unknown.
pub fn beyond_usable(profile: &Profile) -> Vec<bool> {
    let Some(usable) = &profile.usable else { return vec![false; profile.settings.len()] };
    let stops = |setting: &Setting| setting.strength.stops.get();
    // A ring may have been shot from its dark end: what counts is the strength, not the order.
    let last = usable
        .last_mark
        .as_ref()
        .map(|mark| profile.settings.iter().find(|s| s.mark.as_ref() == Some(mark)).map(stops));
    profile
        .settings
        .iter()
        .map(|setting| match last {
            Some(Some(last)) => stops(setting) > last,
            Some(None) => false,
            None => true,
        })
        .collect()
}

/// Builds the section for filters with marks.
pub fn ring(profile: &Profile, drawings: &mut Drawings) -> Option<Ring> {
    if profile.settings.len() < 2 || profile.settings.iter().all(|s| s.mark.is_none()) {
        return None;
    }
    let mut lead: Vec<String> = profile.usable.iter().map(usable_sentence).collect();
    if let Some(pair) = &profile.polariser_pair {
        lead.extend(pair_sentence(pair));
    }
    let claims = claims(profile);
    Some(Ring {
        lead,
        curve: curve(profile, &claims, drawings),
        rulers: rulers(profile, &claims, drawings),
        marks: table(profile),
        lenses: profile.polariser_pair.as_ref().and_then(lenses),
    })
}

fn claims(profile: &Profile) -> Vec<Claim> {
    let Some([weak, strong]) = profile.filter.rated_range_stops else { return Vec::new() };
    let claim = |stops: f64| Claim { stops, words: format!("rated {}", words::rating(stops)) };
    vec![claim(weak.get()), claim(strong.get())]
}

fn pair_sentence(pair: &PolariserPair) -> Option<String> {
    let (focal, base) = (pair.focal_length_mm?, pair.base_stops?);
    let floor = pair.floor_stops.map_or_else(String::new, |floor| {
        format!(", and {} stops are the most that crossed polarisers reach", fixed(floor.get(), 1))
    });
    Some(format!(
        "Taken as two polarisers seen through a lens of {} mm, the filter costs {} stops before any \
         turning{floor}.",
        fixed(focal.get(), 0),
        fixed(base.get(), 2)
    ))
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
    let draw = |name: &str, width| {
        let caption = Caption {
            name: name.to_owned(),
            title: "Marks of the ring against stops".to_owned(),
            finding: format!("{}.", words::sentence(&finding)),
        };
        marks::curve(&caption, &points, claims, &zone, width)
    };
    Figure {
        wide: drawings.keep("the curve of marks", draw("marks", 680.0)),
        narrow: drawings.only_inline("the curve of marks", draw("marks-narrow", 330.0)),
        caption: "Dots: the centre of the frame. Thin brackets: from the lightest to the darkest \
                  place of the frame. Shaded: marks within the tolerance; rings instead of dots lie \
                  beyond it."
            .to_owned(),
    }
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
    let draw = |name: &str, width| {
        let caption = Caption {
            name: name.to_owned(),
            title: "Each mark on the ruler of stops".to_owned(),
            finding:
                "The strength of every mark with its doubt; the figures stand in the table below."
                    .to_owned(),
        };
        ruler::rows(&caption, &rows, claims, width)
    };
    Figure {
        wide: drawings.keep("the rulers of marks", draw("mark-rulers", 680.0)),
        narrow: drawings.only_inline("the rulers of marks", draw("mark-rulers-narrow", 330.0)),
        caption: "Each mark on the ruler; the grey lines are what the rim claims.".to_owned(),
    }
}

fn table(profile: &Profile) -> Table {
    let mut table = Table::new(
        "Marks, true stops, and how even each is (beyond: less even than the tolerance allows)",
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
            setting.evenness.as_ref().map_or_else(dash, |e| cross(e.dark_cross.state).to_owned()),
            profile.polariser_pair.as_ref().map_or_else(dash, |pair| axes(pair, &mark)),
            profile.polariser_pair.as_ref().map_or_else(dash, |pair| widest(pair, &mark)),
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

fn cross(state: CrossState) -> &'static str {
    match state {
        CrossState::Absent => "absent",
        CrossState::Forming => "forming",
        CrossState::Present => "present",
    }
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

fn widest(pair: &PolariserPair, mark: &str) -> String {
    match pair.widest_lens_mm.iter().find(|w| w.mark == mark) {
        Some(found) => found
            .focal_length_mm
            .map_or_else(|| "over 85 mm".to_owned(), |f| format!("{} mm", fixed(f.get(), 0))),
        None => dash(),
    }
}

fn lenses(pair: &PolariserPair) -> Option<Table> {
    let mut table = Table::new(
        "How far to turn the ring with each lens",
        [("Focal length", Column::Figures), ("Last mark", Column::Words)],
    );
    for last in &pair.last_mark {
        table.push(
            format!("{} mm", fixed(last.focal_length_mm.get(), 0)),
            vec![last.mark.clone().unwrap_or_else(|| "none".to_owned())],
        );
    }
    (!table.lines.is_empty()).then_some(table)
}
