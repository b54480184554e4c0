//! The kit as a terminal shows it, at most 80 columns wide unless single words need more.

use super::lines::{WIDTH, answer, rows, wrapped};
use crate::body_record::BodyRecord;
use crate::compare::history::{History, history as history_of};
use crate::kit::kept::{KeptFilter, Listing};
use crate::profile::Kind;
use crate::say::figures::plain;
use crate::say::{camera as said_camera, history as said, kept};
use comfy_table::{ColumnConstraint, ContentArrangement, Table, Width, presets};
use jiff::civil::{Date, DateTime};

/// The list: newest measurement of each filter.
#[must_use]
pub fn list(listing: &Listing, with_retired: bool, today: Date) -> String {
    let shown: Vec<&KeptFilter> =
        listing.filters.iter().filter(|filter| with_retired || !filter.retired()).collect();
    let mut out = String::new();
    let hidden = listing.filters.len() - shown.len();
    if listing.filters.is_empty() {
        out.push_str("No filter is kept yet: lightloss kit add PROFILE..., or measure --keep.\n");
    } else if shown.is_empty() {
        out.push_str("All filters of the kit are retired.\n");
    } else {
        out.push_str(&table(&shown, today));
        out.push('\n');
    }
    if hidden > 0 {
        let filters = crate::say::figures::count(hidden, "retired filter");
        let them = if hidden == 1 { "it" } else { "them" };
        let said = format!("{filters} not shown; lightloss kit list --retired shows {them}.");
        out.push_str(&wrapped("", &said));
    }
    out
}

/// The camera records beside the filters; nothing where there are none.
#[must_use]
pub fn bodies<'a>(records: impl Iterator<Item = &'a BodyRecord>) -> String {
    let lines: String = records.map(|record| wrapped("  ", &said_camera::kept(record))).collect();
    if lines.is_empty() { lines } else { format!("Camera records:\n{lines}\n") }
}

fn table(filters: &[&KeptFilter], today: Date) -> String {
    let again = filters.iter().any(|f| f.measurements.len() > 1);
    let rings = filters.iter().any(|f| !kept::turn(f.newest().profile()).is_empty());
    let mut head = vec!["filter", "takes, stops", "cast"];
    head.extend(rings.then_some("turn"));
    head.push("measured");
    // Both do not fit, and what changed says more.
    if again {
        head.extend(["times", "change"]);
    } else {
        head.push("age");
    }
    let mut table = table_of(&head, &["takes, stops", "measured", "age", "times"]);
    for filter in filters {
        let newest = filter.newest();
        let profile = newest.profile();
        let retired = if filter.retired() { " (retired)" } else { "" };
        let mut row = vec![
            format!("{}{retired}", filter.name),
            plain(&kept::takes(profile)),
            kept::colour(profile),
        ];
        row.extend(rings.then(|| kept::turn(profile)));
        row.push(day(newest.at));
        if again {
            row.push(filter.measurements.len().to_string());
            row.push(plain(&said::short(&history_of(filter))));
        } else {
            row.push(kept::age(newest.at, today));
        }
        table.add_row(row);
    }
    squeeze(&mut table);
    rows(&table).collect::<String>()
}

/// Makes a table narrower that is too wide: the widest columns give way first, none below its longest
/// word.
fn squeeze(table: &mut Table) {
    let content = table.column_max_content_widths();
    let words: Vec<u16> = (0..content.len()).map(|column| longest_word(table, column)).collect();
    let whole: Vec<bool> = table.column_iter().map(|c| c.constraint().is_some()).collect();
    // With a space on either side.
    let width = |column: usize, most: u16| {
        let least = if whole[column] { content[column] } else { words[column] };
        content[column].min(most.max(least)).saturating_add(2)
    };
    let total = |most: u16| (0..content.len()).map(|c| usize::from(width(c, most))).sum::<usize>();
    let most = (0..=WIDTH as u16).rev().find(|most| total(*most) <= WIDTH).unwrap_or(0);
    for (index, column) in table.column_iter_mut().enumerate() {
        column.set_constraint(ColumnConstraint::Absolute(Width::Fixed(width(index, most))));
    }
}

/// Width of the longest word of a column, its head among them.
fn longest_word(table: &Table, column: usize) -> u16 {
    let mut words = Table::new();
    for cell in table.column_cells_with_header_iter(column).flatten() {
        words.add_rows(cell.content().split([' ', '\n']).map(|word| [word]));
    }
    words.column_max_content_widths().first().copied().unwrap_or(0)
}

fn day(at: Option<DateTime>) -> String {
    at.map_or_else(|| "no date".to_owned(), |at| at.date().to_string())
}

/// One filter over the years.
#[must_use]
pub fn history(history: &History, bold: bool) -> String {
    let mut out = answer(&plain(&said::answer(history)), bold);
    out.push('\n');
    let head = ["measured", "takes, stops", "mired", "spread", "camera and lens"];
    let mut table = table_of(&head, &head[..4]);
    for point in &history.points {
        let [strength, mired, spread] = said::point(point).map(|text| plain(&text));
        // Of a graduated filter that would be the graduation itself.
        let spread = if history.kind == Kind::Graduated { String::new() } else { spread };
        let camera = format!("{}, {}", history.cameras[point.camera], point.lens);
        table.add_row([day(point.at), strength, mired, spread, camera]);
    }
    out.push_str(&rows(&table).collect::<String>());
    if history.changes.is_empty() {
        if let Some(sentence) = said::marks(history) {
            out.push_str(&format!("\n{}", wrapped("", &plain(&sentence))));
        }
        return out;
    }
    let head = ["since the first", "change, stops", "by chance alone", ""];
    let mut table = table_of(&head, &head);
    for change in &history.changes {
        let [size, chance, verdict] = said::row(change).map(|text| plain(&text));
        table.add_row([said::name(change.quantity).to_owned(), size, chance, verdict]);
    }
    out.push_str(&format!("\n{}\n", rows(&table).collect::<String>()));
    let more = said::marks(history).into_iter().chain(said::course(history));
    for sentence in more.chain([said::cameras(history)]) {
        out.push_str(&wrapped("", &plain(&sentence)));
    }
    out
}

/// A table without rules; columns of these heads are not broken.
fn table_of(head: &[&str], whole: &[&str]) -> Table {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_content_arrangement(ContentArrangement::Dynamic).set_width(WIDTH as u16);
    table.set_header(head.iter().copied());
    for (index, name) in head.iter().enumerate() {
        if let Some(column) = table.column_mut(index).filter(|_| whole.contains(name)) {
            column.set_constraint(ColumnConstraint::ContentWidth);
        }
    }
    table
}
