//! Checks before decoding: dimensions that a camera may have, and picture data that lies within
//! the file. Decoders hand back zeros or noise for data that is missing; nothing of that is
//! measured.

use super::error::ReadError;
use crate::tiff::{Directory, Tiff, tag};

/// Pixels that are read at most, and columns or rows.
pub(super) const MOST_MEGAPIXELS: u64 = 500;
const MOST_SIDE: u64 = 65_500;
/// Bytes of a file that are read into memory at most.
pub(super) const MOST_BYTES: u64 = 1 << 30;

/// TIFF compression numbers used below.
const UNCOMPRESSED: u64 = 1;
const JPEG: u64 = 7;
const LOSSY_JPEG: u64 = 34_892;

/// The picture of one directory, checked against the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Image {
    pub width: usize,
    pub height: usize,
    pub samples: usize,
    pub bits: usize,
    pub compression: u64,
    pub photometric: u64,
    pub tiled: bool,
    /// Columns and rows of a strip or tile.
    pub chunk: (usize, usize),
    pub offsets: Vec<u64>,
    pub counts: Vec<u64>,
}

/// Refuses dimensions that no camera has.
///
/// # Errors
/// `TooLarge` or, for nothing at all, `Damaged`.
pub(super) fn dimensions(width: u64, height: u64) -> Result<(usize, usize), ReadError> {
    if width == 0 || height == 0 {
        return Err(ReadError::damaged(format!("{width} x {height} pixels")));
    }
    let pixels = width.saturating_mul(height);
    if pixels > MOST_MEGAPIXELS * 1_000_000 || width > MOST_SIDE || height > MOST_SIDE {
        let limit_megapixels = MOST_MEGAPIXELS;
        return Err(ReadError::TooLarge { width, height, limit_megapixels });
    }
    Ok((width as usize, height as usize))
}

/// Refuses a range that reaches beyond the file.
///
/// # Errors
/// `Truncated`.
pub(super) fn inside(offset: u64, count: u64, found: u64) -> Result<(), ReadError> {
    let expected = offset.saturating_add(count);
    if expected > found { Err(ReadError::Truncated { expected, found }) } else { Ok(()) }
}

/// Every strip and tile of every directory must lie within the file.
///
/// # Errors
/// `Truncated` with the farthest byte that a directory asks for.
pub(super) fn extents(tiff: &Tiff<'_>, found: u64) -> Result<(), ReadError> {
    let mut expected = 0;
    for directory in tiff.images() {
        for (offsets, counts) in [
            (tag::STRIP_OFFSETS, tag::STRIP_BYTE_COUNTS),
            (tag::TILE_OFFSETS, tag::TILE_BYTE_COUNTS),
        ] {
            expected = expected.max(value_end(directory, offsets));
            expected = expected.max(value_end(directory, counts));
            let offsets = directory.uints(offsets).unwrap_or_default();
            let counts = directory.uints(counts).unwrap_or_default();
            // RW2 writes all ones here and keeps its own pointer.
            let real = offsets.iter().zip(&counts).filter(|(o, _)| **o != u64::from(u32::MAX));
            expected = real.map(|(o, c)| o + c).fold(expected, u64::max);
        }
    }
    inside(expected, 0, found)
}

fn value_end(directory: &Directory<'_>, tag: u16) -> u64 {
    directory.entry(tag).map_or(0, |e| e.at.end)
}

/// The picture of a directory: geometry that fits together, data that lies within the file and is
/// as long as the geometry asks for.
///
/// # Errors
/// `Damaged`, `TooLarge`, `Unsupported` or `Truncated`.
pub(super) fn image(directory: &Directory<'_>, file: &[u8]) -> Result<Image, ReadError> {
    let need = |tag: u16, name: &str| {
        directory.uint(tag).ok_or_else(|| ReadError::damaged(format!("{name} is missing")))
    };
    let (width, height) =
        dimensions(need(tag::IMAGE_WIDTH, "width")?, need(tag::IMAGE_LENGTH, "height")?)?;
    let bits = directory.uints(tag::BITS_PER_SAMPLE).unwrap_or_else(|| vec![1]);
    if bits.iter().any(|b| *b != bits[0]) || !(1..=32).contains(&bits[0]) {
        return Err(ReadError::damaged(format!("bits per sample {bits:?}")));
    }
    let samples = directory.usize(tag::SAMPLES_PER_PIXEL).unwrap_or(1);
    if !(1..=4).contains(&samples) {
        return Err(ReadError::damaged(format!("{samples} samples per pixel")));
    }
    if samples > 1 && directory.uint(tag::PLANAR).unwrap_or(1) != 1 {
        return Err(ReadError::unsupported("a picture in separate planes", "one plane is read"));
    }
    let tiled = directory.has(tag::TILE_OFFSETS);
    let image = Image {
        width,
        height,
        samples,
        bits: bits[0] as usize,
        compression: directory.uint(tag::COMPRESSION).unwrap_or(UNCOMPRESSED),
        photometric: directory.uint(tag::PHOTOMETRIC).unwrap_or(1),
        tiled,
        chunk: chunk_size(directory, tiled, width, height)?,
        offsets: list(directory, if tiled { tag::TILE_OFFSETS } else { tag::STRIP_OFFSETS })?,
        counts: list(
            directory,
            if tiled { tag::TILE_BYTE_COUNTS } else { tag::STRIP_BYTE_COUNTS },
        )?,
    };
    image.check(file)?;
    Ok(image)
}

fn list(directory: &Directory<'_>, tag: u16) -> Result<Vec<u64>, ReadError> {
    directory.uints(tag).ok_or_else(|| ReadError::damaged("the place of its pixels is missing"))
}

fn chunk_size(
    directory: &Directory<'_>,
    tiled: bool,
    width: usize,
    height: usize,
) -> Result<(usize, usize), ReadError> {
    let (columns, rows) = if tiled {
        (directory.usize(tag::TILE_WIDTH), directory.usize(tag::TILE_LENGTH))
    } else {
        (Some(width), Some(directory.usize(tag::ROWS_PER_STRIP).unwrap_or(height).min(height)))
    };
    let (columns, rows) = (columns.unwrap_or(0), rows.unwrap_or(0));
    // Tiles may be wider than the picture, but not without bound.
    dimensions(columns as u64, rows as u64)?;
    if columns.div_ceil(16) > width.div_ceil(16) * 16 || rows > height.div_ceil(16) * 256 {
        return Err(ReadError::damaged(format!("tiles of {columns} x {rows} pixels")));
    }
    Ok((columns, rows))
}

impl Image {
    /// Bytes of one row of a chunk: rows begin on whole bytes (TIFF 6.0, section 3).
    pub fn row_bytes(&self) -> usize {
        (self.chunk.0 * self.samples * self.bits).div_ceil(8)
    }
    /// Rows that chunk `index` really holds: the last strip may be shorter.
    pub fn chunk_rows(&self, index: usize) -> usize {
        if self.tiled {
            self.chunk.1
        } else {
            self.chunk.1.min(self.height.saturating_sub(index * self.chunk.1))
        }
    }
    fn check(&self, file: &[u8]) -> Result<(), ReadError> {
        let chunks = self.width.div_ceil(self.chunk.0) * self.height.div_ceil(self.chunk.1);
        if self.offsets.len() != chunks || self.counts.len() != chunks {
            return Err(ReadError::damaged(format!(
                "{chunks} strips or tiles of pixels expected, {} listed",
                self.offsets.len().min(self.counts.len())
            )));
        }
        let found = file.len() as u64;
        let end = self.offsets.iter().zip(&self.counts).map(|(o, c)| o.saturating_add(*c));
        inside(end.max().unwrap_or(0), 0, found)?;
        for (index, (&offset, &count)) in self.offsets.iter().zip(&self.counts).enumerate() {
            let data = &file[offset as usize..(offset + count) as usize];
            self.check_chunk(index, data)?;
        }
        Ok(())
    }
    fn check_chunk(&self, index: usize, data: &[u8]) -> Result<(), ReadError> {
        let rows = self.chunk_rows(index);
        match self.compression {
            UNCOMPRESSED => {
                let expected = (self.row_bytes() * rows) as u64;
                let found = data.len() as u64;
                if found < expected {
                    return Err(ReadError::damaged(format!(
                        "part {} of its pixels has {found} bytes of {expected}",
                        index + 1
                    )));
                }
            }
            JPEG | LOSSY_JPEG => {
                let coded = jpeg_samples(data).ok_or_else(|| {
                    ReadError::damaged(format!("part {} of its pixels is no JPEG", index + 1))
                })?;
                let expected = self.chunk.0 as u64 * self.samples as u64 * rows as u64;
                if coded < expected {
                    return Err(ReadError::damaged(format!(
                        "part {} of its pixels codes {coded} values of {expected}",
                        index + 1
                    )));
                }
                if self.compression == JPEG && lacks_data(data, coded) {
                    return Err(ReadError::damaged(format!(
                        "part {} of its pixels ends too early",
                        index + 1
                    )));
                }
                // A frame header far larger than the tile would be allocated by the decoder.
                if coded > MOST_MEGAPIXELS * 1_000_000 {
                    let limit_megapixels = MOST_MEGAPIXELS;
                    return Err(ReadError::TooLarge { width: coded, height: 1, limit_megapixels });
                }
            }
            _ if data.is_empty() => {
                return Err(ReadError::damaged(format!("part {} of its pixels", index + 1)));
            }
            _ => {}
        }
        Ok(())
    }
}

/// Values (columns x rows x components) that a JPEG stream's frame header announces
/// (ITU-T T.81, B.2.2); `None` where there is none.
pub(super) fn jpeg_samples(data: &[u8]) -> Option<u64> {
    if data.get(..2)? != [0xff, 0xd8] {
        return None;
    }
    let mut at = 2;
    loop {
        let (mark, kind) = (*data.get(at)?, *data.get(at + 1)?);
        if mark != 0xff {
            return None;
        }
        if kind == 0xff {
            at += 1;
            continue;
        }
        let length = u16::from_be_bytes([*data.get(at + 2)?, *data.get(at + 3)?]) as usize;
        let frame = matches!(kind, 0xc0..=0xcf) && ![0xc4, 0xc8, 0xcc].contains(&kind);
        if frame {
            let field = |i: usize| {
                Some(u64::from(u16::from_be_bytes([*data.get(at + i)?, *data.get(at + i + 1)?])))
            };
            return Some(field(5)? * field(7)? * u64::from(*data.get(at + 9)?));
        }
        if kind == 0xda || length < 2 {
            return None;
        }
        at += 2 + length;
    }
}

/// Whether a lossless JPEG stream cannot hold the values it announces: each takes a code of at least
/// one bit (ITU-T T.81, H.1.2.2), or a copy that stopped left zeros in place of its end. Decoders go
/// on with zeros.
fn lacks_data(data: &[u8], coded: u64) -> bool {
    const ZEROS: usize = 16;
    let lossless = data.windows(2).take(1024).any(|pair| pair == [0xff, 0xc3]);
    let zeros = data.len() > ZEROS && data[data.len() - ZEROS..].iter().all(|&b| b == 0);
    let no_end = || !data.windows(2).any(|pair| pair == [0xff, 0xd9]);
    (lossless && coded > 8 * data.len() as u64) || (zeros && no_end())
}

/// Whether a JPEG stream reaches its end mark (ITU-T T.81, B.1.1.3); what follows it is not looked
/// at. Decoders fill what is missing with grey.
pub(super) fn jpeg_complete(data: &[u8]) -> bool {
    let mut at = 2;
    let mut in_scan = false;
    while let Some(&[mark, kind]) = data.get(at..at + 2).and_then(|b| b.as_array::<2>()) {
        if mark != 0xff {
            if !in_scan {
                return false;
            }
            at += 1;
            continue;
        }
        match kind {
            0xd9 => return true,
            0xff => at += 1,
            // Stuffed bytes, restart marks and marks without a length.
            0x00 | 0x01 | 0xd0..=0xd8 => at += 2,
            _ => {
                in_scan = kind == 0xda;
                let Some(length) = data.get(at + 2..at + 4) else { return false };
                at += 2 + usize::from(u16::from_be_bytes([length[0], length[1]]));
            }
        }
    }
    false
}
