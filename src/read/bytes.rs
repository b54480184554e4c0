//! The bytes of a file: what is none, memory for them, their hash.

use super::{ReadError, preflight};
use sha2::{Digest, Sha256};
use std::io::{ErrorKind, Read};
use std::path::Path;

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
    Ok(hashed_bytes(Vec::new(), path)?.0)
}

/// The bytes and their SHA-256, in memory that held an earlier file where it suffices: memory that
/// the system has to clear first costs as much as the reading. Hashed while they are in the cache.
pub(super) fn hashed_bytes(mut room: Vec<u8>, path: &Path) -> Result<(Vec<u8>, String), ReadError> {
    const PART: usize = 1 << 18;
    regular(path)?;
    let mut file = std::fs::File::open(path)?;
    let length = usize::try_from(file.metadata()?.len()).unwrap_or(0);
    if room.capacity() < length {
        drop(room);
        room = vec![0; length.max(GIVEN_BACK)];
    }
    room.resize(length, 0);
    let (mut hash, mut at) = (Sha256::new(), 0);
    while at < length {
        match file.read(&mut room[at..length.min(at + PART)]) {
            Ok(0) => break,
            Ok(read) => {
                hash.update(&room[at..at + read]);
                at += read;
            }
            Err(e) if e.kind() == ErrorKind::Interrupted => {}
            Err(e) => return Err(e.into()),
        }
    }
    room.truncate(at);
    // The file may have grown meanwhile.
    file.read_to_end(&mut room)?;
    hash.update(&room[at..]);
    Ok((room, hexadecimal(&hash.finalize())))
}

/// The GNU C library keeps blocks below 32 MB for later (mallopt(3), M_MMAP_THRESHOLD), which for
/// the bytes of a raw file means half a frame a thread. Room that is not used costs nothing.
const GIVEN_BACK: usize = 33 << 20;

#[cfg(unix)]
fn special_kind(kind: std::fs::FileType) -> &'static str {
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
fn special_kind(_: std::fs::FileType) -> &'static str {
    "device"
}

/// As `sha256sum` writes it.
pub(super) fn hexadecimal(hash: &[u8]) -> String {
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}
