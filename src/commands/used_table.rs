//! The table of which photograph had which filter, as a file: paths in it count from its own folder,
//! so that both can be moved together.

use crate::editing::used_csv::{UsedRow, read_used};
use crate::error::Failure;
use crate::read::pool::path_text;
use crate::read::small;
use std::path::{Component, Path, PathBuf};

/// Reads a table; its paths are made whole.
///
/// # Errors
/// Where it cannot be read or understood.
pub fn read(path: &Path) -> Result<Vec<UsedRow>, Failure> {
    let bytes = small::bytes(path, small::TABLE_BYTES).map_err(|source| Failure::Unread {
        path: path.to_owned(),
        advice: "; lightloss which writes one",
        source,
    })?;
    // Spreadsheets of old write Latin-1, whose bytes are code points.
    let text = String::from_utf8(bytes)
        .unwrap_or_else(|error| error.into_bytes().into_iter().map(char::from).collect());
    let rows =
        read_used(&text).map_err(|source| Failure::Table { path: path.to_owned(), source })?;
    let folder = folder(path);
    let whole = |cell: &str| {
        let joined = folder.join(cell);
        let found = !cell.is_empty() && Path::new(cell).is_relative() && joined.exists();
        if found { plain(&joined).display().to_string() } else { cell.to_owned() }
    };
    Ok(rows
        .into_iter()
        .map(|row| UsedRow {
            file: whole(&row.file),
            bare_frame: whole(&row.bare_frame),
            profiles: row.profiles.iter().map(|p| whole(p)).collect(),
            ..row
        })
        .collect())
}

/// Rows with their paths as they count from the table's folder.
#[must_use]
pub fn relative(rows: &[UsedRow], table: &Path) -> Vec<UsedRow> {
    let folder = folder(table);
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
    let absolute = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    if cell.is_absolute() && cell.exists() {
        return plain(cell) == plain(&absolute);
    }
    // As it was written by `which`, in which names that are no text are spelt out.
    let text = |name: &Path| path_text(name.file_name().unwrap_or_default().as_ref());
    cell.file_name() == path.file_name() || text(cell) == text(path)
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

    #[cfg(unix)]
    #[test]
    fn paths_count_from_the_tables_folder() {
        let from = |cell| from(Path::new("/home/me/evening"), cell);
        assert_eq!(from("/home/me/evening/a.dng"), "a.dng");
        assert_eq!(from("/home/me/kit/ten/profile.json"), "../kit/ten/profile.json");
        assert_eq!(from("/elsewhere/a.dng"), "/elsewhere/a.dng");
    }
}
