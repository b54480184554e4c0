//! `lightloss report`: the page of a profile, written again from the profile alone.

use crate::cli::ReportArgs;
use crate::commands::console::Console;
use crate::commands::measure::write_page;
use crate::error::{Done, Failure, plain};
use crate::profile::json::Document;
use std::path::{Path, PathBuf};

/// Runs the command.
///
/// # Errors
/// Where the profile cannot be read, or the page cannot be written.
pub fn run(args: &ReportArgs, console: &mut Console) -> Result<Done, Failure> {
    let path = profile_path(&args.profile);
    let document = read_profile(&path)?;
    let folder = path.parent().unwrap_or_else(|| Path::new("."));
    // What this command writes, it wrote before: it is meant to be written over.
    write_page(&document.profile, folder, true)?;
    console.line(&folder.join("report.html").display().to_string())?;
    Ok(Done::Clean)
}

/// The profile itself, where its folder was given.
#[must_use]
pub fn profile_path(given: &Path) -> PathBuf {
    if given.is_dir() { given.join("profile.json") } else { given.to_owned() }
}

/// Reads a profile.
///
/// # Errors
/// Where there is none, or none that this version reads, with its path.
pub fn read_profile(path: &Path) -> Result<Document, Failure> {
    let shown = path.display().to_string();
    let text = std::fs::read_to_string(path).map_err(|e| {
        Failure::Nothing(format!(
            "{shown:?} cannot be read: {}; give a profile.json or its folder",
            plain(&e)
        ))
    })?;
    Document::parse(&text).map_err(|e| Failure::Nothing(format!("{shown:?}: {e}")))
}
