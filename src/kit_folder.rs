//! A person's kit on disk: one folder per filter, in it one dated folder per measurement, in that
//! the plain profile. Nothing else is needed to read, move or mend it: the filter's name stands in
//! the profiles, and profiles of one name are one filter wherever in the kit they lie.
//!
//! ```text
//! KIT/harbour-ten/2026-10-11/profile.json
//! KIT/retired/old-six/2019-05-02/profile.json
//! ```
//!
//! Camera records lie beside them (`bodies`).

mod list;
mod keep;
mod change;
mod bodies;

pub use bodies::{Bodies, KeptBody};
pub use keep::KeptAs;

use crate::body_record::json::RecordError;
use crate::kit::kept::{KeptFilter, Listing, means_none};
use crate::profile::Kind;
use crate::profile::json::{Document, JsonError};
use crate::system::plain;
use crate::text::one_line;
use crate::write::WriteError;
use crate::write::claim::{Claim, claim};
use etcetera::{BaseStrategy, choose_base_strategy};
use serde_json::Value;
use std::fs::{DirEntry, ReadDir};
use std::path::{Path, PathBuf};

/// The variable that names the kit's folder.
pub const VARIABLE: &str = "LIGHTLOSS_KIT";
/// Name of a profile in its folder.
pub const PROFILE: &str = "profile.json";
/// Where filters lie that are no longer in the bag.
const RETIRED: &str = "retired";

/// The folder that holds a person's filters; it may not exist yet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KitFolder {
    root: PathBuf,
}

/// Why the kit could not be read or changed.
#[derive(Debug, thiserror::Error)]
pub enum KitError {
    /// The system names no place.
    #[error("this system names no place for a person's data; set {VARIABLE} to a folder")]
    NoPlace,
    /// The kit's folder cannot be listed.
    #[error(
        "the kit {} cannot be read: {}; set {VARIABLE} to a folder of your own",
        path.display(), plain(source)
    )]
    Unread {
        /// Its folder.
        path: PathBuf,
        /// The system's words.
        source: std::io::Error,
    },
    /// A folder of the kit cannot be made.
    #[error(
        "the kit's folder {} cannot be made: {}; set {VARIABLE} to a folder of your own",
        path.display(), plain(source)
    )]
    NoFolder {
        /// Which.
        path: PathBuf,
        /// The system's words.
        source: std::io::Error,
    },
    /// No filter of this name.
    #[error("the kit holds no filter {name:?}; {}", known_names(known))]
    NoFilter {
        /// As given.
        name: String,
        /// What it holds.
        known: Vec<String>,
    },
    /// A name that says nothing.
    #[error("the new name is empty; give the filter a name")]
    NoName,
    /// A name that says that there was no filter.
    #[error("{name:?} says in tables and keywords that there was no filter; give it another name")]
    MeansNone {
        /// As given.
        name: String,
    },
    /// The name is another filter's.
    #[error(
        "the kit holds a filter {name:?} already; where both are the same filter, use lightloss kit \
         merge"
    )]
    NameTaken {
        /// As the kit has it.
        name: String,
    },
    /// One name, two kinds of filter.
    #[error(
        "the kit's {name:?} is a {} filter, this one is a {} one; give one of them another name",
        kept.adjective(), given.adjective()
    )]
    OtherKind {
        /// The filter.
        name: String,
        /// Of the one in the kit.
        kept: Kind,
        /// Of the other.
        given: Kind,
    },
    /// The same frames were measured before.
    #[error(
        "{} was measured from the same frames; use --replace to put this measurement in its place",
        path.display()
    )]
    SameFrames {
        /// What is kept.
        path: PathBuf,
    },
    /// The same frames were measured before, of a filter of another name.
    #[error(
        "the kit holds a measurement of the same frames under another name: {}; measure again with \
         --name {name:?}, or change the name in the kit with lightloss kit rename",
        path.display()
    )]
    SameFramesElsewhere {
        /// That filter.
        name: String,
        /// What is kept.
        path: PathBuf,
    },
    /// Two filters that ought to become one were measured from the same frames.
    #[error(
        "{} and {} were measured from the same frames, so they are one measurement and not two; move \
         one of the two folders out of the kit, then try again",
        one.display(), other.display()
    )]
    SameFramesTwice {
        /// The one.
        one: PathBuf,
        /// The other.
        other: PathBuf,
    },
    /// A body was measured before.
    #[error(
        "the kit holds a camera record of {name} already: {}; use --replace to put this one in its place",
        path.display()
    )]
    BodyKept {
        /// The body.
        name: String,
        /// What is kept.
        path: PathBuf,
    },
    /// A camera record that cannot be understood or written.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// A profile that cannot be understood or written.
    #[error(transparent)]
    Profile(#[from] JsonError),
    /// A file that cannot be written or moved.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl KitError {
    /// Whether another command line would do.
    #[must_use]
    pub const fn is_usage(&self) -> bool {
        matches!(
            self,
            Self::NoFilter { .. }
                | Self::NoName
                | Self::MeansNone { .. }
                | Self::NameTaken { .. }
                | Self::OtherKind { .. }
                | Self::SameFrames { .. }
                | Self::SameFramesElsewhere { .. }
                | Self::SameFramesTwice { .. }
                | Self::BodyKept { .. }
        )
    }
}

impl KitFolder {
    /// The kit in this folder.
    #[must_use]
    pub fn at(root: PathBuf) -> Self {
        Self { root }
    }

    /// The kit of whoever runs this: where `LIGHTLOSS_KIT` says, else in the system's place for a
    /// person's data.
    ///
    /// # Errors
    /// Where the system names none.
    pub fn of_person() -> Result<Self, KitError> {
        if let Some(said) = std::env::var_os(VARIABLE).filter(|said| !said.is_empty()) {
            return Ok(Self::at(said.into()));
        }
        let place = choose_base_strategy().map_err(|_| KitError::NoPlace)?;
        Ok(Self::at(place.data_dir().join("lightloss").join("kit")))
    }

    /// Its folder.
    #[must_use]
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// The kit for whoever changes it, alone until the claim is dropped.
    fn claimed(&self) -> Result<Claim, KitError> {
        make_folder(&self.root)?;
        Ok(claim(&self.root)?)
    }
}

/// A filter of this name.
///
/// # Errors
/// Where there is none; what the kit holds instead is said.
pub fn filter<'a>(listing: &'a Listing, name: &str) -> Result<&'a KeptFilter, KitError> {
    listing.find(name).ok_or_else(|| KitError::NoFilter {
        name: name.to_owned(),
        known: listing.filters.iter().map(|filter| filter.name.clone()).collect(),
    })
}

/// The document under another name, every field that this version does not know kept.
///
/// # Errors
/// Where the name is empty, or says that there was no filter.
pub fn named(document: &Document, name: &str) -> Result<Document, KitError> {
    let name = one_line(name);
    if name.is_empty() {
        return Err(KitError::NoName);
    }
    if means_none(&name) {
        return Err(KitError::MeansNone { name });
    }
    let mut document = document.clone();
    if let Some(place) = document.value.pointer_mut("/filter/name") {
        *place = Value::String(name.clone());
    }
    document.profile.filter.name = name;
    Ok(document)
}

/// The document's text as `measure` writes it.
fn text(document: &Document) -> Result<Vec<u8>, KitError> {
    let mut text = serde_json::to_string_pretty(&document.value).map_err(JsonError::Unwritable)?;
    text.push('\n');
    Ok(text.into_bytes())
}

/// What is in a folder of the kit; `None` where it is not there.
fn entries(folder: &Path) -> Result<Option<ReadDir>, KitError> {
    match std::fs::read_dir(folder) {
        Ok(entries) => Ok(Some(entries)),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(source) => Err(KitError::Unread { path: folder.to_owned(), source }),
    }
}

/// What is being written, or hidden by somebody, begins with a dot.
fn is_hidden(entry: &DirEntry) -> bool {
    entry.file_name().as_encoded_bytes().starts_with(b".")
}

/// The first of a name, the name and 2, the name and 3 and so on that is free.
fn free_name(name: &str, free: impl Fn(&str) -> bool) -> String {
    let mut names = std::iter::once(name.to_owned()).chain((2..).map(|n| format!("{name}-{n}")));
    names.find(|name| free(name)).unwrap_or_else(|| name.to_owned())
}

/// Links that lead nowhere are taken, too.
fn taken(path: &Path) -> bool {
    path.symlink_metadata().is_ok()
}

fn make_folder(path: &Path) -> Result<(), KitError> {
    std::fs::create_dir_all(path)
        .map_err(|source| KitError::NoFolder { path: path.to_owned(), source })
}

fn known_names(known: &[String]) -> String {
    let quoted: Vec<String> = known.iter().map(|name| format!("{name:?}")).collect();
    match quoted.as_slice() {
        [] => "it is empty: fill it with lightloss kit add PROFILE".to_owned(),
        _ => format!("it holds {}", quoted.join(", ")),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;
