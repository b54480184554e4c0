//! The page of a filter over the years.

use super::plots::Caption;
use super::plots::course::{CourseAxes, CoursePoint, course};
use super::table::{Column, Table};
use super::view::{self, Drawings, Figure};
use super::{ReportError, ReportFiles};
use crate::compare::history::{History, Plotted, Point};
use crate::profile::{Kind, Profile};
use crate::say::{history as said, kept};
use askama::Template;
use jiff::civil::DateTime;

/// Everything on the page.
struct HistoryView {
    name: String,
    identity: String,
    answer: String,
    changed: Vec<String>,
    lead: Vec<String>,
    figures: Vec<Figure>,
    changes: Option<Table>,
    measurements: Table,
    safety: Vec<String>,
    failures: Vec<String>,
}

#[derive(Template)]
#[template(path = "history.html")]
struct HistoryPage<'a> {
    page: &'a HistoryView,
}

/// The page and its drawings; `newest` is the profile that counts today.
///
/// # Errors
/// Where the template refuses.
pub fn history_page(history: &History, newest: &Profile) -> Result<ReportFiles, ReportError> {
    let mut drawings = Drawings::default();
    let figures = figures(history, &mut drawings);
    let view = HistoryView {
        name: history.name.clone(),
        identity: view::identity(newest),
        answer: said::verdict(history),
        changed: said::changes(history),
        lead: lead(history),
        figures,
        changes: changes(history),
        measurements: measurements(history),
        safety: view::sun(newest),
        failures: drawings.failures.clone(),
    };
    let html = HistoryPage { page: &view }.render()?;
    Ok(ReportFiles { html, plots: drawings.files })
}

fn lead(history: &History) -> Vec<String> {
    let several = history.points.len() > 1;
    let mut lead: Vec<String> = said::marks(history).into_iter().collect();
    lead.extend(said::course(history));
    lead.extend(several.then(|| said::cameras(history)));
    lead
}

fn changes(history: &History) -> Option<Table> {
    let mut table = Table::new(
        "What has changed since the first measurement. A filter that never changed would show so much \
         by chance as often as the third column says; all rows together give such a false alarm once \
         in twenty histories at most.",
        [
            ("What", Column::Words),
            ("Change, stops", Column::Figures),
            ("By chance alone", Column::Words),
            ("So", Column::Words),
        ],
    );
    for change in &history.changes {
        table.push_marked(said::name(change.quantity), said::row(change).to_vec(), change.shows);
    }
    (!table.lines.is_empty()).then_some(table)
}

fn measurements(history: &History) -> Table {
    const CAPTION: &str = "All measurements: strength in stops, shift of the light in mired";
    let [day, strength] = [("Day", Column::Words), ("Strength", Column::Figures)];
    let [mired, spread] = [("Mired", Column::Figures), ("Spread", Column::Figures)];
    let [camera, lens] = [("Camera", Column::Words), ("Lens", Column::Words)];
    let mut table = if told_spread(history) {
        let caption = format!("{CAPTION}, spread across the frame in stops");
        Table::new(caption, [day, strength, mired, spread, camera, lens])
    } else {
        Table::new(CAPTION, [day, strength, mired, camera, lens])
    };
    for point in &history.points {
        let [strength, mired, spread] = said::point(point);
        let camera = match letter(history, point.camera) {
            letter if letter.is_empty() => history.cameras[point.camera].clone(),
            letter => format!("{letter}: {}", history.cameras[point.camera]),
        };
        let mut cells = vec![strength, mired];
        cells.extend(told_spread(history).then_some(spread));
        cells.extend([camera, point.lens.clone()]);
        table.push(kept::day(point.at), cells);
    }
    table
}

/// A graduated filter is not meant to be even.
fn told_spread(history: &History) -> bool {
    history.kind != Kind::Graduated
}

/// A letter for each camera where there are several.
fn letter(history: &History, camera: usize) -> String {
    const LETTERS: &str = "ABCDEFGHIJKLMNOPQRSTUVWXYZ";
    match history.cameras.len() {
        0 | 1 => String::new(),
        _ => LETTERS.chars().nth(camera).map_or_else(|| "+".to_owned(), String::from),
    }
}

/// What is drawn of each measurement, under which name and over which axis.
type Panel = (&'static str, &'static str, &'static str, fn(&Point) -> Option<Plotted>);

fn figures(history: &History, drawings: &mut Drawings) -> Vec<Figure> {
    const PANELS: [Panel; 3] = [
        ("history-strength", "Strength over the years", "stops", |p| Some(p.strength)),
        ("history-cast", "Shift of the light over the years", "mired; up is warmer", |p| p.mired),
        ("history-spread", "Spread across the frame over the years", "stops", |p| p.unevenness),
    ];
    let told = if told_spread(history) { &PANELS[..] } else { &PANELS[..2] };
    told.iter().filter_map(|panel| figure(history, panel, drawings)).collect()
}

fn figure(
    history: &History,
    (name, title, what, of): &Panel,
    drawings: &mut Drawings,
) -> Option<Figure> {
    let points: Vec<CoursePoint> = history
        .points
        .iter()
        .filter_map(|point| {
            let plotted = of(point).filter(|p| p.value.is_finite())?;
            Some(CoursePoint {
                x: year(point.at?),
                value: plotted.value,
                u95: if plotted.u95.is_finite() { plotted.u95 } else { 0.0 },
                letter: letter(history, point.camera),
            })
        })
        .collect();
    if points.len() < 2 {
        return None;
    }
    let axes = over_the_years(&points, what);
    let (name, finding) = ((*name).to_owned(), said::answer(history));
    let caption = Caption { name, title: (*title).to_owned(), finding };
    let words = format!("{title}; bars as long as the uncertainty.");
    Some(
        drawings
            .both(title, &caption, words, |caption, width| course(caption, &points, &axes, width)),
    )
}

/// Every year below, or every second or third of many.
fn over_the_years(points: &[CoursePoint], what: &str) -> CourseAxes {
    let (first, last) = (points[0].x, points[points.len() - 1].x);
    let (first, last) = (first.min(last), first.max(last));
    let room = ((last - first) * 0.06).max(0.1);
    let every = ((last - first) / 8.0).ceil().max(1.0) as i64;
    let years = ((first - room).ceil() as i64..=(last + room).floor() as i64)
        .filter(|year| year % every == 0)
        .map(|year| (year as f64, year.to_string()));
    CourseAxes {
        what: what.to_owned(),
        ticks: years.collect(),
        room,
        joined: true,
        ..CourseAxes::default()
    }
}

fn year(at: DateTime) -> f64 {
    f64::from(at.year()) + f64::from(at.date().day_of_year() - 1) / 365.25
}
