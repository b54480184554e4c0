//! The filters that a row of the table names, and where their profiles are.

use super::absent;
use crate::commands::profiles::{self, Opened};
use crate::editing::correct::setting;
use crate::editing::used_csv::{JOIN, TableError, UsedRow};
use crate::editing::which::Used;
use crate::error::Failure;
use crate::kit::kept::{means_none, name_key};
use crate::kit_folder::KitFolder;
use crate::profile::{Kind, Profile, Setting};
use std::path::{Path, PathBuf};

/// What people write between the names of a stack instead.
const BETWEEN: [char; 4] = [',', ';', '&', '/'];

/// Adds to a kit what the table names and it lacks, and takes words for no filter as such where no filter
/// is called so. Gives what is to be said of that.
///
/// # Errors
/// Where a profile of the table cannot be understood.
pub fn complete(
    kit: &mut Vec<Opened>,
    rows: &mut [UsedRow],
    table: &Path,
) -> Result<Vec<String>, Failure> {
    let said = added(kit, rows, table)?;
    for row in rows {
        let none = |names: &Vec<String>| match names.as_slice() {
            [word] => means_none(word) && place(word, kit).is_none(),
            _ => false,
        };
        if row.filters.as_ref().is_some_and(none) {
            row.filters = Some(Vec::new());
        }
    }
    Ok(said)
}

/// Adds to a kit what the table names and it lacks: from the profiles of the table, then from the kit
/// of the person.
fn added(kit: &mut Vec<Opened>, rows: &[UsedRow], table: &Path) -> Result<Vec<String>, Failure> {
    let mut said = Vec::new();
    let mut own: Option<Vec<Opened>> = None;
    for row in rows {
        for name in row.filters.iter().flatten() {
            // A name may hold the sign that joins names.
            for name in std::iter::once(name.as_str()).chain(parts(name)) {
                if in_kit(row.filters.as_deref().unwrap_or_default(), kit).is_ok() {
                    break;
                }
                if place(name, kit).is_some() {
                    continue;
                }
                let own = match &mut own {
                    Some(own) => own,
                    none => none.insert(of_table(rows)?),
                };
                if let Some(at) = place(name, own) {
                    kit.push(own[at].clone());
                } else if let Some(kept) = kept(name)? {
                    let gone = absent(table, &row.file);
                    if !gone.is_empty() {
                        said.push(format!(
                            "{}: {} is not there, so {:?} was taken from the kit",
                            cell_of(table, row),
                            quoted(&gone),
                            kept.profile.filter.name
                        ));
                    }
                    kit.push(kept);
                }
            }
        }
    }
    Ok(said)
}

/// The filters that a row names, a mark with the variable ones.
///
/// # Errors
/// Where there is no profile of one, or one is named twice, or there is no such mark.
pub fn used(row: &UsedRow, mark: &str, kit: &[Opened], table: &Path) -> Result<Vec<Used>, Failure> {
    let names = row.filters.as_deref().unwrap_or_default();
    let filters = in_kit(names, kit).map_err(|name| unknown(&name, row, kit, table))?;
    if let Some(twice) = (1..filters.len()).find(|&at| filters[..at].contains(&filters[at])) {
        return Err(Failure::usage(format!(
            "{}: the table names the filter {:?} twice for one photograph; name it once there",
            cell_of(table, row),
            kit[filters[twice]].profile.filter.name
        )));
    }
    let variable = |&filter: &usize| kit[filter].profile.filter.kind == Kind::Variable;
    if !mark.is_empty() && !filters.iter().any(variable) {
        return Err(Failure::usage(format!(
            "the table gives {:?} the mark {mark:?}, but {}; leave the mark blank there",
            name_of(row),
            if filters.is_empty() { "no filter" } else { "no variable filter" },
        )));
    }
    let marked = |filter: usize| {
        let own = if variable(&filter) { mark } else { "" };
        let profile = &kit[filter].profile;
        let found = setting(profile, Some(own)).map_err(|marks| {
            Failure::usage(format!("{}: {}", cell_of(table, row), no_mark(profile, own, &marks)))
        })?;
        let mark = found.filter(|_| !own.is_empty()).and_then(|s| s.mark.clone());
        Ok(Used { filter, mark })
    };
    filters.into_iter().map(marked).collect()
}

/// The setting of a mark, where there is one to be told.
///
/// # Errors
/// Where the filter has no such mark.
pub fn of_mark<'a>(
    profile: &'a Profile,
    mark: Option<&str>,
) -> Result<Option<&'a Setting>, Failure> {
    setting(profile, mark)
        .map_err(|marks| Failure::usage(no_mark(profile, mark.unwrap_or_default(), &marks)))
}

fn no_mark(profile: &Profile, mark: &str, marks: &[&str]) -> String {
    let name = &profile.filter.name;
    format!("{name:?} has no mark {mark:?}; its marks are {}", marks.join(", "))
}

/// Places of filters in a kit, or the name that is not there.
fn in_kit(names: &[String], kit: &[Opened]) -> Result<Vec<usize>, String> {
    let mut found = Vec::new();
    for name in names {
        if let Some(at) = place(name, kit) {
            found.push(at);
            continue;
        }
        let joined = parts(name).count() > 1;
        if !joined {
            return Err(name.clone());
        }
        for part in parts(name) {
            found.push(place(part, kit).ok_or_else(|| part.to_owned())?);
        }
    }
    Ok(found)
}

/// Names that are joined without spaces.
fn parts(name: &str) -> impl Iterator<Item = &str> {
    name.split('+').map(str::trim).filter(|part| !part.is_empty())
}

/// A filter by its name, or by what makes two names one filter.
fn place(name: &str, kit: &[Opened]) -> Option<usize> {
    let own = |k: &Opened| k.profile.filter.name == name;
    let like = |k: &Opened| name_key(&k.profile.filter.name) == name_key(name);
    kit.iter().position(own).or_else(|| kit.iter().position(like))
}

fn of_table(rows: &[UsedRow]) -> Result<Vec<Opened>, Failure> {
    let paths: Vec<PathBuf> = rows.iter().flat_map(|r| &r.profiles).map(PathBuf::from).collect();
    profiles::files(&paths).iter().map(|file| profiles::open(file)).collect()
}

/// The newest profile of a filter in the kit of the person, where there is such a kit.
fn kept(name: &str) -> Result<Option<Opened>, Failure> {
    let listing = KitFolder::of_person().ok().and_then(|folder| folder.list().ok());
    let file = listing.and_then(|l| Some(l.find(name)?.newest().path.clone()));
    file.map(|file| profiles::open(&file)).transpose()
}

fn unknown(name: &str, row: &UsedRow, kit: &[Opened], table: &Path) -> Failure {
    let names: Vec<String> = kit.iter().map(|k| k.profile.filter.name.clone()).collect();
    let stack: Vec<&str> = name.split(BETWEEN).map(str::trim).collect();
    let known = |part: &&str| place(part, kit).is_some() || kept(part).is_ok_and(|k| k.is_some());
    let or = match names.as_slice() {
        _ if stack.len() > 1 && stack.iter().all(known) => {
            format!(", or write a stack as {:?}", stack.join(JOIN))
        }
        [] => String::new(),
        names => format!(", or write one of {}", quoted(names)),
    };
    let gone = absent(table, &row.file);
    let why = if gone.is_empty() {
        String::new()
    } else {
        format!(" ({} is not there; paths count from the table's folder)", quoted(&gone))
    };
    let (row, name) = (cell_of(table, row), name.to_owned());
    Failure::usage(TableError::NoProfile { row, name, why, or })
}

/// A table and the row in it.
fn cell_of(table: &Path, row: &UsedRow) -> String {
    format!("{}, row of {:?}", table.display(), name_of(row))
}

fn name_of(row: &UsedRow) -> String {
    let name = Path::new(&row.file).file_name().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

fn quoted(names: &[String]) -> String {
    names.iter().map(|name| format!("{name:?}")).collect::<Vec<_>>().join(", ")
}
