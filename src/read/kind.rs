//! What a file is, by its name and its first bytes, before anything is decoded.

use serde::{Deserialize, Serialize};
use std::io::Read;
use std::path::Path;

/// What a file is worth looking at for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A raw file of some camera.
    Raw,
    /// JPEG, PNG or TIFF.
    Picture,
    /// HEIF or AVIF: recognised, never decoded.
    Heif,
    /// Moving pictures.
    Film,
    /// A sound note.
    Sound,
    /// Settings or a thumbnail beside a frame.
    Sidecar,
    /// What operating systems and cameras leave behind.
    Junk,
    /// Anything else.
    Other,
}

impl Kind {
    /// Whether reading it as a frame is worth a try.
    #[must_use]
    pub fn is_readable_candidate(self) -> bool {
        matches!(self, Self::Raw | Self::Picture)
    }
}

const RAW: &[&str] = &[
    "3fr", "ari", "arw", "cr2", "cr3", "crw", "dcr", "dcs", "dng", "erf", "fff", "iiq", "kdc",
    "mef", "mos", "mrw", "nef", "nrw", "orf", "ori", "pef", "raf", "raw", "rw2", "rwl", "sr2",
    "srf", "srw", "x3f",
];
const PICTURE: &[&str] = &["jpg", "jpeg", "jpe", "png", "tif", "tiff"];
const HEIF: &[&str] = &["heic", "heif", "hif", "avif"];
const FILM: &[&str] = &["mov", "mp4", "m4v", "avi", "mts", "m2ts", "mkv", "mpg", "crm", "lrv"];
const SOUND: &[&str] = &["wav", "mp3", "m4a", "aac"];
const SIDECAR: &[&str] = &["xmp", "thm", "pp3", "aae", "dat", "ctg"];
const JUNK: &[&str] = &[".ds_store", "thumbs.db", "desktop.ini"];

/// What the file at a path is: by its extension, or where that says nothing by its first bytes.
/// A file that cannot be opened counts as what its name says.
#[must_use]
pub fn kind_of(path: &Path) -> Kind {
    let name = path.file_name().unwrap_or_default().to_string_lossy().to_ascii_lowercase();
    // Copies made by macOS hold resource forks under the names of pictures.
    if JUNK.contains(&name.as_str()) || name.starts_with("._") {
        return Kind::Junk;
    }
    let extension = path.extension().unwrap_or_default().to_string_lossy().to_ascii_lowercase();
    let listed = |list: &[&str]| list.contains(&extension.as_str());
    if listed(RAW) {
        Kind::Raw
    } else if listed(PICTURE) {
        Kind::Picture
    } else if listed(HEIF) {
        Kind::Heif
    } else if listed(FILM) {
        Kind::Film
    } else if listed(SOUND) {
        Kind::Sound
    } else if listed(SIDECAR) {
        Kind::Sidecar
    } else {
        by_content(path)
    }
}

fn by_content(path: &Path) -> Kind {
    // Only regular files: opening a pipe would wait for its other end.
    if !std::fs::metadata(path).is_ok_and(|about| about.is_file()) {
        return Kind::Other;
    }
    let mut head = Vec::new();
    let opened = std::fs::File::open(path);
    if opened.and_then(|file| file.take(64).read_to_end(&mut head)).is_err() {
        return Kind::Other;
    }
    match content(&head) {
        Content::Raf | Content::Crw | Content::Cr3 | Content::Mrw | Content::X3f | Content::Ari => {
            Kind::Raw
        }
        Content::Tiff | Content::Jpeg | Content::Png => Kind::Picture,
        Content::Heif => Kind::Heif,
        Content::Film => Kind::Film,
        Content::Other(_) => Kind::Other,
    }
}

/// The container that the first bytes announce.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Content {
    Tiff,
    Raf,
    Crw,
    Cr3,
    Mrw,
    X3f,
    Ari,
    Jpeg,
    Png,
    Heif,
    Film,
    /// What it looks like instead.
    Other(&'static str),
}

pub(super) fn content(bytes: &[u8]) -> Content {
    let at = |place: usize, mark: &[u8]| bytes.get(place..place + mark.len()) == Some(mark);
    if at(0, b"FUJIFILMCCD-RAW") {
        Content::Raf
    } else if at(6, b"HEAPCCDR") {
        Content::Crw
    } else if at(0, b"\0MRM") || at(0, b"\0MRI") {
        Content::Mrw
    } else if at(0, b"FOVb") {
        Content::X3f
    } else if at(0, b"ARRI") {
        Content::Ari
    } else if at(0, b"\xff\xd8\xff") {
        Content::Jpeg
    } else if at(0, b"\x89PNG\r\n\x1a\n") {
        Content::Png
    } else if at(4, b"ftyp") {
        brand(bytes)
    } else if at(0, b"II") || at(0, b"MM") {
        Content::Tiff
    } else {
        Content::Other(foreign(bytes))
    }
}

/// ISO base media files tell by their major brand.
fn brand(bytes: &[u8]) -> Content {
    match bytes.get(8..12) {
        Some(b"crx ") => Content::Cr3,
        Some(b"heic" | b"heix" | b"hevc" | b"hevx" | b"mif1" | b"msf1" | b"avif" | b"avis") => {
            Content::Heif
        }
        _ => Content::Film,
    }
}

fn foreign(bytes: &[u8]) -> &'static str {
    const KNOWN: &[(&[u8], &str)] = &[
        (b"%PDF", "a PDF document"),
        (b"PK\x03\x04", "an archive"),
        (b"GIF8", "a GIF picture"),
        (b"RIFF", "a RIFF file"),
        (b"8BPS", "a layered picture"),
        (b"<?x", "an XML text"),
        (b"<x:", "an XML text"),
        (b"{", "a JSON text"),
        (b"\xffO\xffQ", "a JPEG 2000 picture"),
    ];
    if let Some((_, what)) = KNOWN.iter().find(|(mark, _)| bytes.starts_with(mark)) {
        return what;
    }
    let head = &bytes[..bytes.len().min(512)];
    if head.iter().all(|&b| b == 0) {
        "nothing but zeros"
    } else if std::str::from_utf8(head).is_ok_and(|t| !t.contains('\0')) {
        "a text"
    } else {
        "unknown content"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_tell_what_a_card_holds() {
        let kind = |name: &str| kind_of(Path::new(name));
        assert_eq!(kind("IMG_0001.CR3"), Kind::Raw);
        assert_eq!(kind("-rf.dng"), Kind::Raw);
        assert_eq!(kind("IMG_0001.JPG"), Kind::Picture);
        assert_eq!(kind("IMG_0001.HEIC"), Kind::Heif);
        assert_eq!(kind("MVI_0001.MP4"), Kind::Film);
        assert_eq!(kind("IMG_0001.xmp"), Kind::Sidecar);
        assert_eq!(kind("._IMG_0001.CR2"), Kind::Junk);
        assert_eq!(kind(".DS_Store"), Kind::Junk);
        assert_eq!(kind("there-is-no-such-file"), Kind::Other);
        assert!(!Kind::Heif.is_readable_candidate());
    }

    #[test]
    fn first_bytes_tell_containers_apart() {
        assert_eq!(content(b"\0\0\0\x18ftypcrx "), Content::Cr3);
        assert_eq!(content(b"\0\0\0\x18ftypheic"), Content::Heif);
        assert_eq!(content(b"\0\0\0\x18ftypqt  "), Content::Film);
        assert_eq!(content(b"II\x1a\0\0\0HEAPCCDR"), Content::Crw);
        assert_eq!(content(b"%PDF-1.7"), Content::Other("a PDF document"));
        assert_eq!(content(b"hello, world"), Content::Other("a text"));
        assert_eq!(content(&[0; 40]), Content::Other("nothing but zeros"));
    }
}
