//! What commands write: folders are made and claimed, nothing that is there is overwritten unasked.

use crate::error::Failure;
use crate::report::ReportFiles;
use crate::write::{Claim, WriteError, claim, write};
use std::path::{Path, PathBuf};

/// A file to be written: its place below a folder and its content.
pub type NewFile = (PathBuf, String);

/// Writes files into a folder in their order, all or none where one is there already and is not to
/// be replaced.
///
/// # Errors
/// Where a folder cannot be made, another run writes into it, or a file is in the way.
pub fn write_all(folder: &Path, files: &[NewFile], replace: bool) -> Result<(), Failure> {
    let paths: Vec<PathBuf> = files.iter().map(|(name, _)| folder.join(name)).collect();
    make_folder(folder)?;
    let _claim = claim(folder)?;
    refuse_existing(&paths, replace)?;
    for (path, (_, text)) in paths.iter().zip(files) {
        path.parent().map_or(Ok(()), make_folder)?;
        write(path, text.as_bytes(), replace)?;
    }
    Ok(())
}

/// Refuses files that are there already, unless they are to be replaced.
///
/// # Errors
/// The first of them.
pub fn refuse_existing<P: AsRef<Path>>(paths: &[P], replace: bool) -> Result<(), WriteError> {
    let taken = paths.iter().map(AsRef::as_ref).find(|path| !replace && path.exists());
    taken.map_or(Ok(()), |path| Err(WriteError::Exists { path: path.to_owned() }))
}

/// Makes the folders of files that are written one by one, and claims them for this run.
///
/// # Errors
/// Where one cannot be made, or another run writes into it.
pub fn claim_folders(files: &[&Path]) -> Result<Vec<Claim>, Failure> {
    let mut folders: Vec<&Path> = files.iter().filter_map(|file| file.parent()).collect();
    folders.sort_unstable();
    folders.dedup();
    for folder in folders.iter().filter(|folder| !folder.as_os_str().is_empty()) {
        make_folder(folder)?;
    }
    folders.into_iter().map(|folder| Ok(claim(folder)?)).collect()
}

/// A page under its name, its plots in a folder of their own beside it, the plots first.
#[must_use]
pub fn page(files: ReportFiles, name: &str) -> Vec<NewFile> {
    let plots = files.plots.into_iter().map(|(plot, svg)| (Path::new("plots").join(plot), svg));
    plots.chain([(PathBuf::from(name), files.html)]).collect()
}

/// A name as part of a file name that every system takes: letters and digits, the rest as single
/// hyphens.
#[must_use]
pub fn slug(name: &str) -> String {
    let name = name.to_lowercase();
    let words: Vec<&str> =
        name.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    if words.is_empty() { "filter".to_owned() } else { words.join("-") }
}

fn make_folder(folder: &Path) -> Result<(), Failure> {
    std::fs::create_dir_all(folder)
        .map_err(|source| Failure::NoFolder { path: folder.to_owned(), source })
}
