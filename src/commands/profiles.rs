//! Profiles named on the command line: one way in, whatever the command.
//!
//! Every path may be a profile, the folder that `measure` wrote, or a folder of such folders; what is
//! no path, or a folder without a profile, may be the name of a filter in the kit, whose newest
//! profile is meant. Where none is given, the newest of every filter in the kit is.

use crate::commands::console::Console;
use crate::error::{Failure, ProfilesError};
use crate::kit::Kit;
use crate::kit::kept::{Damaged, Listing};
use crate::kit_folder::{Bodies, KitFolder};
use crate::profile::Profile;
use crate::profile::json::Document;
use crate::read::small;
use crate::system::plain;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

pub use crate::kit_folder::PROFILE;

/// What to do where one cannot be read.
const ADVICE: &str = "; give a profile.json, its folder, or the name of a filter in the kit";

/// A profile and where it was read.
#[derive(Clone, Debug)]
pub struct Opened {
    /// Its file.
    pub path: PathBuf,
    /// Its content.
    pub profile: Profile,
}

impl Opened {
    /// The folder that it lies in.
    #[must_use]
    pub fn folder(&self) -> &Path {
        match self.path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        }
    }
}

/// The one profile that a path stands for.
///
/// # Errors
/// Where there is none or several, or it cannot be read.
pub fn one(path: &Path) -> Result<Opened, Failure> {
    match files_of(path).as_slice() {
        [file] => open(file),
        several => {
            let folders = several.iter().filter_map(|file| file.parent());
            Err(Failure::from(ProfilesError::Several {
                folder: path.display().to_string(),
                names: folders.map(|folder| folder.display().to_string()).collect(),
            }))
        }
    }
}

/// Every profile that the paths stand for, each once, whole or not at all: a command that decides
/// by the kit must not decide by half of it.
///
/// # Errors
/// Where one cannot be read, or two name one filter.
pub fn all(paths: &[PathBuf]) -> Result<Vec<Opened>, Failure> {
    let mut all: Vec<Opened> = Vec::new();
    for file in files(paths) {
        let file = std::path::absolute(&file).unwrap_or(file);
        let opened = open(&file)?;
        let name = &opened.profile.filter.name;
        if let Some(twin) = all.iter().find(|known| known.profile.filter.name == *name) {
            return Err(Failure::from(ProfilesError::Twins {
                first: twin.path.display().to_string(),
                second: opened.path.display().to_string(),
                name: name.clone(),
            }));
        }
        all.push(opened);
    }
    Ok(all)
}

/// The kit for the field; damaged and later profiles are named on standard error and skipped.
///
/// # Errors
/// Where none could be read.
pub fn kit(paths: &[PathBuf], console: &mut Console) -> Result<Kit, Failure> {
    let kit = Kit::assemble(files(paths).into_iter().map(|file| {
        let text = small::text(&file, small::PROFILE_BYTES).map_err(|error| unread(&file, &error));
        (file, text)
    }));
    name_skipped(&kit.skipped, console);
    if kit.filters.is_empty() { Err(ProfilesError::None.into()) } else { Ok(kit) }
}

/// The kit, its damaged profiles named on standard error.
///
/// # Errors
/// Where it cannot be listed.
pub fn listing(kit: &KitFolder, console: &mut Console) -> Result<Listing, Failure> {
    let listing = kit.list()?;
    name_skipped(&listing.damaged, console);
    Ok(listing)
}

/// The camera records of a kit; those that cannot be read are said.
///
/// # Errors
/// Where their folder cannot be listed.
pub fn bodies(kit: &KitFolder, console: &mut Console) -> Result<Bodies, Failure> {
    let bodies = kit.bodies()?;
    name_skipped(&bodies.damaged, console);
    Ok(bodies)
}

fn name_skipped(damaged: &[Damaged], console: &mut Console) {
    for Damaged { path, reason } in damaged {
        console.warn(&format!("skipped {}: {reason}", path.display()));
    }
}

/// The paths, or where none is given the newest profile of each filter in the kit.
///
/// # Errors
/// Where none is given and the kit holds none, or cannot be read.
pub fn given_or_kept(paths: &[PathBuf], console: &mut Console) -> Result<Vec<PathBuf>, Failure> {
    if !paths.is_empty() {
        return Ok(paths.to_vec());
    }
    let folder = KitFolder::of_person()?;
    let listing = listing(&folder, console)?;
    let newest: Vec<PathBuf> = listing.in_use().map(|f| f.newest().path.clone()).collect();
    if newest.is_empty() {
        let kit = folder.root().display().to_string();
        let retired = listing.filters.first().map(|f| f.name.clone());
        return Err(match retired {
            Some(name) => ProfilesError::AllRetired { kit, name }.into(),
            None => ProfilesError::NoneKept { kit }.into(),
        });
    }
    Ok(newest)
}

/// The files behind the paths, each once.
#[must_use]
pub fn files(paths: &[PathBuf]) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = paths.iter().flat_map(|path| files_of(path)).collect();
    let mut seen = BTreeSet::new();
    files.retain(|file| seen.insert(file.canonicalize().unwrap_or_else(|_| file.clone())));
    files
}

/// Reads one file.
///
/// # Errors
/// Where there is none, or none that this version reads, with its path.
pub fn open(file: &Path) -> Result<Opened, Failure> {
    let path = file.to_owned();
    let text = match small::text(file, small::PROFILE_BYTES) {
        Ok(text) => text,
        Err(source) => return Err(Failure::Unread { path, advice: ADVICE, source }),
    };
    match Document::parse(&text) {
        Ok(Document { profile, .. }) => Ok(Opened { path, profile }),
        Err(source) => Err(Failure::Profile { path, source }),
    }
}

/// The newest profile of a filter of the kit, by its name.
fn kept(name: &Path) -> Option<PathBuf> {
    let listing = KitFolder::of_person().ok()?.list().ok()?;
    Some(listing.find(name.to_str()?)?.newest().path.clone())
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

/// At least one file, which may be missing. A folder without a profile hides no filter of its name: a
/// shoot has the name of its filter as a rule.
fn files_of(path: &Path) -> Vec<PathBuf> {
    let found = lying(path);
    if !found.is_empty() {
        return found;
    }
    let own = || if path.is_dir() { path.join(PROFILE) } else { path.to_owned() };
    vec![kept(path).unwrap_or_else(own)]
}

/// The files at a path itself; none where it is missing, or a folder without a profile.
#[must_use]
pub fn lying(path: &Path) -> Vec<PathBuf> {
    if !path.is_dir() {
        return if path.exists() { vec![path.to_owned()] } else { Vec::new() };
    }
    let own = path.join(PROFILE);
    if own.exists() {
        return vec![own];
    }
    let entries = std::fs::read_dir(path).into_iter().flatten().filter_map(Result::ok);
    let mut below: Vec<PathBuf> =
        entries.map(|entry| entry.path().join(PROFILE)).filter(|file| file.is_file()).collect();
    below.sort();
    below
}
