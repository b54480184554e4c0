//! Names change, two names turn out to be one filter, filters leave the bag. Each profile is
//! rewritten or moved for itself and whole: whatever was interrupted goes on where it is asked for
//! again.

use super::keep::{free_day, one_shoot, same_kind};
use super::{KitError, KitFolder, RETIRED, filter, make_folder, named, text};
use crate::kit::kept::{Measurement, name_key as key};
use crate::text::slug;
use crate::write::{move_folder, write_replacing};
use std::path::{Path, PathBuf};

impl KitFolder {
    /// Gives a filter another name; the profiles that were rewritten, oldest first.
    ///
    /// # Errors
    /// Where there is no such filter, the name is another one's, or the kit cannot be written.
    pub fn rename(&self, name: &str, to: &str) -> Result<Vec<Measurement>, KitError> {
        let _claim = self.claimed()?;
        let listing = self.list()?;
        let filter = filter(&listing, name)?;
        if let Some(other) = listing.find(to).filter(|other| other.name != filter.name) {
            return Err(KitError::NameTaken { name: other.name.clone() });
        }
        let mut renamed = rewrite(&filter.measurements, to)?;
        // The folder's name is for the eye alone: where it cannot follow, it stays.
        let old = self.folder_of(filter);
        let inside = |m: &Measurement| m.folder() != old && m.path.starts_with(&old);
        let same = |m: &Measurement| key(&m.profile().filter.name) == key(&filter.name);
        let others = listing.filters.iter().flat_map(|f| &f.measurements);
        let alone = others.filter(|m| m.path.starts_with(&old)).all(same)
            && !listing.damaged.iter().any(|d| d.path.starts_with(&old));
        if alone && !filter.retired() && filter.measurements.iter().all(inside) {
            let new = self.free_folder(to);
            if slug(&filter.name) != slug(to) && move_folder(&old, &new).is_ok() {
                for measurement in &mut renamed {
                    measurement.path = moved(&measurement.path, &old, &new);
                }
            }
        }
        Ok(renamed)
    }

    /// Makes the measurements of one filter those of another; the profiles that were rewritten.
    ///
    /// # Errors
    /// Where there is no such filter, their kinds differ, or the kit cannot be written.
    pub fn merge(&self, name: &str, into: &str) -> Result<Vec<Measurement>, KitError> {
        let _claim = self.claimed()?;
        let listing = self.list()?;
        let (from, into) = (filter(&listing, name)?, filter(&listing, into)?);
        if from.name == into.name {
            return Ok(Vec::new());
        }
        same_kind(into, from.newest().profile())?;
        let pairs = from
            .measurements
            .iter()
            .flat_map(|one| into.measurements.iter().map(move |m| (one, m)));
        for (one, other) in pairs {
            if one_shoot(one.profile(), other.profile()) {
                let (one, other) = (one.path.clone(), other.path.clone());
                return Err(KitError::SameFramesTwice { one, other });
            }
        }
        let mut merged = rewrite(&from.measurements, &into.name)?;
        let folder = self.folder_of(into);
        if !into.retired() {
            for measurement in merged.iter_mut().filter(|m| !m.path.starts_with(&folder)) {
                self.bring(measurement, &folder)?;
            }
        }
        Ok(merged)
    }

    /// Takes a filter out of the bag; its measurements stay, and it can be brought back.
    ///
    /// # Errors
    /// Where there is no such filter, or the kit cannot be written.
    pub fn retire(&self, name: &str) -> Result<(), KitError> {
        self.move_all(name, true)
    }

    /// Puts a retired filter into the bag again.
    ///
    /// # Errors
    /// As [`KitFolder::retire`].
    pub fn bring_back(&self, name: &str) -> Result<(), KitError> {
        self.move_all(name, false)
    }

    fn move_all(&self, name: &str, retire: bool) -> Result<(), KitError> {
        let _claim = self.claimed()?;
        let listing = self.list()?;
        let filter = filter(&listing, name)?;
        let parent = if retire { self.root.join(RETIRED) } else { self.root.clone() };
        let folder = match filter.measurements.iter().find(|m| m.retired == retire) {
            Some(there) => there.folder().parent().unwrap_or(&parent).to_owned(),
            None => Self::at(parent).free_folder(&filter.name),
        };
        for measurement in filter.measurements.iter().filter(|m| m.retired != retire) {
            self.bring(&mut measurement.clone(), &folder)?;
        }
        Ok(())
    }

    /// Moves a measurement's dated folder into another filter's folder; an emptied one goes.
    fn bring(&self, measurement: &mut Measurement, folder: &Path) -> Result<(), KitError> {
        make_folder(folder)?;
        let old = measurement.folder().to_owned();
        let day = old.file_name().map(|name| name.to_string_lossy().into_owned());
        let new = folder.join(free_day(folder, &day.unwrap_or_default()));
        move_folder(&old, &new)?;
        measurement.path = moved(&measurement.path, &old, &new);
        let above = old.parent().filter(|above| *above != self.root);
        if let Some(above) = above {
            // Refused by the system where it still holds something.
            drop(std::fs::remove_dir(above));
        }
        Ok(())
    }
}

/// Oldest first, so that what was interrupted can be asked for again under either name.
fn rewrite(measurements: &[Measurement], name: &str) -> Result<Vec<Measurement>, KitError> {
    let mut all = Vec::new();
    for measurement in measurements {
        let document = named(&measurement.document, name)?;
        write_replacing(&measurement.path, &text(&document)?)?;
        all.push(Measurement { document, ..measurement.clone() });
    }
    Ok(all)
}

fn moved(path: &Path, old: &Path, new: &Path) -> PathBuf {
    path.strip_prefix(old).map_or_else(|_| path.to_owned(), |rest| new.join(rest))
}
