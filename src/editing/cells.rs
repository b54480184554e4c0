//! What stands in one cell of a table for a spreadsheet: text that is no formula, names of a stack, filters,
//! none or not known.
//!
//! A cell that a spreadsheet would take for a formula is written with an apostrophe before it, which is
//! taken off again on reading.

/// Joins the names of a stack.
pub const JOIN: &str = " + ";
/// Stands where there was no filter; a blank cell means not known.
pub const NONE: &str = "none";
/// Stands where nothing is known, in the lines of `which`; in a table a blank cell does.
const UNKNOWN: &str = "?";

/// Text that a spreadsheet must not take for a formula.
pub(super) mod cell {
    use super::{defused, restored};
    use serde::{Deserialize, Deserializer, Serializer};

    pub fn serialize<S: Serializer>(cell: &str, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&defused(cell))
    }

    pub fn deserialize<'d, D: Deserializer<'d>>(from: D) -> Result<String, D::Error> {
        Ok(restored(&String::deserialize(from)?).trim().to_owned())
    }
}

/// Several names in one cell.
pub(super) mod names {
    use super::{cell, joined, parted};
    use serde::{Deserializer, Serializer};

    pub fn serialize<S: Serializer>(names: &[String], to: S) -> Result<S::Ok, S::Error> {
        cell::serialize(&joined(names), to)
    }

    pub fn deserialize<'d, D: Deserializer<'d>>(from: D) -> Result<Vec<String>, D::Error> {
        Ok(parted(&cell::deserialize(from)?))
    }
}

/// Filters, none, or not known.
pub(super) mod filters {
    use super::{NONE, UNKNOWN, cell, joined, parted};
    use serde::{Deserializer, Serializer};

    pub fn serialize<S: Serializer>(of: &Option<Vec<String>>, to: S) -> Result<S::Ok, S::Error> {
        let text = of.as_ref().map(|names| match names.as_slice() {
            [] => NONE.to_owned(),
            // A filter may be called so.
            [one] if one.eq_ignore_ascii_case(NONE) || one == UNKNOWN => format!("\"{one}\""),
            names => joined(names),
        });
        cell::serialize(&text.unwrap_or_default(), to)
    }

    pub fn deserialize<'d, D: Deserializer<'d>>(from: D) -> Result<Option<Vec<String>>, D::Error> {
        let text = cell::deserialize(from)?;
        Ok(match text.as_str() {
            "" | UNKNOWN => None,
            one if one.eq_ignore_ascii_case(NONE) => Some(Vec::new()),
            names => Some(parted(names)),
        })
    }
}

/// Names of a stack in one cell; a name that holds the joint itself stands in quotes, doubled within.
fn joined(names: &[String]) -> String {
    let quoted = |name: &String| {
        let open = name.contains(JOIN.trim()) || name.starts_with('"');
        if open { format!("\"{}\"", name.replace('"', "\"\"")) } else { name.clone() }
    };
    names.iter().map(quoted).collect::<Vec<_>>().join(JOIN)
}

/// The names of a cell again.
fn parted(cell: &str) -> Vec<String> {
    let mut names = Vec::new();
    let mut rest = cell.trim();
    while !rest.is_empty() {
        let (name, after) = match rest.strip_prefix('"') {
            Some(inside) => quoted(inside),
            None => {
                let (name, after) = rest.split_once(JOIN).unwrap_or((rest, ""));
                (name.trim().to_owned(), after)
            }
        };
        if !name.is_empty() {
            names.push(name);
        }
        rest = after.trim_start().trim_start_matches(JOIN.trim()).trim_start();
    }
    names
}

/// A name up to its closing quote, and what follows.
fn quoted(inside: &str) -> (String, &str) {
    let mut name = String::new();
    let mut rest = inside;
    while let Some((part, after)) = rest.split_once('"') {
        name.push_str(part);
        match after.strip_prefix('"') {
            Some(more) => {
                name.push('"');
                rest = more;
            }
            None => return (name, after),
        }
    }
    (name + rest, "")
}

/// Spreadsheets take a cell that begins so for a formula (OWASP, "CSV Injection").
pub(super) const FORMULA_STARTS: [char; 6] = ['=', '+', '-', '@', '\t', '\r'];

pub(super) fn defused(cell: &str) -> String {
    if cell.starts_with(FORMULA_STARTS) && cell.parse::<f64>().is_err() {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

pub(super) fn restored(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(rest) if rest.starts_with(FORMULA_STARTS) => rest,
        _ => cell,
    }
}
