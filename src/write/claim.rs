//! Folders that one run at a time writes into.

use super::{PREFIX, SUFFIX, WriteError};
use std::fs::{File, TryLockError};
use std::path::Path;
use std::time::Duration;

/// Unfinished files so old belong to no run that is still going on.
const ABANDONED: Duration = Duration::from_secs(3600);

/// A folder that no other run writes into as long as this lives; a run that dies lets go of it.
#[derive(Debug)]
pub struct Claim(#[expect(dead_code, reason = "held, never used")] Option<File>);

/// Claims a folder that exists, and clears away what killed runs left unfinished in it. Where the
/// system knows no such locks the folder counts as claimed.
///
/// # Errors
/// [`WriteError::Busy`] where another run has it.
pub fn claim(folder: &Path) -> Result<Claim, WriteError> {
    let folder = if folder == Path::new("") { Path::new(".") } else { folder };
    let Ok(handle) = File::open(folder) else { return Ok(Claim(None)) };
    if let Err(TryLockError::WouldBlock) = handle.try_lock() {
        return Err(WriteError::Busy { folder: folder.to_owned() });
    }
    clear(folder);
    Ok(Claim(Some(handle)))
}

/// Leftovers only waste room: what cannot be removed stays.
fn clear(folder: &Path) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        let old = || entry.metadata().ok()?.modified().ok()?.elapsed().ok();
        if name.starts_with(PREFIX) && name.ends_with(SUFFIX) && old() > Some(ABANDONED) {
            drop(std::fs::remove_file(entry.path()));
            drop(std::fs::remove_dir_all(entry.path()));
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[cfg(unix)]
    #[test]
    fn a_folder_is_claimed_by_one_run_and_cleared_of_old_leftovers() {
        let folder = tempfile::tempdir().unwrap();
        let leave = |name: &str, age: Duration| {
            let file = File::create(folder.path().join(name)).unwrap();
            file.set_modified(std::time::SystemTime::now() - age).unwrap();
        };
        leave(".lightloss-old.part", 2 * ABANDONED);
        leave(".lightloss-new.part", Duration::ZERO);
        leave("old.part", 2 * ABANDONED);
        let held = claim(folder.path()).unwrap();
        let left = std::fs::read_dir(folder.path()).unwrap();
        let mut left: Vec<_> = left.map(|e| e.unwrap().file_name()).collect();
        left.sort();
        assert_eq!(left, [".lightloss-new.part", "old.part"]);
        let refused = claim(folder.path()).unwrap_err();
        assert!(matches!(refused, WriteError::Busy { .. }), "{refused}");
        drop(held);
        assert!(claim(folder.path()).is_ok());
    }
}
