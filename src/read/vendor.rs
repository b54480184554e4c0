//! Vendors' raw files: extents of their containers, their Exif, and which decoder may try.

use super::bytes::FileBytes;
use super::ciff::Heap;
use super::containers;
use super::error::ReadError;
use super::exif::{self, Meta};
use super::kind::Content;
use super::preflight::{dimensions, inside};
use super::rawloader::Outcome;
use super::{Picture, rawler, rawloader, sony, xmp};
use crate::tiff::{Directory, Order, Tiff, tag};

/// Compressions that only raw files use: Sony, Nikon, Pentax, Samsung, Kodak.
const RAW_COMPRESSIONS: [u64; 6] = [32_767, 34_713, 65_535, 32_770, 32_867, 65_000];
const CFA: u64 = 32_803;

/// Whether a TIFF structure that is no DNG holds a raw picture.
pub(super) fn is_raw(tiff: &Tiff<'_>, file: &[u8]) -> bool {
    tiff.magic != 42
        || file.get(8..10) == Some(b"CR")
        || tiff.images().any(|d| {
            d.uint(tag::PHOTOMETRIC) == Some(CFA)
                || d.has(tag::CFA_PATTERN)
                || d.uint(tag::COMPRESSION).is_some_and(|c| RAW_COMPRESSIONS.contains(&c))
        })
        || root_text(tiff, tag::SOFTWARE).as_deref() == Some("Camera Library")
}

fn root_text(tiff: &Tiff<'_>, tag: u16) -> Option<String> {
    tiff.root()?.text(tag)
}

/// Checks the container, then decodes: `rawloader` for the cameras of its table, else `rawler`.
///
/// # Errors
/// By whose fault it was not read.
pub(super) fn decode(
    file: &FileBytes,
    content: Content,
    tiff: Option<&Tiff<'_>>,
) -> Result<Picture, ReadError> {
    let (meta, keywords) = match (content, tiff) {
        (Content::Tiff, Some(tiff)) => {
            claimed_sizes(tiff)?;
            lossy_kodak(tiff)?;
            let packet = tiff.having(tag::XMP).and_then(|d| d.bytes(tag::XMP));
            let meta = containers::tiff_exif(tiff).map(exif::from_tiff).unwrap_or_default();
            (meta, xmp::keywords(packet.unwrap_or_default()))
        }
        (Content::Raf, _) => (raf(file)?, Vec::new()),
        (Content::Cr3, _) => (cr3(file)?, Vec::new()),
        (Content::Crw, _) => (Heap::parse(file)?.meta(), Vec::new()),
        (Content::Mrw, _) => (mrw(file)?, Vec::new()),
        (Content::X3f, _) => {
            return Err(ReadError::unsupported("X3F", "its sensor has no colour filter pattern"));
        }
        _ => (Meta::default(), Vec::new()),
    };
    // Without a maker's name the decoders would guess by the file's size.
    let nameless = meta.camera.make.is_none() && content == Content::Tiff;
    if nameless && tiff.and_then(|t| root_text(t, tag::SOFTWARE)).is_none() {
        return Err(ReadError::UnknownCamera { make: String::new(), model: String::new() });
    }
    let blocks = tiff.map(|tiff| sony::blocks(tiff, file.len())).transpose()?.flatten();
    let outcome = match content {
        // No CR3 in the older table: do not load it.
        Content::Cr3 => Outcome::NotMine,
        _ => match &blocks {
            Some(blocks) => rawloader::decode_around(blocks, file, meta.clone())?,
            None => rawloader::decode(file, meta.clone())?,
        },
    };
    let mut picture = match outcome {
        Outcome::Decoded(picture) => *picture,
        Outcome::NotMine => rawler::vendor(file, blocks.as_ref(), meta)?,
    };
    picture.subject.splice(0..0, keywords);
    Ok(picture)
}

/// The lossy compressions of Kodak's early cameras leave the result to the decoder's rounding:
/// channel sums of `rawler` 0.8 and LibRaw 0.22 differ by 0.2 to 0.4 counts a pixel, so they are
/// not measured.
fn lossy_kodak(tiff: &Tiff<'_>) -> Result<(), ReadError> {
    const LOSSY: [u64; 2] = [7, 32_867];
    let kodak = root_text(tiff, tag::MAKE).is_some_and(|m| m.to_lowercase().contains("kodak"));
    let lossy = |d: &Directory<'_>| {
        d.has(tag::CFA_PATTERN) && d.uint(tag::COMPRESSION).is_some_and(|c| LOSSY.contains(&c))
    };
    if kodak && tiff.images().any(lossy) {
        let reason = "its lossy compression has no exact result";
        return Err(ReadError::unsupported("the compressed KDC of early cameras", reason));
    }
    Ok(())
}

fn claimed_sizes(tiff: &Tiff<'_>) -> Result<(), ReadError> {
    for directory in tiff.images() {
        if let (Some(width), Some(height)) =
            (directory.uint(tag::IMAGE_WIDTH), directory.uint(tag::IMAGE_LENGTH))
        {
            dimensions(width.max(1), height.max(1))?;
        }
    }
    Ok(())
}

/// RAF: three parts (preview, header of the raw data, raw data), each placed by a big-endian pair.
pub(super) fn raf(file: &[u8]) -> Result<Meta, ReadError> {
    for at in [84, 92, 100] {
        let number = |place| Order::Big.u32(file, place).map(u64::from);
        let (Some(offset), Some(length)) = (number(at), number(at + 4)) else {
            return Err(ReadError::Truncated { expected: 108, found: file.len() as u64 });
        };
        inside(offset, length, file.len() as u64)?;
    }
    Ok(containers::raf_preview(file).map(exif::from_container).unwrap_or_default())
}

/// CR3: boxes one after the other up to the end.
pub(super) fn cr3(file: &[u8]) -> Result<Meta, ReadError> {
    let mut at = 0;
    while at < file.len() {
        let Some((_, _, size)) = containers::box_header(&file[at..]) else {
            return Err(ReadError::damaged("a box without a header; it may be cut short"));
        };
        inside(at as u64, size, file.len() as u64)?;
        at += size as usize;
    }
    Ok(containers::cr3_exif(file).map(exif::from_tiff).unwrap_or_default())
}

/// MRW: a header of blocks, its length at 4; the PRD block tells the sensor's size and bits. The
/// TTW block is a TIFF structure with Exif.
pub(super) fn mrw(file: &[u8]) -> Result<Meta, ReadError> {
    let found = file.len() as u64;
    let header = 8 + Order::Big.u32(file, 4).map_or(0, u64::from);
    inside(0, header, found)?;
    let (mut at, mut meta) = (8, Meta::default());
    while at + 8 <= header as usize {
        let length = Order::Big.u32(file, at + 4).unwrap_or(0) as usize;
        let Some(block) = file.get(at + 8..(at + 8).saturating_add(length)) else { break };
        match &file[at..at + 4] {
            b"\0PRD" => {
                let side = |place| Order::Big.u16(block, place).map_or(0, u64::from);
                let (height, width) = (side(8), side(10));
                dimensions(width, height)?;
                let bits = u64::from(block.get(16).copied().unwrap_or(12)).clamp(12, 16);
                inside(header, (width * height * bits).div_ceil(8), found)?;
            }
            b"\0TTW" => {
                let tiff = Tiff::parse(block)?;
                let block = tiff.as_ref().and_then(containers::tiff_exif);
                meta = block.map(exif::from_tiff).unwrap_or_default();
            }
            _ => {}
        }
        at += 8 + length;
    }
    Ok(meta)
}
