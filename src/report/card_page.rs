//! The card as pages: sides as SVG, sheets to print, and a still page for the phone.

pub mod a6;
pub mod flow;
pub mod lettering;
pub mod notes;
pub mod side;
pub mod table;
pub mod wallet;

use crate::field::card::{Card, Column};
use crate::say::{figures, habits as words};
use askama::Template;
use side::Side;

/// Columns that stand beside each other on a phone 360 pixels wide.
const PHONE_COLUMNS: usize = 3;

/// Everything that the command writes: file name and content.
pub type Files = Vec<(String, String)>;

#[derive(Template)]
#[template(path = "card.html")]
struct Phone<'a> {
    tables: Vec<Vec<PhoneColumn<'a>>>,
    rows: Vec<&'a str>,
    sea: &'a str,
    sun_short: &'a str,
    sections: Vec<notes::Section>,
}

struct PhoneColumn<'a> {
    number: usize,
    heading: String,
    strength: String,
    rated: String,
    column: &'a Column,
}

#[derive(Template)]
#[template(path = "card_print.html")]
struct Print {
    title: &'static str,
    layout: Layout,
    sheets: Vec<Vec<String>>,
}

/// How sides lie on a sheet of paper.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Layout {
    /// Two folded cards above each other, which fill A4 (ISO 216).
    A6OnA4,
    /// One on Letter (ANSI/ASME Y14.1, 8.5 by 11 inches), which is too short for two.
    A6OnLetter,
    /// Credit cards, four folded ones above each other: they fit on either paper.
    Small,
}

impl Layout {
    /// Sides on a sheet.
    fn sides(self) -> usize {
        match self {
            Self::A6OnA4 => 4,
            Self::A6OnLetter => 2,
            Self::Small => 8,
        }
    }
}

/// The card of a kit as files: the phone page, the A6 sheets and their sides.
///
/// # Errors
/// Where a template cannot be written, which does not happen to a string.
pub fn kit_files(card: &Card) -> Result<Files, askama::Error> {
    let sides = a6::sides(card);
    let mut files = vec![("card.html".to_owned(), phone(card)?)];
    for (i, side) in sides.iter().enumerate() {
        files.push((format!("card-a6-{}.svg", i + 1), side.svg()?));
    }
    for (name, layout) in
        [("card-a6.html", Layout::A6OnA4), ("card-a6-letter.html", Layout::A6OnLetter)]
    {
        let mut sides = sides.clone();
        // Folded cards come in pairs of sides; what is left of a sheet is for notes.
        while !sides.len().is_multiple_of(layout.sides()) {
            sides.push(a6::note_side());
        }
        files.push((name.to_owned(), print("Exposure card, A6", layout, &sides)?));
    }
    Ok(files)
}

/// The small card of one filter as files, named after it.
///
/// # Errors
/// As [`kit_files`].
pub fn wallet_files(card: &Card, name: &str) -> Result<Files, askama::Error> {
    let sides = wallet::sides(card);
    let mut files = Files::new();
    for (i, side) in sides.iter().enumerate() {
        files.push((format!("card-small-{name}-{}.svg", i + 1), side.svg()?));
    }
    let html = print("Exposure card, credit-card size", Layout::Small, &sides)?;
    files.push((format!("card-small-{name}.html"), html));
    Ok(files)
}

fn print(title: &'static str, layout: Layout, sides: &[Side]) -> Result<String, askama::Error> {
    let drawn: Vec<String> = sides.iter().map(Side::svg).collect::<Result<_, _>>()?;
    let sheets = drawn.chunks(layout.sides()).map(<[String]>::to_vec).collect();
    Print { title, layout, sheets }.render()
}

/// The page for the phone: times first, still, one file.
///
/// # Errors
/// As [`kit_files`].
pub fn phone(card: &Card) -> Result<String, askama::Error> {
    let columns: Vec<PhoneColumn<'_>> = card
        .columns
        .iter()
        .enumerate()
        .map(|(number, column)| PhoneColumn {
            number,
            heading: table::heading(column),
            strength: figures::in_hundredths(column.stops, column.u95),
            rated: table::rated_text(column),
            column,
        })
        .collect();
    let mut tables: Vec<Vec<PhoneColumn<'_>>> = Vec::new();
    for column in columns {
        match tables.last_mut() {
            Some(table) if table.len() < PHONE_COLUMNS => table.push(column),
            _ => tables.push(vec![column]),
        }
    }
    let sections = notes::sections(card);
    Phone {
        tables,
        rows: card.rows.iter().map(|row| row.dial.as_str()).collect(),
        sea: words::SEA_SHORT,
        sun_short: crate::safety::SUN_SHORT,
        sections,
    }
    .render()
}
