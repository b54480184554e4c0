//! What a kit holds.

use super::{KitError, KitFolder, PROFILE, RETIRED, entries, is_hidden};
use crate::kit;
use crate::kit::kept::{Damaged, Listing, Measurement, taken_at};
use crate::profile::Profile;
use crate::read::small;
use crate::system::plain;
use jiff::civil::{Date, DateTime};
use rayon::prelude::*;
use std::path::{Path, PathBuf};

impl KitFolder {
    /// Reads the whole kit; one that was never written to is empty.
    ///
    /// # Errors
    /// Where the folder is there and cannot be listed; damaged profiles are in the listing.
    pub fn list(&self) -> Result<Listing, KitError> {
        let mut files = Vec::new();
        for (folder, retired) in self.filter_folders()? {
            files.extend(profiles_of(&folder).into_iter().map(|file| (file, retired)));
        }
        let read: Vec<Result<Measurement, Damaged>> =
            files.into_par_iter().map(|(path, retired)| read(path, retired)).collect();
        let (mut measurements, mut damaged) = (Vec::new(), Vec::new());
        for result in read {
            match result {
                Ok(found) => measurements.push(found),
                Err(found) => damaged.push(found),
            }
        }
        Ok(Listing::of(measurements, damaged))
    }

    /// Folders of filters, and whether they are retired.
    fn filter_folders(&self) -> Result<Vec<(PathBuf, bool)>, KitError> {
        let retired = self.root.join(RETIRED);
        let own = entries(&self.root)?.into_iter().flat_map(folders);
        let own = own.filter(|folder| *folder != retired);
        let mut all: Vec<(PathBuf, bool)> = own.map(|folder| (folder, false)).collect();
        let entries = std::fs::read_dir(&retired).into_iter().flat_map(folders);
        all.extend(entries.map(|folder| (folder, true)));
        Ok(all)
    }
}

/// Folders among these, in order, but those that are not finished or hidden.
fn folders(entries: std::fs::ReadDir) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = entries
        .filter_map(Result::ok)
        .filter(|entry| !is_hidden(entry))
        .map(|entry| entry.path())
        .filter(|path| path.is_dir())
        .collect();
    found.sort();
    found
}

/// Profiles in the dated folders of a filter, and one beside them.
fn profiles_of(folder: &Path) -> Vec<PathBuf> {
    let below = std::fs::read_dir(folder).into_iter().flat_map(folders);
    let places = std::iter::once(folder.to_owned()).chain(below);
    let files = places.map(|place| place.join(PROFILE));
    files.filter(|file| file.symlink_metadata().is_ok()).collect()
}

fn read(path: PathBuf, retired: bool) -> Result<Measurement, Damaged> {
    let text = small::text(&path, small::PROFILE_BYTES).map_err(|error| plain(&error));
    match text.and_then(|text| kit::read(&text)) {
        Ok(document) => {
            let at = when(&path, &document.profile);
            Ok(Measurement { path, document, at, retired })
        }
        Err(reason) => Err(Damaged { path, reason }),
    }
}

/// The day in the folder's name, with the frames' hour where they are of that day; else when the
/// frames were made.
fn when(path: &Path, profile: &Profile) -> Option<DateTime> {
    let said = path.parent().and_then(Path::file_name).and_then(|name| {
        let name = name.to_string_lossy();
        name.get(..10).and_then(|day| day.parse::<Date>().ok())
    });
    let taken = taken_at(profile);
    match said {
        Some(day) => taken.filter(|at| at.date() == day).or_else(|| Some(day.at(0, 0, 0, 0))),
        None => taken,
    }
}
