//! The credit-card size for one filter: times on one side, words on the other.

use super::flow::{Flow, Style};
use super::lettering::Type;
use super::notes;
use super::side::{HAIRLINE, RULE, Side, TextAnchor};
use super::table::{self, Place};
use crate::field::card::{Card, Column, Notes};

use crate::profile::Kind;
use crate::say::{figures, habits as words};

/// ID-1 of ISO/IEC 7810: 85.60 mm x 53.98 mm.
pub const WIDTH: f64 = 85.6;
/// Its height in millimetres.
pub const HEIGHT: f64 = 53.98;
const MARGIN: f64 = 2.6;
/// Marks that fit beside each other in nine points.
const MARKS: usize = 3;

/// The sides of one filter's card: first sides, then second ones.
#[must_use]
pub fn sides(card: &Card) -> Vec<Side> {
    let Some(notes) = card.filters.first() else { return Vec::new() };
    let mut list = match card.columns.as_slice() {
        [] => vec![words_only(notes)],
        [only] => vec![solid(card, notes, only)],
        marks => {
            let count = marks.len().div_ceil(MARKS);
            let each = marks.len().div_ceil(count);
            let pages = marks.chunks(each).enumerate();
            pages.map(|(i, marks)| ring(card, notes, marks, i * each)).collect()
        }
    };
    list.extend(back(card, notes));
    list
}

fn top(notes: &Notes) -> (Side, f64) {
    let mut side = Side::new(WIDTH, HEIGHT, &format!("{}, first side", notes.name));
    let inner = WIDTH - 2.0 * MARGIN;
    let y = side.paragraph(MARGIN, MARGIN - 0.6, inner, Type::bold(5.0), &words::SEA.join(" "));
    (side, y)
}

/// One strength: two blocks of rows beside each other.
fn solid(card: &Card, notes: &Notes, column: &Column) -> Side {
    let (mut side, mut y) = top(notes);
    let inner = WIDTH - 2.0 * MARGIN;
    let name = Type::bold(8.0);
    y += 4.0;
    let title = name.shortened(&table::heading(column), inner, 1);
    side.text(MARGIN, y, name, TextAnchor::Start, title.first().map_or("", String::as_str));
    let rated = table::against(column)
        .map_or(String::new(), |against| format!("; trusting the rating: {}", against.exposure()));
    let strength = figures::in_hundredths(column.stops, column.u95);
    let line = format!("{strength} stops, {}{rated}", figures::clicks(column.stops));
    y = side.paragraph(MARGIN, y, inner, Type::plain(6.5), &line);
    y += 1.0;
    side.level(MARGIN, y, inner, RULE);
    let block = (inner - 5.0) / 2.0;
    let half = card.rows.len().div_ceil(2);
    let columns = std::slice::from_ref(column);
    for (i, which) in [0..half, half..card.rows.len()].into_iter().enumerate() {
        let place = Place {
            x: MARGIN + (block + 5.0) * i as f64,
            y,
            stub: 14.0,
            column: block - 14.0,
            pitch: 4.0,
            ruled: true,
        };
        table::rows(&mut side, place, y, card, 0, columns, which);
    }
    side.text(MARGIN, HEIGHT - MARGIN, Type::plain(5.0), TextAnchor::Start, LEGEND);
    side
}

/// Marks of a ring: all rows below each other.
fn ring(card: &Card, notes: &Notes, marks: &[Column], first: usize) -> Side {
    let (mut side, mut y) = top(notes);
    let inner = WIDTH - 2.0 * MARGIN;
    let (name, small) = (Type::bold(6.0), Type::plain(5.5));
    let stub = inner - 22.5 * marks.len() as f64;
    let place = Place { x: MARGIN, y, stub, column: 22.5, pitch: 3.0, ruled: false };
    y += 2.7;
    for (line, title) in name.shortened(&notes.name, stub - 1.0, 2).iter().enumerate() {
        side.text(MARGIN, y + line as f64 * small.leading(), name, TextAnchor::Start, title);
    }
    for (i, mark) in marks.iter().enumerate() {
        let x = MARGIN + stub + 22.5 * (i as f64 + 1.0);
        let label = format!("mark {}", mark.mark.as_deref().unwrap_or("\u{2013}"));
        side.text(x, y, name, TextAnchor::End, &label);
        let strength = format!(
            "{}: {}",
            figures::in_hundredths(mark.stops, mark.u95),
            figures::clicks(mark.stops)
        );
        side.text(x, y + small.leading(), small, TextAnchor::End, &strength);
    }
    y += small.leading();
    side.text(MARGIN, y, small, TextAnchor::Start, "true stops");
    y += 0.7;
    side.level(MARGIN, y, inner, HAIRLINE);
    table::rows(&mut side, place, y, card, first, marks, 0..card.rows.len());
    side
}

/// Filters that multiply no time.
fn words_only(notes: &Notes) -> Side {
    let (mut side, mut y) = top(notes);
    let inner = WIDTH - 2.0 * MARGIN;
    y = side.paragraph(MARGIN, y + 3.0, inner, Type::bold(9.0), &notes.name);
    let rule = match notes.kind {
        Kind::Graduated => words::GRADUATED,
        Kind::Polariser => words::POLARISER,
        _ => "No mark is even enough to be used.",
    };
    side.paragraph(MARGIN, y + 1.5, inner, Type::bold(9.0), rule);
    side
}

fn back(card: &Card, notes: &Notes) -> Vec<Side> {
    let style = Style {
        width: WIDTH,
        height: HEIGHT,
        margin: MARGIN + 0.4,
        // The line that proves the scale, its ticks and words.
        foot: 3.0,
        head: Type::bold(6.0),
        body: Type::plain(5.5),
    };
    let mut flow = Flow::new(style, &format!("{}, second side", notes.name));
    flow.paragraph(&notes::sun(card), Type::plain(5.0));
    flow.section(&notes::filter(notes));
    flow.lines(3);
    let mut sides = flow.finish();
    if let Some(last) = sides.last_mut() {
        last.scale_line(style.margin, HEIGHT - MARGIN - 0.6);
    }
    sides
}

const LEGEND: &str = "Left: metered without the filter. Beyond 30 s: bulb and a timer; a dash is \
    more than 30 min.";
