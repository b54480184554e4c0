//! The table of times on a printed side: headings, thirteen rows, a few columns.

use super::lettering::Type;
use super::side::{HAIRLINE, RULE, Side, Text, TextAnchor};
use crate::field::card::{Card, Column};
use crate::say::figures;
use crate::say::rating::Against;

/// Size of the times: nine points bold, to be read at dusk at arm's length (ours).
pub const TIME: Type = Type::bold(9.0);

/// Size of the metered times.
const METERED: Type = Type::plain(8.5);

/// Where a table stands, in millimetres.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    /// Left edge.
    pub x: f64,
    /// Top edge.
    pub y: f64,
    /// Width of the first column.
    pub stub: f64,
    /// Width of every further column.
    pub column: f64,
    /// From row to row.
    pub pitch: f64,
    /// A hairline below every row.
    pub ruled: bool,
}

/// How a column's strength stands against its rating.
#[must_use]
pub fn against(column: &Column) -> Option<Against> {
    column.rated.map(|rated| Against::of(column.stops, column.u95, rated))
}

/// What trusting the rating does, short: "0.35 dark".
#[must_use]
pub fn rated_text(column: &Column) -> String {
    against(column).map_or_else(|| "\u{2013}".to_owned(), Against::short)
}

/// Name of a column over the table, with a sign that parts were only added.
#[must_use]
pub fn heading(column: &Column) -> String {
    let names = column.names.join(" + ");
    match &column.mark {
        Some(mark) => format!("{names}, mark {mark}"),
        None => names,
    }
}

/// Writes headings and rows; `first` is the number of the first column on the card. Gives the
/// lower edge.
pub fn write(side: &mut Side, place: Place, card: &Card, first: usize, columns: &[Column]) -> f64 {
    let below = headings(side, place, columns);
    rows(side, place, below, card, first, columns, 0..card.rows.len())
}

/// Lines of a heading at most.
const HEADING: usize = 4;

/// The heading in lines: the mark on one of its own, of a stack each part in as many as the others.
fn heading_lines(column: &Column, face: Type, width: f64) -> Vec<String> {
    let mark = column.mark.as_ref().map(|mark| format!("mark {mark}"));
    let room = HEADING - usize::from(mark.is_some());
    let whole = face.wrap(&column.names.join(" + "), width);
    if whole.len() <= room {
        return whole.into_iter().chain(mark).collect();
    }
    let each = (room / column.names.len().max(1)).max(1);
    let last = column.names.len().saturating_sub(1);
    let part = |(k, name): (usize, &String)| {
        let name = if k < last { format!("{name} +") } else { name.clone() };
        face.shortened(&name, width, each)
    };
    let parts = column.names.iter().enumerate().flat_map(part);
    parts.take(room).chain(mark).collect()
}

fn headings(side: &mut Side, place: Place, columns: &[Column]) -> f64 {
    let name = Type::bold(6.5);
    let small = Type::plain(6.5);
    let wrapped: Vec<Vec<String>> =
        columns.iter().map(|c| heading_lines(c, name, place.column - 1.5)).collect();
    let most = wrapped.iter().map(Vec::len).max().unwrap_or(0);
    let mut y = place.y;
    for line in 0..most {
        y += name.leading();
        for (i, lines) in wrapped.iter().enumerate() {
            // Short names stand on the table.
            let at = (line + lines.len()).checked_sub(most);
            if let Some(text) = at.and_then(|at| lines.get(at)) {
                side.text(right(place, i), y, name, TextAnchor::End, text);
            }
        }
    }
    type Figure = fn(&Column) -> String;
    let figures: [(&str, Figure); 3] = [
        ("true stops", |c| figures::in_hundredths(c.stops, c.u95)),
        ("clicks of 1/3", |c| c.clicks.to_string()),
        ("as rated", rated_text),
    ];
    for (label, figure) in figures {
        y += small.leading();
        side.text(place.x, y, small, TextAnchor::Start, label);
        for (i, column) in columns.iter().enumerate() {
            side.text(right(place, i), y, small, TextAnchor::End, &figure(column));
        }
    }
    y += 1.2;
    side.level(place.x, y, width(place, columns.len()), RULE);
    y
}

/// Writes some of the rows below `y`; gives the lower edge.
pub fn rows(
    side: &mut Side,
    place: Place,
    y: f64,
    card: &Card,
    first: usize,
    columns: &[Column],
    which: std::ops::Range<usize>,
) -> f64 {
    let face = TIME;
    let inner = (place.pitch - 0.72 * face.size()) / 2.0;
    let count = which.len();
    for (line, at) in which.enumerate() {
        let Some(row) = card.rows.get(at) else { continue };
        let base = y + place.pitch * (line as f64 + 1.0) - inner;
        side.text(place.x, base, METERED, TextAnchor::Start, &format!("{} s", row.dial));
        for (i, column) in columns.iter().enumerate() {
            let Some(cell) = column.cells.get(at) else { continue };
            side.texts.push(Text {
                x: right(place, i),
                y: base,
                text: cell.text.clone(),
                face,
                anchor: TextAnchor::End,
                time: Some((row.dial.clone(), first + i)),
            });
        }
        if place.ruled && line + 1 < count {
            let at = y + place.pitch * (line as f64 + 1.0);
            side.level(place.x, at, width(place, columns.len()), HAIRLINE);
        }
    }
    y + place.pitch * count as f64
}

fn right(place: Place, column: usize) -> f64 {
    place.x + place.stub + place.column * (column as f64 + 1.0)
}

/// Width of a table with so many columns, in millimetres.
#[must_use]
pub fn width(place: Place, columns: usize) -> f64 {
    place.stub + place.column * columns as f64
}
