//! The table beside photographs: what a person wrote there, or left there another day, is taken as
//! `which --used` takes it.

use super::photo_said::PhotoAnswer;
use crate::commands::photos::Photo;
use crate::commands::profiles::Opened;
use crate::commands::{used_table, which};
use crate::editing::used_csv::UsedRow;
use crate::editing::which::{How, Told};
use crate::error::Failure;
use crate::read::small;
use std::path::PathBuf;

/// A table as it was read or written.
#[derive(Clone, Debug, Default)]
pub struct TableBeside {
    /// Where it lies, or would.
    pub path: PathBuf,
    /// The file as it was then; `None` where there was none.
    pub bytes: Option<Vec<u8>>,
    /// What is to be said of it, in one line each.
    pub notes: Vec<String>,
    /// Something of it could not be taken.
    pub missed: bool,
    rows: Vec<UsedRow>,
}

/// What the table says of one photograph.
#[derive(Clone, Debug, Default)]
pub struct Recalled {
    /// What the person said.
    pub answer: PhotoAnswer,
    /// Photographs of one group get one balance.
    pub group: String,
    /// Columns of the person's own.
    pub own: Vec<(String, String)>,
}

impl TableBeside {
    /// Reads it where it is there, and adds to a kit the filters that it names.
    pub fn read(path: PathBuf, kit: &mut Vec<Opened>) -> Self {
        let mut own = Self { path, ..Self::default() };
        if !own.path.exists() {
            return own;
        }
        own.bytes = small::bytes(&own.path, small::TABLE_BYTES).ok();
        let read = used_table::read(&own.path).and_then(|rows| {
            own.rows = rows;
            used_table::complete(kit, &mut own.rows, &own.path)
        });
        match read {
            Ok(said) => own.notes = said,
            Err(failure) => own.miss([failure]),
        }
        own
    }
    /// What it says of each photograph; one row that cannot be understood does not hide the others.
    pub fn recalled(&mut self, photos: &[Photo], kit: &[Opened]) -> Vec<Recalled> {
        let rows = std::mem::take(&mut self.rows);
        let mut others = vec![true; rows.len()];
        let mut found: Option<Vec<UsedRow>> = None;
        let mut of = |(at, photo): (usize, &Photo)| -> Result<Recalled, Failure> {
            let Some(row) = used_table::row_of(&rows, &photo.path)? else {
                return Ok(Recalled::default());
            };
            for (other, left) in rows.iter().zip(&mut others) {
                *left &= !std::ptr::eq(other, row);
            }
            let now = || {
                let nothing = vec![Told::Nothing; photos.len()];
                let all = || which::rows(photos, kit, &nothing, false);
                used_table::found(&found.get_or_insert_with(all)[at])
            };
            let answer = if used_table::is_users(row, now) {
                let used = used_table::used(row, &row.mark, kit, &self.path)?;
                let name = |filter: usize| kit[filter].profile.filter.name.clone();
                match used.as_slice() {
                    [] => PhotoAnswer::Bare,
                    used => PhotoAnswer::Through(
                        used.iter().map(|u| name(u.filter)).collect(),
                        used.iter().find_map(|u| u.mark.clone()),
                    ),
                }
            } else if row.filters.is_none() && row.how_known == How::User.text() {
                PhotoAnswer::NotKnown
            } else {
                PhotoAnswer::Program
            };
            Ok(Recalled { answer, group: row.group.clone(), own: row.own.clone() })
        };
        let all: Vec<_> = photos.iter().enumerate().map(&mut of).collect();
        let left = rows.into_iter().zip(others).filter(|(_, left)| *left);
        self.rows = left.map(|(row, _)| row).collect();
        let mut missed = Vec::new();
        let taken = all.into_iter().map(|one| {
            one.unwrap_or_else(|failure| {
                missed.push(failure);
                Recalled::default()
            })
        });
        let taken = taken.collect();
        self.miss(missed);
        taken
    }
    fn miss(&mut self, failures: impl IntoIterator<Item = Failure>) {
        for failure in failures {
            self.notes.push(failure.to_string());
            self.missed = true;
        }
    }
    /// Rows with those that the table holds of other photographs.
    #[must_use]
    pub fn with_others(&self, rows: impl Iterator<Item = UsedRow>) -> Vec<UsedRow> {
        rows.chain(self.rows.iter().cloned()).collect()
    }
}
