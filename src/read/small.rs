//! Documents, tables and sidecars, which are small: read whole, but never a pipe, a device or more
//! than such a file can hold.

use super::bytes::special_kind;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// Most bytes of a profile: maps of hundreds of settings and the records of thousands of frames.
pub const PROFILE_BYTES: u64 = 64 << 20;
/// Most bytes of a table or a `shoot.json`.
pub const TABLE_BYTES: u64 = 16 << 20;
/// Most bytes of a sidecar.
pub const SIDECAR_BYTES: u64 = 4 << 20;
/// Bytes that are hashed at a time.
const CHUNK: usize = 1 << 20;

/// A regular file; links are followed.
fn opened(path: &Path) -> io::Result<File> {
    // Before it is opened: opening a pipe waits for its other end.
    let about = std::fs::metadata(path)?;
    if about.is_dir() {
        return Err(io::ErrorKind::IsADirectory.into());
    }
    if !about.is_file() {
        let kind = special_kind(about.file_type());
        return Err(io::Error::other(format!("it is a {kind}, not a regular file")));
    }
    File::open(path)
}

/// The bytes of a regular file of at most so many.
///
/// # Errors
/// What the system says; what the file is instead; its size where it is too large.
pub fn bytes(path: &Path, most: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    opened(path)?.take(most + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > most {
        let megabytes = most >> 20;
        return Err(io::Error::other(format!(
            "it is larger than the {megabytes} MB that such a file may have"
        )));
    }
    Ok(bytes)
}

/// The same as text; a byte order mark before it, which some editors write, is none of it (RFC 8259,
/// section 8.1, lets readers of JSON pass over it).
///
/// # Errors
/// As [`bytes`], and where it is no UTF-8.
pub fn text(path: &Path, most: u64) -> io::Result<String> {
    const MARK: char = '\u{feff}';
    let text = String::from_utf8(bytes(path, most)?).map_err(|_| io::ErrorKind::InvalidData)?;
    Ok(text.strip_prefix(MARK).map(str::to_owned).unwrap_or(text))
}

/// SHA-256 of a regular file of any size, as `sha256sum` writes it.
///
/// # Errors
/// As [`bytes`], whatever the size.
pub fn sha256(path: &Path) -> io::Result<String> {
    use sha2::{Digest, Sha256};
    let mut file = opened(path)?;
    let (mut hash, mut chunk) = (Sha256::new(), vec![0; CHUNK]);
    loop {
        match file.read(&mut chunk)? {
            0 => break,
            read => hash.update(&chunk[..read]),
        }
    }
    Ok(hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_read_up_to_its_limit_and_hashed_beyond() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a");
        std::fs::write(&path, b"abc").unwrap();
        assert_eq!(text(&path, 3).unwrap(), "abc");
        std::fs::write(&path, b"\xef\xbb\xbfabc").unwrap();
        assert_eq!(text(&path, 6).unwrap(), "abc");
        std::fs::write(&path, b"abc").unwrap();
        assert!(text(&path, 2).unwrap_err().to_string().contains("larger"));
        // FIPS 180-4, the standard's own example.
        let published = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(sha256(&path).unwrap(), published);
        std::fs::write(&path, b"\xff").unwrap();
        assert_eq!(text(&path, 3).unwrap_err().kind(), io::ErrorKind::InvalidData);
        assert!(bytes(folder.path(), 3).is_err());
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn what_never_ends_is_not_begun() {
        let refused = bytes(Path::new("/dev/zero"), 3).unwrap_err();
        assert!(refused.to_string().contains("device"), "{refused}");
    }
}
