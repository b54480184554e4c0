//! Rows of pixels that no sensor gives: all alike beside rows that are not, as missing data leave
//! them, whatever the value (zeros, erased flash, a decoder's filling).

use super::Picture;
use super::error::ReadError;
use crate::frame::{Area, Mosaic, Samples};
use std::ops::Range;

/// Narrower pictures have rows that are alike by chance.
const LEAST_WIDTH: usize = 64;
/// Next to rows that are all alike, so many pixels of a row may hold their value (ours): light, dark
/// and clipping fade over several rows, however sharp the picture.
const MOST_BESIDE: f64 = 0.5;
/// Rows from the edge of the missing ones to the one that they are held against: the one at the edge
/// is cut within, and its neighbour has another pattern.
const BESIDE: usize = 2;
/// A count so many times the white level is none of a sensor's.
const BEYOND_WHITE: u32 = 2;

/// Refuses a raw picture of which whole rows are missing.
///
/// # Errors
/// `Damaged`.
pub(super) fn none_missing(picture: &Picture) -> Result<(), ReadError> {
    let Samples::Raw(mosaic, _) = &picture.samples else { return Ok(()) };
    let active = &picture.active;
    if active.width < LEAST_WIDTH {
        return Ok(());
    }
    let rows = Rows { mosaic, active };
    let end = active.height;
    let starts = rows.starts_alike();
    let value = |row: usize| if starts[row] { value_of(&rows.row(row)) } else { None };
    let mut row = 0;
    while row < end {
        let Some(all) = value(row) else {
            row += 1;
            continue;
        };
        let from = row;
        while row < end && value(row) == Some(all) {
            row += 1;
        }
        let missing = from..row;
        if is_missing(&rows, end, &missing, all, picture.levels.white) {
            let place = if row == end {
                format!("from row {} on", from + 1)
            } else {
                format!("in rows {} to {row}", from + 1)
            };
            return Err(ReadError::damaged(format!(
                "{place} all its pixels are {all}: they are missing"
            )));
        }
    }
    Ok(())
}

struct Rows<'a> {
    mosaic: &'a Mosaic,
    active: &'a Area,
}

impl Rows<'_> {
    fn row(&self, row: usize) -> Vec<u16> {
        let (row, left) = (self.active.top + row, self.active.left);
        let mut values = Vec::with_capacity(self.active.width);
        let columns = left..left + self.active.width;
        self.mosaic.data.part(self.mosaic.width, row..row + 1, columns, &mut values);
        values
    }
    /// Whether the first pixels are all alike, row by row. Asked of all rows first: without a decision
    /// between them the processor fetches many at once.
    fn starts_alike(&self) -> Vec<bool> {
        let (top, left) = (self.active.top, self.active.left);
        let rows = top..top + self.active.height;
        let mut starts = Vec::with_capacity(START * self.active.height);
        self.mosaic.data.part(self.mosaic.width, rows, left..left + START, &mut starts);
        let alike = |[a, b, c, d]: &[u16; START]| (a ^ b) | (a ^ c) | (a ^ d) == 0;
        starts.as_chunks().0.iter().map(alike).collect()
    }
}

/// Pixels that are asked first whether all are alike.
const START: usize = 4;

/// The value that all pixels of a row share.
fn value_of(row: &[u16]) -> Option<u16> {
    let first = *row.first()?;
    row.iter().all(|&v| v == first).then_some(first)
}

fn is_missing(rows: &Rows<'_>, end: usize, alike: &Range<usize>, value: u16, white: u16) -> bool {
    let unlike = |row: Option<usize>| {
        row.filter(|&row| row < end).is_some_and(|row| {
            let row = rows.row(row);
            let same = row.iter().filter(|&&v| v == value).count();
            value_of(&row).is_none() && (same as f64) < MOST_BESIDE * row.len() as f64
        })
    };
    let above = unlike(alike.start.checked_sub(BESIDE));
    let below = unlike(alike.end.checked_add(BESIDE - 1));
    if value >= white && u32::from(value) < BEYOND_WHITE * u32::from(white) {
        // Light that clips may well fill rows, and only a cut ends them at once along the whole
        // width: an edge in the picture is tilted by a row or two.
        return above && (below || alike.end == end);
    }
    above || below
}
