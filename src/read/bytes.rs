//! The bytes of a file: what is none, read or mapped.

use super::{ReadError, preflight};
use crate::frame::counts::{Counts, Mapped};
use rawler::rawsource::RawSource;
use std::io::Read;
use std::ops::{Deref, Range};
use std::path::Path;
use std::sync::Arc;

/// The bytes of a file, shared with what stands in them.
pub(super) struct FileBytes {
    source: Arc<RawSource>,
    /// The same bytes where they are in memory of this process.
    read: Option<Arc<Vec<u8>>>,
}

impl FileBytes {
    /// What a decoder is given.
    pub(super) fn source(&self) -> &RawSource {
        &self.source
    }
    /// The same bytes for what is decoded when it is asked for.
    pub(super) fn shared(&self) -> Arc<dyn Mapped> {
        self.source.clone()
    }
    /// Counts that stand in the bytes; see [`Counts::within`].
    pub(super) fn counts(&self, range: Range<usize>) -> Option<Counts> {
        match &self.read {
            Some(bytes) => Counts::within(Arc::clone(bytes), range),
            None => Counts::within_mapped(self.source.clone(), range),
        }
    }
}

impl From<Arc<Vec<u8>>> for FileBytes {
    fn from(bytes: Arc<Vec<u8>>) -> Self {
        let source = Arc::new(RawSource::new_from_shared_vec(Arc::clone(&bytes)));
        Self { source, read: Some(bytes) }
    }
}

impl Deref for FileBytes {
    type Target = [u8];
    fn deref(&self) -> &[u8] {
        self.source.buf()
    }
}

/// Refuses what is not a regular file or has no bytes; links are followed.
pub(super) fn regular(path: &Path) -> Result<(), ReadError> {
    let about = std::fs::metadata(path)?;
    if about.is_dir() {
        return Err(ReadError::Folder);
    }
    if !about.is_file() {
        return Err(ReadError::NotRegular { kind: special_kind(about.file_type()).to_owned() });
    }
    if about.len() == 0 {
        return Err(ReadError::Empty);
    }
    if about.len() > preflight::MOST_BYTES {
        let found = format!("{} MB in one file", about.len() >> 20);
        return Err(ReadError::NotAPicture { found });
    }
    Ok(())
}

/// The bytes of a regular file, in memory that goes back to the system when they are dropped.
///
/// # Errors
/// Those of [`ReadError`] for what is no regular file, has no bytes or cannot be read.
pub fn file_bytes(path: &Path) -> Result<Vec<u8>, ReadError> {
    regular(path)?;
    let mut file = std::fs::File::open(path)?;
    let length = usize::try_from(file.metadata()?.len()).unwrap_or(0);
    let mut bytes = Vec::with_capacity(length.max(GIVEN_BACK));
    file.read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// The GNU C library keeps blocks below 32 MB for later (mallopt(3), M_MMAP_THRESHOLD), which for
/// the bytes of a raw file means half a frame a thread. Room that is not used costs nothing.
const GIVEN_BACK: usize = 33 << 20;

/// The bytes of a regular file as the system keeps them: to copy them costs as much as to hash
/// them. Reads them where the system does not map them.
///
/// A file that is cut short or fails under the map ends the process, so this is for workers only,
/// and the pool has such a file read again by [`read`], which can say what is wrong.
pub(super) fn mapped(path: &Path) -> Result<FileBytes, ReadError> {
    regular(path)?;
    match RawSource::new(path) {
        Ok(source) => Ok(FileBytes { source: Arc::new(source), read: None }),
        Err(_) => read(path),
    }
}

/// The bytes of a regular file, read whole.
pub(super) fn read(path: &Path) -> Result<FileBytes, ReadError> {
    Ok(Arc::new(file_bytes(path)?).into())
}

#[cfg(unix)]
pub(super) fn special_kind(kind: std::fs::FileType) -> &'static str {
    use std::os::unix::fs::FileTypeExt;
    if kind.is_fifo() {
        "pipe"
    } else if kind.is_socket() {
        "socket"
    } else {
        "device"
    }
}

#[cfg(not(unix))]
pub(super) fn special_kind(_: std::fs::FileType) -> &'static str {
    "device"
}
