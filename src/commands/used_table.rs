//! The table of which photograph had which filter, as a file: paths in it count from its own folder,
//! so that both can be moved together.

use crate::editing::used_csv::{JOIN, NONE, TableError, UsedRow, read_used, text_of};
use crate::editing::which::How;
use crate::error::Failure;
use crate::kit::kept::name_key;
use crate::read::pool::path_text;
use crate::read::small;
use std::collections::HashMap;
use std::path::{Component, Path, PathBuf};

mod filters;

pub use filters::{complete, of_mark, used};

/// Reads a table; its paths are made whole, and profiles that are not there left out.
///
/// # Errors
/// Where it cannot be read or understood, or names one photograph twice in whatever spelling, with
/// different filters.
pub fn read(path: &Path) -> Result<Vec<UsedRow>, Failure> {
    let folder = folder(path);
    let there = |row: UsedRow| UsedRow {
        profiles: row.profiles.iter().filter_map(|p| profile(&folder, p)).collect(),
        ..row
    };
    Ok(whole(path)?.into_iter().map(there).collect())
}

/// The same with profiles that are not there, as they are written.
fn whole(path: &Path) -> Result<Vec<UsedRow>, Failure> {
    let folder = folder(path);
    let whole = |cell: &str| {
        let joined = folder.join(cell);
        let found = !cell.is_empty() && Path::new(cell).is_relative() && joined.exists();
        if found { plain(&joined).display().to_string() } else { cell.to_owned() }
    };
    let mut known: HashMap<PathBuf, (Option<Vec<String>>, String)> = HashMap::new();
    let mut rows = Vec::new();
    for row in as_written(path)? {
        let whole = UsedRow {
            file: whole(&row.file),
            bare_frame: whole(&row.bare_frame),
            profiles: row.profiles.iter().map(|p| whole(p)).collect(),
            ..row.clone()
        };
        let said = (row.filters, row.mark);
        if is_there(&whole)
            && *known.entry(real(Path::new(&whole.file))).or_insert(said.clone()) != said
        {
            let source = TableError::Twice { file: row.file };
            return Err(Failure::Table { path: path.to_owned(), source });
        }
        rows.push(whole);
    }
    Ok(rows)
}

/// Rows in the places that those of their photographs have in an earlier table: rows of other photographs
/// stay, and so do the columns of the person's own.
///
/// # Errors
/// Where the table cannot be read or understood, or has several rows for one photograph.
pub fn renewed(
    table: &Path,
    mut rows: Vec<UsedRow>,
    paths: &[&Path],
) -> Result<Vec<UsedRow>, Failure> {
    let earlier = whole(table)?;
    let mut instead: Vec<Option<usize>> = vec![None; earlier.len()];
    for (new, (row, path)) in rows.iter_mut().zip(paths).enumerate() {
        let Some(before) = row_of(&earlier, path)? else { continue };
        row.own.clone_from(&before.own);
        for (other, instead) in earlier.iter().zip(&mut instead) {
            if std::ptr::eq(other, before) || (same_file(&other.file, path) && is_there(other)) {
                *instead = Some(new);
            }
        }
    }
    let mut rows: Vec<Option<UsedRow>> = rows.into_iter().map(Some).collect();
    let mut all = Vec::new();
    for (row, instead) in earlier.into_iter().zip(instead) {
        match instead {
            None => all.push(row),
            Some(new) => all.extend(rows[new].take()),
        }
    }
    all.extend(rows.into_iter().flatten());
    Ok(all)
}

fn profile(folder: &Path, cell: &str) -> Option<String> {
    let joined = plain(&folder.join(cell));
    (!cell.is_empty() && joined.exists()).then(|| joined.display().to_string())
}

/// Profiles of a row that are not there, as they are written.
fn absent(path: &Path, file: &str) -> Vec<String> {
    let folder = folder(path);
    let name = |file: &str| Path::new(file).file_name().map(ToOwned::to_owned);
    let rows = as_written(path).unwrap_or_default();
    let own = rows.iter().filter(|row| name(&row.file) == name(file)).flat_map(|r| &r.profiles);
    let mut absent: Vec<String> =
        own.filter(|p| !p.is_empty() && profile(&folder, p).is_none()).cloned().collect();
    absent.dedup();
    absent
}

fn as_written(path: &Path) -> Result<Vec<UsedRow>, Failure> {
    let bytes = small::bytes(path, small::TABLE_BYTES).map_err(|source| Failure::Unread {
        path: path.to_owned(),
        advice: "; lightloss which writes one",
        source,
    })?;
    text_of(bytes)
        .and_then(|text| read_used(&text))
        .map_err(|source| Failure::Table { path: path.to_owned(), source })
}

/// Whether a row is the user's word; `now` gives what the program finds today, for rows of which it is not
/// told what it found.
#[must_use]
pub fn is_users(row: &UsedRow, now: impl FnOnce() -> String) -> bool {
    match word(row) {
        Word::Users => true,
        Word::Nobodys => false,
        Word::Unclear => found(row) != now(),
    }
}

/// Whose word a row is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Word {
    /// Nobody's: no filter is named, or the program's own finding stands as it was written.
    Nobodys,
    /// The user's.
    Users,
    /// It says that the program found it, but not what that was.
    Unclear,
}

/// Whose word a row is: what differs from what was written is the user's.
fn word(row: &UsedRow) -> Word {
    let same = name_key(&found(row)) == name_key(&row.found);
    if row.filters.is_none() {
        Word::Nobodys
    } else if row.how_known == How::User.text() {
        Word::Users
    } else if row.found.is_empty() && !row.how_known.is_empty() {
        Word::Unclear
    } else if same {
        Word::Nobodys
    } else {
        Word::Users
    }
}

/// Filter and mark in one cell, a stack in the order of its names: the same whatever order it has.
#[must_use]
pub fn found(row: &UsedRow) -> String {
    let Some(names) = &row.filters else { return String::new() };
    let mut names: Vec<&str> = names.iter().map(String::as_str).collect();
    names.sort_by_key(|name| name_key(name));
    let names = if names.is_empty() { NONE.to_owned() } else { names.join(JOIN) };
    if row.mark.is_empty() { names } else { format!("{names}, mark {}", row.mark) }
}

/// The row of a photograph: that with its path, else that with its name.
///
/// # Errors
/// Where several have its name, none its path, and they do not agree.
pub fn row_of<'a>(rows: &'a [UsedRow], path: &Path) -> Result<Option<&'a UsedRow>, Failure> {
    let own: Vec<&UsedRow> = rows.iter().filter(|row| same_file(&row.file, path)).collect();
    // What several of them say of it was held against each other as they were read.
    if let Some(row) = own.iter().find(|row| is_there(row)) {
        return Ok(Some(row));
    }
    let first = own.first().copied();
    match own
        .iter()
        .find(|row| first.is_some_and(|f| (&f.filters, &f.mark) != (&row.filters, &row.mark)))
    {
        Some(other) => Err(Failure::usage(format!(
            "the table has several rows for {:?}, as {:?} and {:?}; write its path there as it counts from \
             the table's folder",
            path.display().to_string(),
            first.map(|row| row.file.as_str()).unwrap_or_default(),
            other.file
        ))),
        None => Ok(first),
    }
}

/// Rows with their paths as they count from the table's folder.
#[must_use]
pub fn relative(rows: &[UsedRow], table: &Path) -> Vec<UsedRow> {
    // As cells spell it out.
    let folder = PathBuf::from(path_text(&folder(table)));
    let short = |cell: &str| from(&folder, cell);
    rows.iter()
        .map(|row| UsedRow {
            file: short(&row.file),
            bare_frame: short(&row.bare_frame),
            profiles: row.profiles.iter().map(|p| short(p)).collect(),
            ..row.clone()
        })
        .collect()
}

/// A table's file is the photograph where the whole path agrees, or, in a table that was moved or
/// written by hand, the name alone.
#[must_use]
pub fn same_file(cell: &str, path: &Path) -> bool {
    let cell = Path::new(cell);
    // As it was written by `which`, in which names that are no text are spelt out.
    let text = |name: &Path| path_text(name.file_name().unwrap_or_default().as_ref());
    let named = cell.file_name() == path.file_name() || text(cell) == text(path);
    named && (!(cell.is_absolute() && cell.exists()) || real(cell) == real(path))
}

/// Whether the path of a row leads to its photograph.
fn is_there(row: &UsedRow) -> bool {
    let path = Path::new(&row.file);
    path.is_absolute() && path.exists()
}

/// A path by which files are told apart.
#[must_use]
pub fn real(path: &Path) -> PathBuf {
    let absolute = || std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    path.canonicalize().unwrap_or_else(|_| plain(&absolute()))
}

fn folder(table: &Path) -> PathBuf {
    let whole = std::path::absolute(table).unwrap_or_else(|_| table.to_owned());
    plain(whole.parent().unwrap_or(Path::new("")))
}

/// Without `.` and `..` where they can be taken out by name.
fn plain(path: &Path) -> PathBuf {
    let mut plain = PathBuf::new();
    for part in path.components() {
        match part {
            Component::ParentDir if plain.file_name().is_some() => {
                plain.pop();
            }
            Component::CurDir => {}
            other => plain.push(other),
        }
    }
    plain
}

fn from(folder: &Path, cell: &str) -> String {
    let path = plain(Path::new(cell));
    let common = folder.components().zip(path.components()).take_while(|(a, b)| a == b).count();
    // Another drive, or nothing in common: the whole path is the only one.
    if common < 2 {
        return cell.to_owned();
    }
    let up = folder.components().count() - common;
    let mut short: PathBuf = std::iter::repeat_n(Component::ParentDir, up).collect();
    short.extend(path.components().skip(common));
    short.display().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whose word a row is, by what it would be in hand: as written, changed, filled in, of old.
    #[test]
    fn only_what_was_changed_is_the_users_word() {
        let row = |filters: Option<&[&str]>, mark: &str, how: &str| UsedRow {
            filters: filters.map(|f| f.iter().map(|n| (*n).to_owned()).collect()),
            mark: mark.to_owned(),
            how_known: how.to_owned(),
            ..UsedRow::default()
        };
        let light = How::Light.text();
        let stack = row(Some(&["Weir Three", "Harbour Ten"]), "", light);
        assert_eq!(found(&stack), "Harbour Ten + Weir Three");
        let turned = row(Some(&["Harbour  ten", "weir three"]), "", light);
        assert_eq!(word(&UsedRow { found: found(&stack), ..turned }), Word::Nobodys);
        let ring = row(Some(&["Tide Ring"]), "2", light);
        assert_eq!(found(&ring), "Tide Ring, mark 2");
        assert_eq!(word(&UsedRow { found: found(&ring), ..ring.clone() }), Word::Nobodys);
        for changed in [
            row(Some(&["Tide Ring"]), "3", light),
            row(Some(&["Tide Ring"]), "", light),
            row(Some(&[]), "2", light),
            row(Some(&["Weir Three"]), "", light),
        ] {
            assert_eq!(
                word(&UsedRow { found: found(&ring), ..changed.clone() }),
                Word::Users,
                "{changed:?}"
            );
        }
        assert_eq!(word(&row(None, "", "")), Word::Nobodys);
        assert_eq!(word(&row(Some(&["Tide Ring"]), "", "")), Word::Users);
        let said = row(Some(&[]), "", How::User.text());
        assert_eq!(word(&UsedRow { found: found(&said), ..said }), Word::Users);
        assert_eq!(word(&ring), Word::Unclear);
    }

    #[cfg(unix)]
    #[test]
    fn paths_count_from_the_tables_folder() {
        let from = |cell| from(Path::new("/home/me/evening"), cell);
        assert_eq!(from("/home/me/evening/a.dng"), "a.dng");
        assert_eq!(from("/home/me/kit/ten/profile.json"), "../kit/ten/profile.json");
        assert_eq!(from("/elsewhere/a.dng"), "/elsewhere/a.dng");
    }
}
