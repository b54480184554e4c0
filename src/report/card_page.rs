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
    title: String,
    a6: bool,
    sheets: Vec<Vec<String>>,
}

/// The card of a kit as files: the phone page, the A6 sheets and their sides.
///
/// # Errors
/// Where a template cannot be written, which does not happen to a string.
pub fn kit_files(card: &Card) -> Result<Files, askama::Error> {
    let mut sides = a6::sides(card);
    let mut files = vec![("card.html".to_owned(), phone(card)?)];
    for (i, side) in sides.iter().enumerate() {
        files.push((format!("card-a6-{}.svg", i + 1), side.svg()?));
    }
    // Folded cards come in pairs of sides, two pairs to a sheet; what is left is for notes.
    while !sides.len().is_multiple_of(4) {
        sides.push(a6::note_side());
    }
    files.push(("card-a6.html".to_owned(), print("Exposure card, A6", true, &sides, 4)?));
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
    let html = print("Exposure card, credit-card size", false, &sides, 8)?;
    files.push((format!("card-small-{name}.html"), html));
    Ok(files)
}

fn print(title: &str, a6: bool, sides: &[Side], each: usize) -> Result<String, askama::Error> {
    let drawn: Vec<String> = sides.iter().map(Side::svg).collect::<Result<_, _>>()?;
    let sheets = drawn.chunks(each).map(<[String]>::to_vec).collect();
    Print { title: title.to_owned(), a6, sheets }.render()
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
