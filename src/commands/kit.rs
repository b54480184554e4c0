//! Reads profiles, or folders that hold them, as a kit.

use crate::commands::console::Console;
use crate::error::{Failure, plain};
use crate::field::kit::Kit;
use std::path::{Path, PathBuf};

/// Name of a profile in its folder.
const PROFILE: &str = "profile.json";

/// Reads every profile named; damaged and later ones are named on standard error and skipped.
///
/// A folder stands for the profile in it, or else for the profiles of its subfolders.
///
/// # Errors
/// Where none could be read.
pub fn read_kit(paths: &[PathBuf], console: &mut Console) -> Result<Kit, Failure> {
    let mut files: Vec<PathBuf> = paths.iter().flat_map(|path| files_of(path)).collect();
    let mut seen = std::collections::BTreeSet::new();
    files.retain(|file| seen.insert(file.canonicalize().unwrap_or_else(|_| file.clone())));
    let kit = Kit::assemble(files.into_iter().map(|file| {
        let text = std::fs::read_to_string(&file).map_err(|error| unread(&file, &error));
        (file.display().to_string(), text)
    }));
    for skipped in &kit.skipped {
        console.complain(&format!("skipped {}: {}", skipped.path, skipped.reason));
    }
    if kit.filters.is_empty() {
        return Err(Failure::Nothing(
            "no profile could be read; give the profile.json that measure wrote, or its folder"
                .to_owned(),
        ));
    }
    Ok(kit)
}

fn unread(file: &Path, error: &std::io::Error) -> String {
    use std::io::ErrorKind as E;
    match error.kind() {
        E::NotFound if file.file_name().is_some_and(|name| name == PROFILE) => {
            "there is no profile.json; give the folder that measure wrote".to_owned()
        }
        E::InvalidData => "it is not text, so it is no profile".to_owned(),
        _ => plain(error),
    }
}

fn files_of(path: &Path) -> Vec<PathBuf> {
    if !path.is_dir() {
        return vec![path.to_owned()];
    }
    let own = path.join(PROFILE);
    if own.exists() {
        return vec![own];
    }
    let mut below: Vec<PathBuf> = std::fs::read_dir(path)
        .into_iter()
        .flatten()
        .filter_map(Result::ok)
        .map(|entry| entry.path().join(PROFILE))
        .filter(|file| file.is_file())
        .collect();
    below.sort();
    if below.is_empty() { vec![own] } else { below }
}

/// A name as part of a file name: letters and digits, everything else a hyphen.
#[must_use]
pub fn slug(name: &str) -> String {
    let kept: String =
        name.to_lowercase().chars().map(|c| if c.is_alphanumeric() { c } else { '-' }).collect();
    let words: Vec<&str> = kept.split('-').filter(|word| !word.is_empty()).collect();
    if words.is_empty() { "filter".to_owned() } else { words.join("-") }
}

/// Writes files into a folder, which is made where it is missing; all or none where one exists.
///
/// # Errors
/// Where the folder cannot be made, or a file exists and is not to be replaced.
pub fn write_all(folder: &Path, files: &[(String, String)], replace: bool) -> Result<(), Failure> {
    std::fs::create_dir_all(folder).map_err(|error| {
        Failure::Nothing(format!(
            "the folder {} cannot be made: {error}; choose another with --out",
            folder.display()
        ))
    })?;
    let _claim = crate::write::claim(folder).map_err(|e| Failure::Nothing(e.to_string()))?;
    let exists = files.iter().map(|(name, _)| folder.join(name)).find(|path| path.exists());
    if let Some(path) = exists.filter(|_| !replace) {
        return Err(Failure::Nothing(format!(
            "{} exists already; use --replace to write it again",
            path.display()
        )));
    }
    for (name, text) in files {
        crate::write::write(&folder.join(name), text.as_bytes(), replace)
            .map_err(|error| Failure::Nothing(error.to_string()))?;
    }
    Ok(())
}
