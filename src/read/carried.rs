//! Entries that a corrected copy of a photograph carries over from the original: Exif, GPS, artist
//! and copyright, and the parts of a DNG that describe its colour and crop.

use super::containers::{boxes, raf_preview};
use crate::tiff::{Directory, Entry, Order, Role, Tiff, tag};

/// Entries longer than this are previews and makers' notes.
const LONGEST_VALUE: u64 = 1 << 16;
/// Exif of a JPEG stands in its first segments.
const SEARCHED: usize = 1 << 18;
/// Profiles and packets may be longer.
const LONGEST_PACKET: u64 = 16 << 20;
const PNG: &[u8] = b"\x89PNG\r\n\x1a\n";
/// Entries that may be long: opcodes, tables of camera profiles, captions, private data.
const LONG: [u16; 9] = [
    tag::OPCODE_LIST_1,
    tag::OPCODE_LIST_2,
    tag::OPCODE_LIST_3,
    tag::PROFILE_HUE_SAT_MAP_DATA_1,
    tag::PROFILE_HUE_SAT_MAP_DATA_2,
    tag::PROFILE_LOOK_TABLE_DATA,
    tag::PROFILE_TONE_CURVE,
    tag::IPTC,
    tag::DNG_PRIVATE_DATA,
];

/// One entry as it stood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CarriedEntry {
    /// Tag number.
    pub tag: u16,
    /// TIFF type.
    pub kind: u16,
    /// The values in little-endian order.
    pub bytes: Vec<u8>,
}

/// What is carried over.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Carried {
    /// The first directory.
    pub root: Vec<CarriedEntry>,
    /// The directory of the full-size picture of a DNG.
    pub raw: Vec<CarriedEntry>,
    /// Exif.
    pub exif: Vec<CarriedEntry>,
    /// GPS.
    pub gps: Vec<CarriedEntry>,
    /// XMP packet.
    pub xmp: Option<Vec<u8>>,
    /// Colour profile.
    pub icc: Option<Vec<u8>>,
}

/// Reads what a file carries; what cannot be read is left out.
#[must_use]
pub fn carried(file: &[u8]) -> Carried {
    if file.starts_with(b"FUJIFILM") {
        return raf_preview(file).map(from_jpeg).unwrap_or_default();
    }
    if file.starts_with(&[0xFF, 0xD8]) {
        return from_jpeg(file);
    }
    if file.starts_with(PNG) {
        return from_png(file);
    }
    match Tiff::parse(file) {
        Ok(Some(tiff)) => from_tiff(file, &tiff),
        _ if file.get(4..8) == Some(b"ftyp") => from_cr3(file).unwrap_or_default(),
        _ => Carried::default(),
    }
}

fn from_tiff(file: &[u8], tiff: &Tiff<'_>) -> Carried {
    let Some(root) = tiff.root() else { return Carried::default() };
    let full_size =
        tiff.images().filter(|d| d.role == Role::Sub && d.uint(tag::NEW_SUBFILE_TYPE) == Some(0));
    let raw = full_size.max_by_key(|d| d.uint(tag::IMAGE_WIDTH)).unwrap_or(root);
    let exif = tiff.directories.iter().find(|d| d.role == Role::Exif);
    let gps = root
        .uint(tag::GPS_IFD)
        .and_then(|at| Directory::parse(file, tiff.order, at, Role::Sub).ok());
    let packet = |tag: u16| {
        let entry = root.entry(tag).filter(|e| e.at.end - e.at.start <= LONGEST_PACKET)?;
        root.value(entry).map(<[u8]>::to_vec)
    };
    Carried {
        root: entries(root),
        raw: entries(raw),
        exif: exif.map(entries).unwrap_or_default(),
        gps: gps.map(|(directory, _)| entries(&directory)).unwrap_or_default(),
        xmp: packet(tag::XMP),
        icc: packet(tag::ICC_PROFILE),
    }
}

/// Segments of a JPEG file (ITU T.81, annex B): Exif and XMP in APP1, the colour profile in APP2
/// (ICC.1:2010, annex B.4).
fn from_png(file: &[u8]) -> Carried {
    let [exif, xmp, icc] = super::picture::png_metadata(file);
    let found = exif.and_then(|block| Some(from_tiff(&block, &Tiff::parse(&block).ok()??)));
    Carried { xmp, icc, raw: Vec::new(), ..found.unwrap_or_default() }
}

fn from_jpeg(file: &[u8]) -> Carried {
    let (mut found, mut xmp, mut icc) = (Carried::default(), None, Vec::new());
    let mut at = 2;
    while let (Some(0xFF), Some(&kind)) = (file.get(at), file.get(at + 1)) {
        let Some(length) = Order::Big.u16(file, at + 2).map(usize::from) else { break };
        let Some(segment) = file.get(at + 4..at + 2 + length) else { break };
        if let (0xE1, Some(block)) = (kind, segment.strip_prefix(b"Exif\0\0")) {
            if let Ok(Some(tiff)) = Tiff::parse(block) {
                found = from_tiff(block, &tiff);
            }
        } else if let (0xE1, Some(packet)) =
            (kind, segment.strip_prefix(b"http://ns.adobe.com/xap/1.0/\0"))
        {
            xmp = Some(packet.to_vec());
        } else if let (0xE2, Some(part)) = (kind, segment.strip_prefix(b"ICC_PROFILE\0")) {
            // Two bytes number the parts, which stand in order.
            icc.extend(part.iter().skip(2));
        }
        if kind == 0xDA || at > SEARCHED {
            break;
        }
        at += 2 + length;
    }
    Carried { xmp, icc: (!icc.is_empty()).then_some(icc), raw: Vec::new(), ..found }
}

/// CR3: boxes CMT1, CMT2 and CMT4 hold the first, the Exif and the GPS directory.
fn from_cr3(file: &[u8]) -> Option<Carried> {
    let moov = boxes(file).find(|(kind, _)| kind == b"moov")?.1;
    let inner = boxes(moov).find(|(kind, _)| kind == b"uuid").and_then(|(_, b)| b.get(16..))?;
    let part = |name: &[u8; 4]| {
        let content = boxes(inner).find(|(kind, _)| kind == name)?.1;
        Some(entries(Tiff::parse(content).ok()??.root()?))
    };
    Some(Carried {
        root: part(b"CMT1")?,
        exif: part(b"CMT2").unwrap_or_default(),
        gps: part(b"CMT4").unwrap_or_default(),
        ..Carried::default()
    })
}

fn entries(directory: &Directory<'_>) -> Vec<CarriedEntry> {
    let short = |e: &&Entry| {
        let limit = if LONG.contains(&e.tag) { LONGEST_PACKET } else { LONGEST_VALUE };
        e.at.end - e.at.start <= limit
    };
    let carried = |entry: &Entry| {
        let mut bytes = directory.value(entry)?.to_vec();
        let width = match entry.kind {
            3 | 8 => 2,
            4 | 5 | 9 | 10 | 11 | 13 => 4,
            12 => 8,
            _ => 1,
        };
        if directory.order == Order::Big {
            bytes.chunks_exact_mut(width).for_each(<[u8]>::reverse);
        }
        Some(CarriedEntry { tag: entry.tag, kind: entry.kind, bytes })
    };
    directory.entries.iter().filter(short).filter_map(carried).collect()
}
