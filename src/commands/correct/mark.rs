//! Whether a file was corrected before.

use crate::editing::mark;
use crate::read::carried::{Carried, carried};
use crate::read::file_bytes;
use crate::tiff::tag;
use std::path::Path;

/// What an earlier correction took out of a file; `None` of an original, or a file that cannot be
/// read, which is said where it is read.
#[must_use]
pub fn found(path: &Path) -> Option<String> {
    of(&carried(&file_bytes(path).ok()?))
}

/// The same of what a file carries.
#[must_use]
pub fn of(carried: &Carried) -> Option<String> {
    let private = carried.root.iter().find(|e| e.tag == tag::DNG_PRIVATE_DATA);
    mark::found(carried.xmp.as_deref(), private.map(|e| e.bytes.as_slice()))
}

/// Why it is not corrected again.
#[must_use]
pub fn refused(what: &str) -> String {
    format!("it was corrected already ({what}); correct its original instead")
}
