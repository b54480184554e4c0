//! A measurement goes into the kit.

use super::bodies::RECORDS;
use super::{KitError, KitFolder, PROFILE, RETIRED, free_name, make_folder, taken, text};
use crate::kit::kept::{KeptFilter, Listing, name_key, taken_at};
use crate::profile::json::Document;
use crate::profile::{FrameState, Profile};
use crate::text::slug;
use crate::write::{write_folder, write_replacing};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Name of the dated folder of a measurement whose frames tell no day.
const UNDATED: &str = "undated";

/// How a measurement was kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum KeptAs {
    /// The first of its filter.
    First(PathBuf),
    /// One more of a filter that is in the kit.
    Again(PathBuf),
    /// In the place of another measurement of the same frames.
    Replaced(PathBuf),
    /// The very same was there.
    Already(PathBuf),
}

impl KeptAs {
    /// The profile in the kit.
    #[must_use]
    pub fn path(&self) -> &Path {
        let (Self::First(path) | Self::Again(path) | Self::Replaced(path) | Self::Already(path)) =
            self;
        path
    }
}

impl KitFolder {
    /// Keeps a measurement with files that belong beside it (a page, say); the same name is the same
    /// filter. With `replace` it takes the place of one that was made of the same frames.
    ///
    /// # Errors
    /// Where the kit cannot be written, where the name is that of a filter of another kind, or where
    /// the same frames were measured before.
    pub fn keep(
        &self,
        document: &Document,
        beside: &[(PathBuf, String)],
        replace: bool,
    ) -> Result<KeptAs, KitError> {
        let _claim = self.claimed()?;
        let listing = self.list()?;
        let profile = &document.profile;
        let known = listing.find(&profile.filter.name);
        if let Some(filter) = known {
            same_kind(filter, profile)?;
            if let Some(found) = filter.measurements.iter().find(|m| m.document == *document) {
                return Ok(KeptAs::Already(found.path.clone()));
            }
            if let Some(found) =
                filter.measurements.iter().find(|m| one_shoot(m.profile(), profile))
            {
                if !replace {
                    return Err(KitError::SameFrames { path: found.path.clone() });
                }
                for (name, page) in beside {
                    write_replacing(&found.folder().join(name), page.as_bytes())?;
                }
                write_replacing(&found.path, &text(document)?)?;
                return Ok(KeptAs::Replaced(found.path.clone()));
            }
        }
        not_elsewhere(&listing, profile)?;
        let folder = match known.filter(|filter| !filter.retired()) {
            Some(filter) => self.folder_of(filter),
            None => self.free_folder(&profile.filter.name),
        };
        make_folder(&folder)?;
        let mut files: Vec<(PathBuf, Vec<u8>)> =
            beside.iter().map(|(name, page)| (name.clone(), page.clone().into_bytes())).collect();
        files.push((PROFILE.into(), text(document)?));
        let made = write_folder(&folder, &free_day(&folder, &day(profile)), &files);
        if made.is_err() {
            // Only where it holds nothing.
            drop(std::fs::remove_dir(&folder));
        }
        let path = made?.join(PROFILE);
        Ok(if known.is_some() { KeptAs::Again(path) } else { KeptAs::First(path) })
    }

    /// The folder of a filter: that of its newest measurement.
    pub(super) fn folder_of(&self, filter: &KeptFilter) -> PathBuf {
        let own = filter.newest().folder();
        match own.parent() {
            Some(above) if above != self.root => above.to_owned(),
            // A profile that lies in the filter's folder itself.
            _ => own.to_owned(),
        }
    }

    /// A folder for a new filter that no other one has.
    pub(super) fn free_folder(&self, name: &str) -> PathBuf {
        let free = |name: &str| name != RETIRED && name != RECORDS && !taken(&self.root.join(name));
        self.root.join(free_name(&slug(name), free))
    }
}

pub(super) fn same_kind(filter: &KeptFilter, other: &Profile) -> Result<(), KitError> {
    let (kept, given) = (filter.newest().profile().filter.kind, other.filter.kind);
    if kept == given {
        return Ok(());
    }
    Err(KitError::OtherKind { name: filter.name.clone(), kept, given })
}

/// The name of a dated folder that is free.
pub(super) fn free_day(folder: &Path, day: &str) -> String {
    free_name(day, |name| !taken(&folder.join(name)))
}

fn day(profile: &Profile) -> String {
    taken_at(profile).map_or_else(|| UNDATED.to_owned(), |at| at.date().to_string())
}

/// Refuses what was measured of another filter's frames: of two filters that are alike to the last
/// digit nothing can ever tell which one a photograph shows.
fn not_elsewhere(listing: &Listing, profile: &Profile) -> Result<(), KitError> {
    let others =
        listing.filters.iter().filter(|f| name_key(&f.name) != name_key(&profile.filter.name));
    let mut kept = others.flat_map(|filter| filter.measurements.iter().map(move |m| (filter, m)));
    match kept.find(|(_, m)| one_shoot(m.profile(), profile)) {
        Some((filter, found)) => Err(KitError::SameFramesElsewhere {
            name: filter.name.clone(),
            path: found.path.clone(),
        }),
        None => Ok(()),
    }
}

/// Whether frames through the filter served for both.
pub(super) fn one_shoot(one: &Profile, other: &Profile) -> bool {
    let frames = |profile: &Profile| -> BTreeSet<String> {
        let through = profile.frames.iter().filter(|f| f.state == FrameState::Setting);
        through.map(|f| f.sha256.clone()).filter(|hash| !hash.is_empty()).collect()
    };
    !frames(one).is_disjoint(&frames(other))
}
