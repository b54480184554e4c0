//! Files appear whole or not at all, and nothing that exists is overwritten unless asked.

pub mod claim;
pub mod ljpeg;
pub mod exif;
pub mod dng;
pub mod picture;
pub mod png;

use crate::system::plain;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::thread;
use tempfile::NamedTempFile;

/// Why a file was not written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// It is there already.
    #[error("{} exists already; use --replace to write it again", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// A folder is in its place.
    #[error("{} is a folder; give the name of a file", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
    },
    /// The folder is missing.
    #[error(
        "{} cannot be written: the folder {} does not exist; make it first, or choose another",
        path.display(),
        folder.display()
    )]
    NoFolder {
        /// The file.
        path: PathBuf,
        /// Its folder.
        folder: PathBuf,
    },
    /// The folder or its disk may not be written to.
    #[error("{} cannot be written: {reason}; choose another folder", path.display())]
    Refused {
        /// The file.
        path: PathBuf,
        /// In plain words.
        reason: &'static str,
    },
    /// No room is left.
    #[error("{} cannot be written: the disk is full; nothing was left half written", path.display())]
    Full {
        /// The file.
        path: PathBuf,
    },
    /// Another run writes into the same folder.
    #[error(
        "another run is writing into {}; wait for it, or choose another folder",
        folder.display()
    )]
    Busy {
        /// The folder.
        folder: PathBuf,
    },
    /// Anything else.
    #[error("{} cannot be written: {}", path.display(), plain(source))]
    Other {
        /// The file.
        path: PathBuf,
        /// The system's words.
        source: std::io::Error,
    },
}

impl WriteError {
    /// The same of another file: the one that a person knows.
    fn at(self, known: &Path) -> Self {
        let path = known.to_owned();
        match self {
            Self::Exists { .. } => Self::Exists { path },
            Self::Folder { .. } => Self::Folder { path },
            Self::NoFolder { folder, .. } => Self::NoFolder { path, folder },
            Self::Refused { reason, .. } => Self::Refused { path, reason },
            Self::Full { .. } => Self::Full { path },
            Self::Busy { folder } => Self::Busy { folder },
            Self::Other { source, .. } => Self::Other { path, source },
        }
    }
    fn new(path: &Path, source: std::io::Error) -> Self {
        let path = path.to_owned();
        match source.kind() {
            ErrorKind::AlreadyExists => Self::Exists { path },
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded => Self::Full { path },
            ErrorKind::FileTooLarge => {
                Self::Refused { path, reason: "the disk takes no file of this size" }
            }
            ErrorKind::PermissionDenied => Self::Refused { path, reason: "permission denied" },
            ErrorKind::ReadOnlyFilesystem => {
                Self::Refused { path, reason: "the disk is read-only" }
            }
            _ => Self::Other { path, source },
        }
    }
}

/// Writes a file that must not exist yet.
///
/// # Errors
/// Where it exists, or the system refuses; the reason is named and no partial file remains.
pub fn write_new(path: &Path, bytes: &[u8]) -> Result<(), WriteError> {
    let temporary = fill(path, bytes)?;
    temporary.persist_noclobber(path).map_err(|e| WriteError::new(path, e.error))?;
    keep_name(path);
    Ok(())
}

/// Writes a file whether or not it exists; a reader sees the old or the new one, never a mixture.
///
/// # Errors
/// Where the system refuses; the reason is named and the old file stays as it was.
pub fn write_replacing(path: &Path, bytes: &[u8]) -> Result<(), WriteError> {
    let temporary = fill(path, bytes)?;
    temporary.persist(path).map_err(|e| WriteError::new(path, e.error))?;
    keep_name(path);
    Ok(())
}

/// Whether a file may be written at this place; nothing is left of the try.
///
/// # Errors
/// As [`write_new`], but for what is there.
pub fn try_place(path: &Path) -> Result<(), WriteError> {
    fill(path, b"").map(drop)
}

/// [`write_replacing`] or [`write_new`].
///
/// # Errors
/// As they.
pub fn write(path: &Path, bytes: &[u8], replace: bool) -> Result<(), WriteError> {
    if replace { write_replacing(path, bytes) } else { write_new(path, bytes) }
}

/// Writes files in their order. The last one gets its name when those of all others outlive a loss of
/// power: whoever finds it finds them too.
///
/// # Errors
/// As [`write_new`] or [`write_replacing`]; no file has its name yet where the content of one cannot be
/// written.
pub fn write_all<C: AsRef<[u8]>>(files: &[(PathBuf, C)], replace: bool) -> Result<(), WriteError> {
    let Some(last) = files.len().checked_sub(1) else { return Ok(()) };
    let filled: Result<Vec<_>, _> =
        files.iter().map(|(path, content)| filled(path, content.as_ref())).collect();
    let filled = filled?;
    let paths = files.iter().map(|(path, _)| path.as_path());
    flush_together(&filled.iter().map(NamedTempFile::as_file).zip(paths).collect::<Vec<_>>())?;
    for (i, (file, (path, _))) in filled.into_iter().zip(files).enumerate() {
        if i == last {
            keep_names(&files[..last]);
        }
        let named = if replace { file.persist(path) } else { file.persist_noclobber(path) };
        named.map_err(|e| WriteError::new(path, e.error))?;
    }
    keep_names(&files[last..]);
    Ok(())
}

/// Files that are flushed at a time.
const AT_ONCE: usize = 32;

/// Flushes files side by side: a journal takes all that wait for it in one turn, which costs about as
/// much as a single file.
fn flush_together(files: &[(&File, &Path)]) -> Result<(), WriteError> {
    let flush = |(file, path): &(&File, &Path)| {
        file.sync_all().map_err(|source| WriteError::new(path, source))
    };
    for files in files.chunks(AT_ONCE) {
        thread::scope(|scope| {
            let begin = |file| thread::Builder::new().spawn_scoped(scope, move || flush(file));
            let begun: Vec<_> = files.iter().map(begin).collect();
            begun.into_iter().zip(files).try_for_each(|(begun, file)| {
                // Without a thread, or where it panicked, nothing is flushed for sure.
                let flushed = begun.ok().and_then(|thread| thread.join().ok());
                flushed.unwrap_or_else(|| flush(file))
            })
        })?;
    }
    Ok(())
}

/// Writes a folder of new files that appears whole or not at all; `name` must not exist in `parent`
/// yet, which the caller holds claimed.
///
/// # Errors
/// Where the name is taken, or the system refuses; nothing of it remains then.
pub fn write_folder(
    parent: &Path,
    name: &str,
    files: &[(PathBuf, Vec<u8>)],
) -> Result<PathBuf, WriteError> {
    let target = parent.join(name);
    let failed = |e| WriteError::new(&target, e);
    if target.symlink_metadata().is_ok() {
        return Err(WriteError::Exists { path: target });
    }
    let unfinished = tempfile::Builder::new()
        .prefix(PREFIX)
        .suffix(SUFFIX)
        .tempdir_in(parent)
        .map_err(failed)?;
    for (file, bytes) in files {
        write_new(&unfinished.path().join(file), bytes)
            .map_err(|error| error.at(&target.join(file)))?;
    }
    open_to_others(unfinished.path()).map_err(failed)?;
    std::fs::rename(unfinished.path(), &target).map_err(failed)?;
    keep_name(&target);
    Ok(target)
}

/// Gives a folder another place on the same disk, which must be free; whoever calls holds both
/// places claimed.
///
/// # Errors
/// Where the place is taken, or the system refuses; everything stays as it was then.
pub fn move_folder(from: &Path, to: &Path) -> Result<(), WriteError> {
    if to.symlink_metadata().is_ok() {
        return Err(WriteError::Exists { path: to.to_owned() });
    }
    std::fs::rename(from, to).map_err(|e| WriteError::new(to, e))?;
    keep_name(to);
    keep_name(from);
    Ok(())
}

/// Names of files that are not finished.
const PREFIX: &str = ".lightloss-";
const SUFFIX: &str = ".part";

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if parent != Path::new("") => parent,
        _ => Path::new("."),
    }
}

/// Flushes the folder, so that the new name outlives a loss of power; the file itself is flushed
/// already, and systems that cannot flush folders keep their names otherwise.
fn keep_name(path: &Path) {
    if let Ok(folder) = File::open(folder_of(path)) {
        drop(folder.sync_all());
    }
}

/// [`keep_name`] of many files, once a folder.
fn keep_names<C>(files: &[(PathBuf, C)]) {
    let paths: BTreeMap<&Path, &Path> =
        files.iter().map(|(path, _)| (folder_of(path), path.as_path())).collect();
    paths.into_values().for_each(keep_name);
}

/// A filled temporary file in the same folder, so that the last step is a rename; flushed.
fn fill(path: &Path, bytes: &[u8]) -> Result<NamedTempFile, WriteError> {
    let file = filled(path, bytes)?;
    file.as_file().sync_all().map_err(|e| WriteError::new(path, e))?;
    Ok(file)
}

/// The same before it is flushed.
fn filled(path: &Path, bytes: &[u8]) -> Result<NamedTempFile, WriteError> {
    let folder = folder_of(path);
    if !folder.is_dir() {
        return Err(WriteError::NoFolder { path: path.to_owned(), folder: folder.to_owned() });
    }
    let failed = |e| WriteError::new(path, e);
    let mut file = tempfile::Builder::new()
        .prefix(PREFIX)
        .suffix(SUFFIX)
        .tempfile_in(folder)
        .map_err(failed)?;
    file.write_all(bytes).map_err(failed)?;
    file.flush().map_err(failed)?;
    give_usual_permissions(&file).map_err(failed)?;
    Ok(file)
}

/// Temporary files are private to the user; a report should be readable as other new files are.
#[cfg(unix)]
fn give_usual_permissions(file: &NamedTempFile) -> std::io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.as_file().set_permissions(std::fs::Permissions::from_mode(0o644))
}

/// Temporary folders are private to the user, too.
#[cfg(unix)]
fn open_to_others(folder: &Path) -> std::io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    std::fs::set_permissions(folder, std::fs::Permissions::from_mode(0o755))
}

#[cfg(not(unix))]
fn open_to_others(_: &Path) -> std::io::Result<()> {
    Ok(())
}

#[cfg(not(unix))]
fn give_usual_permissions(_: &NamedTempFile) -> std::io::Result<()> {
    Ok(())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let entries = std::fs::read_dir(folder).unwrap();
        entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect()
    }

    #[test]
    fn what_exists_is_kept_unless_replacing_is_asked_for() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("profile.json");
        write(&path, b"first", false).unwrap();
        let refused = write(&path, b"second", false).unwrap_err();
        assert!(matches!(refused, WriteError::Exists { .. }));
        assert!(refused.to_string().contains("profile.json"), "{refused}");
        assert!(refused.to_string().contains("--replace"), "{refused}");
        assert_eq!(std::fs::read(&path).unwrap(), b"first");
        write(&path, b"third", true).unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"third");
        assert_eq!(names(folder.path()), ["profile.json"], "temporary files are left");
    }

    #[test]
    fn a_missing_folder_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("gone").join("a.json");
        let refused = write_new(&path, b"x").unwrap_err();
        assert!(matches!(refused, WriteError::NoFolder { .. }), "{refused}");
    }

    #[test]
    fn files_are_written_together_or_none_has_its_name() {
        let folder = tempfile::tempdir().unwrap();
        let file = |name: &str| (folder.path().join(name), name.to_owned());
        std::fs::create_dir(folder.path().join("plots")).unwrap();
        write_all(&[file("plots/a.svg"), file("b")], false).unwrap();
        assert_eq!(std::fs::read(folder.path().join("plots/a.svg")).unwrap(), b"plots/a.svg");
        assert!(matches!(write_all(&[file("b")], false), Err(WriteError::Exists { .. })));
        write_all(&[file("c"), file("b")], true).unwrap();
        let refused = write_all(&[file("d"), file("gone/e")], true).unwrap_err();
        assert!(matches!(refused, WriteError::NoFolder { .. }), "{refused}");
        write_all::<String>(&[], false).unwrap();
        let mut left = names(folder.path());
        left.sort();
        assert_eq!(left, ["b", "c", "plots"]);
    }

    /// A directory in the file's place cannot be replaced by a file: an error, nothing left over.
    #[test]
    fn what_cannot_be_replaced_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("plots");
        std::fs::create_dir(&path).unwrap();
        std::fs::write(path.join("kept.svg"), b"kept").unwrap();
        assert!(write_replacing(&path, b"x").is_err());
        assert_eq!(names(folder.path()), ["plots"]);
        assert_eq!(names(&path), ["kept.svg"]);
    }

    /// Linux keeps a device that is always full.
    #[cfg(target_os = "linux")]
    #[test]
    fn a_full_disk_says_so() {
        let full = std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
        let error = (&full).write_all(b"x").unwrap_err();
        let told = WriteError::new(Path::new("somewhere/a.dng"), error);
        assert!(matches!(told, WriteError::Full { .. }), "{told}");
        assert!(told.to_string().contains("disk is full"), "{told}");
    }

    #[test]
    fn a_folder_appears_whole_and_only_where_nothing_is() {
        let home = tempfile::tempdir().unwrap();
        let file = |name: &str| (PathBuf::from(name), b"x".to_vec());
        let made = write_folder(home.path(), "day", &[file("a"), file("b")]).unwrap();
        assert_eq!(made, home.path().join("day"));
        let refused = write_folder(home.path(), "day", &[file("c")]).unwrap_err();
        assert!(matches!(refused, WriteError::Exists { .. }), "{refused}");
        // The second file cannot be written: neither can the folder.
        let refused = write_folder(home.path(), "later", &[file("a"), file("no/b")]).unwrap_err();
        assert!(refused.to_string().contains("later"), "{refused}");
        assert_eq!(names(home.path()), ["day"]);
        let refused = move_folder(&made, &made).unwrap_err();
        assert!(matches!(refused, WriteError::Exists { .. }), "{refused}");
        move_folder(&made, &home.path().join("night")).unwrap();
        assert_eq!(names(home.path()), ["night"]);
    }

    #[cfg(unix)]
    #[test]
    fn others_may_read_what_is_written() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("report.html");
        write_new(&path, b"x").unwrap();
        assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o644);
    }
}
