//! The A6 card: first sides with times, second sides with words, lines to write on.

use super::flow::{Flow, Style};
use super::lettering::Type;
use super::notes;
use super::side::{Side, TextAnchor};
use super::table::{self, Place};
use crate::field::card::Card;
use crate::say::habits as words;

/// A6, ISO 216: 105 mm x 148 mm.
pub const WIDTH: f64 = 105.0;
/// Its height in millimetres.
pub const HEIGHT: f64 = 148.0;
/// Far enough from the fold and the printer's own margin.
const MARGIN: f64 = 6.5;
/// "29 min 30 s" in nine points bold is 17.1 mm wide.
const COLUMNS: usize = 4;
const STUB: f64 = 16.0;
/// Room for a few lines to write on.
const NOTES: f64 = 40.0;
/// Wider columns only lead the eye astray.
const WIDEST: f64 = 26.0;

/// The sides of a kit's card: first sides, then second ones.
#[must_use]
pub fn sides(card: &Card) -> Vec<Side> {
    let mut list = fronts(card);
    let mut flow = Flow::new(style(), "Exposure card, second side");
    for section in notes::sections(card) {
        flow.section(&section);
    }
    let full = flow.left() < NOTES;
    flow.lines(usize::MAX);
    list.extend(flow.finish());
    if full {
        list.push(note_side());
    }
    list
}

/// A side of lines to write on.
#[must_use]
pub fn note_side() -> Side {
    let mut flow = Flow::new(style(), "Frames");
    flow.paragraph("What was shot through which filter", Type::bold(8.0));
    flow.lines(usize::MAX);
    flow.finish().into_iter().next().unwrap_or_default()
}

fn style() -> Style {
    Style {
        width: WIDTH,
        height: HEIGHT,
        margin: MARGIN,
        foot: 0.0,
        head: Type::bold(7.5),
        body: Type::plain(7.0),
    }
}

fn fronts(card: &Card) -> Vec<Side> {
    if card.columns.is_empty() {
        return vec![front(card, 0, 1, &[], 0)];
    }
    let count = card.columns.len().div_ceil(COLUMNS);
    let each = card.columns.len().div_ceil(count);
    let pages = card.columns.chunks(each);
    pages.enumerate().map(|(i, columns)| front(card, i, count, columns, i * each)).collect()
}

fn front(
    card: &Card,
    page: usize,
    pages: usize,
    columns: &[crate::field::card::Column],
    first: usize,
) -> Side {
    let mut side = Side::new(WIDTH, HEIGHT, "Exposure card, first side");
    let inner = WIDTH - 2.0 * MARGIN;
    let mut y = side.paragraph(MARGIN, MARGIN, inner, Type::bold(7.5), &words::SEA.join(" "));
    y += 0.8;
    y = side.paragraph(MARGIN, y, inner, Type::plain(6.5), crate::safety::SUN_SHORT);
    if card.full_sun_warning {
        y = side.paragraph(
            MARGIN,
            y,
            inner,
            Type::plain(6.5),
            "No photographic filter is a solar filter: read what the second sides say under The sun.",
        );
    }
    y += 6.0;
    let part = if pages > 1 { format!(" ({} of {pages})", page + 1) } else { String::new() };
    side.text(
        MARGIN,
        y,
        Type::bold(9.0),
        TextAnchor::Start,
        &format!("Times through the filter{part}"),
    );
    y += 1.5;
    if columns.is_empty() {
        y = side.paragraph(
            MARGIN,
            y,
            inner,
            Type::plain(8.0),
            "No filter of this kit multiplies a time; the second side says how each is used.",
        );
        debug_assert!(y < HEIGHT);
    } else {
        let place = Place {
            x: MARGIN,
            y,
            stub: STUB,
            column: ((inner - STUB) / columns.len() as f64).min(WIDEST),
            pitch: 5.1,
            ruled: true,
        };
        y = table::write(&mut side, place, card, first, columns);
        y += 0.8;
        side.paragraph(MARGIN, y, inner, Type::plain(6.5), LEGEND);
    }
    side.scale_line(MARGIN, HEIGHT - MARGIN);
    side
}

const LEGEND: &str = "Left: time metered without the filter, as the dial shows it. Up to 30 s set \
    the dial to the time given, beyond that use bulb and a timer; a dash is more than 30 min. One \
    click more when metering is one click more on the dial. As rated: how many stops too dark or \
    bright a frame gets that trusts the rating.";
