//! A camera record as a page, and as a terminal shows it.

use super::ReportError;
use super::lines::wrapped;
use super::plots::Caption;
use super::plots::course::{CourseAxes, CoursePoint, course};
use super::table::{Column, Table};
use super::view::{Drawings, Figure};
use crate::body_record::{BodyRecord, LeftOutFrame, Linearity, TimeOfBody};
use crate::exposure::series::DialTime;
use crate::say::camera as said;
use crate::say::figures::plain;
use crate::text::count;
use askama::Template;

/// Everything on the page.
struct CameraView {
    body: String,
    verdict: String,
    made_of: String,
    times: Table,
    figure: Figure,
    about_times: Vec<String>,
    line: Option<LineView>,
    sensor: Vec<String>,
    cautions: Vec<String>,
    left_out: Option<Table>,
    made_by: String,
    failures: Vec<String>,
}

/// How straight the sensor is.
struct LineView {
    sentence: String,
    figure: Figure,
    table: Table,
}

#[derive(Template)]
#[template(path = "camera.html")]
struct CameraPage<'a> {
    page: &'a CameraView,
}

/// The page: one file, its drawings inside.
///
/// # Errors
/// Where the template refuses.
pub fn camera_page(record: &BodyRecord) -> Result<String, ReportError> {
    let mut drawings = Drawings::default();
    let figure = times_drawn(record, &mut drawings);
    let line = record.linearity.as_ref().map(|line| LineView {
        sentence: said::linearity(line),
        figure: line_drawn(line, &mut drawings),
        table: line_table(line),
    });
    let made_by = &record.made_by;
    let view = CameraView {
        body: record.body.shown(),
        verdict: said::verdict(record),
        made_of: said::made_of(record),
        times: times_table(record),
        figure,
        about_times: said::about_times(record),
        line,
        sensor: said::sensor(record),
        cautions: record.cautions.iter().map(|c| c.text.clone()).collect(),
        left_out: left_out(record),
        made_by: format!("{} {}", made_by.program, made_by.version),
        failures: drawings.failures,
    };
    Ok(CameraPage { page: &view }.render()?)
}

fn times_table(record: &BodyRecord) -> Table {
    let mut table = Table::new(
        "True times of the dial, shortest first",
        [
            ("Dial", Column::Figures),
            ("True time", Column::Figures),
            ("Off by", Column::Figures),
            ("Stops", Column::Figures),
            ("u95, stops", Column::Figures),
            ("Frames", Column::Figures),
        ],
    );
    for time in &record.times.list {
        let mut cells = said::time(record, time).to_vec();
        cells.push(time.frames.to_string());
        table.push(time.dial.clone(), cells);
    }
    table
}

fn line_table(line: &Linearity) -> Table {
    let mut table = Table::new(
        "Levels against a line through them",
        [
            ("Level, % of full scale", Column::Figures),
            ("From the line", Column::Figures),
            ("u95, %", Column::Figures),
        ],
    );
    for point in &line.points {
        let [level, off, doubt] = said::level(point);
        table.push(level, vec![off, doubt]);
    }
    table
}

fn left_out(record: &BodyRecord) -> Option<Table> {
    let mut table =
        Table::new("Frames that were left out", [("File", Column::Words), ("Why", Column::Words)]);
    for frame in &record.frames.left_out {
        table.push(frame.file.clone(), vec![frame.reason.clone()]);
    }
    (!table.lines.is_empty()).then_some(table)
}

/// Stops from the shortest time on.
fn along(time: &TimeOfBody) -> f64 {
    time.shown_s.get().log2()
}

fn times_drawn(record: &BodyRecord, drawings: &mut Drawings) -> Figure {
    let times = &record.times.list;
    let points: Vec<CoursePoint> = times
        .iter()
        .map(|t| CoursePoint {
            x: along(t),
            value: t.deviation_stops.get(),
            u95: t.u95_stops.get(),
            letter: String::new(),
        })
        .collect();
    let dial = |t: &TimeOfBody| DialTime::showing(t.shown_s);
    let behind = |t: &TimeOfBody| Some(t.deviation_stops.get() - dial(t)?.difference().get());
    let moved = record.reference().and_then(behind).unwrap_or(0.0);
    let powers = times.iter().filter_map(|t| Some((along(t), dial(t)?.difference().get())));
    let axes = CourseAxes {
        what: "stops; up is longer than shown".to_owned(),
        ticks: whole_stops(times),
        room: 0.3,
        nought: true,
        claimed: powers.map(|(x, off)| (x, off + moved)).collect(),
        ..CourseAxes::default()
    };
    let words = format!(
        "By how much each time is longer than its dial shows; bars as long as the uncertainty, \
         against {}. Rings: where a body that keeps powers of two would be.",
        record.times.reference
    );
    let caption = Caption {
        name: "camera-times".to_owned(),
        title: "True times of the dial".to_owned(),
        finding: said::verdict(record),
    };
    drawings.both(&caption.title, &caption, words, |caption, width| {
        course(caption, &points, &axes, width)
    })
}

/// Words for the whole stops of the dial; every second where there are many.
fn whole_stops(times: &[TimeOfBody]) -> Vec<(f64, String)> {
    const MANY: usize = 9;
    let whole = |t: &&TimeOfBody| DialTime::showing(t.shown_s).is_some_and(DialTime::is_full_stop);
    let whole: Vec<&TimeOfBody> = times.iter().filter(whole).collect();
    let every = whole.len().div_ceil(MANY).max(1);
    whole.iter().step_by(every).map(|t| (along(t), t.dial.clone())).collect()
}

fn line_drawn(line: &Linearity, drawings: &mut Drawings) -> Figure {
    let points: Vec<CoursePoint> = line
        .points
        .iter()
        .map(|p| CoursePoint {
            x: p.level_percent.get(),
            value: p.deviation_percent.get(),
            u95: p.u95_percent.get(),
            letter: String::new(),
        })
        .collect();
    let axes = CourseAxes {
        what: "% from a straight line".to_owned(),
        ticks: (0..=4).map(|n| (25.0 * f64::from(n), format!("{} %", 25 * n))).collect(),
        room: 3.0,
        nought: true,
        ..CourseAxes::default()
    };
    let caption = Caption {
        name: "camera-line".to_owned(),
        title: "Levels against light".to_owned(),
        finding: said::linearity(line),
    };
    let words = "How far levels are from a line against light, by the share of full scale; bars as long as \
                 the uncertainty.";
    drawings.both(&caption.title, &caption, words.to_owned(), |caption, width| {
        course(caption, &points, &axes, width)
    })
}

/// Reasons to leave frames out that are told, each with its first frame.
const MOST_NAMED: usize = 8;

/// The whole record as a terminal shows it, at most 79 columns wide.
#[must_use]
pub fn text(record: &BodyRecord) -> String {
    let mut out = wrapped("", &format!("Camera record of {}.", record.body.shown()));
    out.push_str(&wrapped("", &said::verdict(record)));
    out.push_str(&wrapped("", &said::made_of(record)));
    out.push_str(&times_told(record));
    if let Some(linearity) = &record.linearity {
        out.push_str("\nlevel, % of full scale   from a straight line        u95\n");
        for point in &linearity.points {
            let [level, off, doubt] = said::level(point).map(|cell| plain(&cell));
            out.push_str(&format!("{level:>22}   {off:>20}   {doubt:>8}\n"));
        }
        out.push_str(&wrapped("", &said::linearity(linearity)));
    }
    out.push('\n');
    for sentence in said::sensor(record) {
        out.push_str(&wrapped("", &plain(&sentence)));
    }
    for caution in &record.cautions {
        out.push('\n');
        out.push_str(&wrapped("", &format!("Mind: {}", caution.text)));
    }
    out.push_str(&left_out_told(&record.frames.left_out));
    out
}

fn times_told(record: &BodyRecord) -> String {
    let mut out =
        "\ndial       true time      off by   off by, stop   u95, stop  frames\n".to_owned();
    for time in &record.times.list {
        let [open, percent, stops, doubt] = said::time(record, time).map(|cell| plain(&cell));
        out.push_str(&format!(
            "{:<9}  {open:<11}  {percent:>8}  {stops:>13}  {doubt:>10}  {:>6}\n",
            time.dial, time.frames
        ));
    }
    out.push('\n');
    for sentence in said::about_times(record) {
        out.push_str(&wrapped("", &sentence));
    }
    out
}

fn left_out_told(frames: &[LeftOutFrame]) -> String {
    let mut out = String::new();
    if !frames.is_empty() {
        out.push_str(&format!("\nLeft out: {}.\n", count(frames.len(), "frame")));
    }
    let mut alike: Vec<(&LeftOutFrame, usize)> = Vec::new();
    for frame in frames {
        match alike.iter_mut().find(|(first, _)| first.reason == frame.reason) {
            Some((_, more)) => *more += 1,
            None => alike.push((frame, 0)),
        }
    }
    for (first, more) in alike.iter().take(MOST_NAMED) {
        let and = if *more > 0 { format!(" and {more} more") } else { String::new() };
        out.push_str(&wrapped("  ", &format!("{}{and}: {}", first.file, first.reason)));
    }
    let named: usize = alike.iter().take(MOST_NAMED).map(|(_, more)| more + 1).sum();
    if named < frames.len() {
        out.push_str(&format!("  and {} more, all of them in the record\n", frames.len() - named));
    }
    out
}
