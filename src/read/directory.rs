//! TIFF image file directories (TIFF 6.0, section 2), read without trust in any number they hold.
//!
//! Serves the checks before decoding and the DNG tags; Exif goes to its own crate.

use super::error::ReadError;
use std::ops::Range;

/// Directories a file may hold; more is a loop or an attack.
const MOST_DIRECTORIES: usize = 64;
/// Entries a directory may hold.
const MOST_ENTRIES: usize = 4096;

pub(super) mod tag {
    //! Tag numbers: TIFF 6.0, Exif 2.32, DNG 1.7.1.
    pub const NEW_SUBFILE_TYPE: u16 = 254;
    pub const IMAGE_WIDTH: u16 = 256;
    pub const IMAGE_LENGTH: u16 = 257;
    pub const BITS_PER_SAMPLE: u16 = 258;
    pub const COMPRESSION: u16 = 259;
    pub const PHOTOMETRIC: u16 = 262;
    pub const MAKE: u16 = 271;
    pub const STRIP_OFFSETS: u16 = 273;
    pub const SAMPLES_PER_PIXEL: u16 = 277;
    pub const ROWS_PER_STRIP: u16 = 278;
    pub const STRIP_BYTE_COUNTS: u16 = 279;
    pub const PLANAR: u16 = 284;
    pub const SOFTWARE: u16 = 305;
    pub const PREDICTOR: u16 = 317;
    pub const TILE_WIDTH: u16 = 322;
    pub const TILE_LENGTH: u16 = 323;
    pub const TILE_OFFSETS: u16 = 324;
    pub const TILE_BYTE_COUNTS: u16 = 325;
    pub const SUB_IFDS: u16 = 330;
    pub const SAMPLE_FORMAT: u16 = 339;
    pub const XMP: u16 = 700;
    pub const CFA_REPEAT: u16 = 33421;
    pub const CFA_PATTERN: u16 = 33422;
    pub const EXIF_IFD: u16 = 34665;
    pub const GPS_IFD: u16 = 34853;
    pub const MAKER_NOTE: u16 = 37500;
    pub const DNG_VERSION: u16 = 50706;
    pub const CFA_PLANE_COLOR: u16 = 50710;
    pub const LINEARIZATION: u16 = 50712;
    pub const BLACK_REPEAT: u16 = 50713;
    pub const BLACK_LEVEL: u16 = 50714;
    pub const BLACK_DELTA_H: u16 = 50715;
    pub const BLACK_DELTA_V: u16 = 50716;
    pub const WHITE_LEVEL: u16 = 50717;
    pub const COLOR_MATRIX_1: u16 = 50721;
    pub const COLOR_MATRIX_2: u16 = 50722;
    pub const ANALOG_BALANCE: u16 = 50727;
    pub const AS_SHOT_NEUTRAL: u16 = 50728;
    pub const SERIAL: u16 = 50735;
    pub const ILLUMINANT_1: u16 = 50778;
    pub const ILLUMINANT_2: u16 = 50779;
    pub const ACTIVE_AREA: u16 = 50829;
    pub const MASKED_AREAS: u16 = 50830;
    pub const ROW_INTERLEAVE: u16 = 50975;
    pub const COLUMN_INTERLEAVE: u16 = 52547;
}

/// Byte order of a TIFF structure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Order {
    Little,
    Big,
}

impl Order {
    pub fn u16(self, bytes: &[u8], at: usize) -> Option<u16> {
        let b = bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if self == Self::Little { u16::from_le_bytes(b) } else { u16::from_be_bytes(b) })
    }
    pub fn u32(self, bytes: &[u8], at: usize) -> Option<u32> {
        let b = bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if self == Self::Little { u32::from_le_bytes(b) } else { u32::from_be_bytes(b) })
    }
    fn u64(self, bytes: &[u8], at: usize) -> Option<u64> {
        let (a, b) = (u64::from(self.u32(bytes, at)?), u64::from(self.u32(bytes, at + 4)?));
        Some(if self == Self::Little { b << 32 | a } else { a << 32 | b })
    }
}

/// One entry: where its values stand.
#[derive(Clone, Debug)]
pub(super) struct Entry {
    pub tag: u16,
    pub kind: u16,
    pub count: usize,
    /// Where the values lie in the file; may reach beyond its end.
    pub at: Range<u64>,
}

/// Bytes of one value of a TIFF type, 0 for unknown types.
pub(super) fn size_of(kind: u16) -> usize {
    match kind {
        1 | 2 | 6 | 7 => 1,
        3 | 8 => 2,
        4 | 9 | 11 | 13 => 4,
        5 | 10 | 12 => 8,
        _ => 0,
    }
}

/// How a directory was reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Role {
    /// In the main chain.
    Main,
    /// Through SubIFDs.
    Sub,
    /// The Exif directory.
    Exif,
}

/// One directory.
#[derive(Clone, Debug)]
pub(super) struct Directory<'a> {
    bytes: &'a [u8],
    pub order: Order,
    pub role: Role,
    pub entries: Vec<Entry>,
}

/// All directories of a file.
#[derive(Clone, Debug)]
pub(super) struct Tiff<'a> {
    /// The number after the byte order mark: 42, or a maker's own.
    pub magic: u16,
    pub order: Order,
    pub directories: Vec<Directory<'a>>,
}

impl<'a> Tiff<'a> {
    /// `None` where the bytes do not begin like a TIFF structure (42, or the numbers that ORF and
    /// RW2 use in its place).
    ///
    /// # Errors
    /// Where a directory lies beyond the end of the bytes.
    pub fn parse(bytes: &'a [u8]) -> Result<Option<Self>, ReadError> {
        let order = match bytes.get(..2) {
            Some(b"II") => Order::Little,
            Some(b"MM") => Order::Big,
            _ => return Ok(None),
        };
        let Some(magic) = order.u16(bytes, 2) else { return Ok(None) };
        if ![42, 0x55, 0x4f52, 0x5352].contains(&magic) {
            return Ok(None);
        }
        let Some(first) = order.u32(bytes, 4) else { return Ok(None) };
        let mut tiff = Self { magic, order, directories: Vec::new() };
        tiff.walk(bytes, u64::from(first))?;
        Ok(Some(tiff))
    }
    fn walk(&mut self, bytes: &'a [u8], first: u64) -> Result<(), ReadError> {
        let mut waiting = vec![(first, Role::Main)];
        let mut seen = Vec::new();
        while let Some((at, role)) = waiting.pop() {
            if at == 0 || seen.contains(&at) {
                continue;
            }
            if seen.len() >= MOST_DIRECTORIES {
                return Err(ReadError::damaged("its directories go on without end"));
            }
            seen.push(at);
            let (directory, next) = Directory::parse(bytes, self.order, at, role)?;
            // A stack: what is found first is read first, so push in reverse order.
            if role == Role::Main {
                waiting.push((next, Role::Main));
            }
            for &sub in directory.uints(tag::SUB_IFDS).unwrap_or_default().iter().rev() {
                waiting.push((sub, Role::Sub));
            }
            if let Some(exif) = directory.uint(tag::EXIF_IFD) {
                waiting.push((exif, Role::Exif));
            }
            self.directories.push(directory);
        }
        Ok(())
    }
    /// The first directory.
    pub fn root(&self) -> Option<&Directory<'a>> {
        self.directories.first()
    }
    /// Directories that hold pictures.
    pub fn images(&self) -> impl Iterator<Item = &Directory<'a>> {
        self.directories.iter().filter(|d| d.role != Role::Exif)
    }
    /// The first directory in which a tag occurs.
    pub fn having(&self, tag: u16) -> Option<&Directory<'a>> {
        self.directories.iter().find(|d| d.has(tag))
    }
}

impl<'a> Directory<'a> {
    pub fn parse(
        bytes: &'a [u8],
        order: Order,
        at: u64,
        role: Role,
    ) -> Result<(Self, u64), ReadError> {
        let found = bytes.len() as u64;
        let short = |expected: u64| ReadError::Truncated { expected, found };
        let start = usize::try_from(at).map_err(|_| short(at))?;
        let count = order.u16(bytes, start).ok_or_else(|| short(at.saturating_add(2)))? as usize;
        let end = at + 2 + 12 * count as u64;
        if count > MOST_ENTRIES {
            return Err(ReadError::damaged(format!("a directory with {count} entries")));
        }
        if end > found {
            return Err(short(end));
        }
        let entries = (0..count)
            .filter_map(|i| {
                let place = start + 2 + 12 * i;
                let (tag, kind) = (order.u16(bytes, place)?, order.u16(bytes, place + 2)?);
                let count = order.u32(bytes, place + 4)? as usize;
                let size = size_of(kind) as u64 * count as u64;
                let from = if size <= 4 {
                    (place + 8) as u64
                } else {
                    u64::from(order.u32(bytes, place + 8)?)
                };
                (size > 0).then_some(Entry { tag, kind, count, at: from..from + size })
            })
            .collect();
        // Some writers leave the pointer to the next directory out at the end of the file.
        let next = order.u32(bytes, start + 2 + 12 * count).map_or(0, u64::from);
        Ok((Self { bytes, order, role, entries }, next))
    }
    pub fn entry(&self, tag: u16) -> Option<&Entry> {
        self.entries.iter().find(|e| e.tag == tag)
    }
    pub fn has(&self, tag: u16) -> bool {
        self.entry(tag).is_some()
    }
    /// The bytes of an entry's values, `None` where they reach beyond the file.
    pub fn value(&self, entry: &Entry) -> Option<&'a [u8]> {
        self.bytes.get(usize::try_from(entry.at.start).ok()?..usize::try_from(entry.at.end).ok()?)
    }
    pub fn bytes(&self, tag: u16) -> Option<&'a [u8]> {
        self.value(self.entry(tag)?)
    }
    /// Whole numbers of any unsigned type.
    pub fn uints(&self, tag: u16) -> Option<Vec<u64>> {
        let entry = self.entry(tag)?;
        let (bytes, order) = (self.value(entry)?, self.order);
        let size = size_of(entry.kind);
        (0..entry.count)
            .map(|i| match entry.kind {
                1 | 7 => bytes.get(i).map(|&b| u64::from(b)),
                3 => order.u16(bytes, size * i).map(u64::from),
                4 | 13 => order.u32(bytes, size * i).map(u64::from),
                _ => None,
            })
            .collect()
    }
    pub fn uint(&self, tag: u16) -> Option<u64> {
        self.uints(tag)?.first().copied()
    }
    pub fn usize(&self, tag: u16) -> Option<usize> {
        self.uint(tag).and_then(|v| usize::try_from(v).ok())
    }
    /// Numbers of any type; fractions are divided, and must be finite.
    pub fn numbers(&self, tag: u16) -> Option<Vec<f64>> {
        let entry = self.entry(tag)?;
        let (bytes, order) = (self.value(entry)?, self.order);
        let at = |i: usize| i * size_of(entry.kind);
        let signed = |v: u32| f64::from(i32::from_ne_bytes(v.to_ne_bytes()));
        (0..entry.count)
            .map(|i| match entry.kind {
                1 | 3 | 4 | 7 | 13 => None,
                5 => Some(
                    f64::from(order.u32(bytes, at(i))?) / f64::from(order.u32(bytes, at(i) + 4)?),
                ),
                10 => Some(signed(order.u32(bytes, at(i))?) / signed(order.u32(bytes, at(i) + 4)?)),
                8 => Some(f64::from(i16::from_ne_bytes(order.u16(bytes, at(i))?.to_ne_bytes()))),
                9 => Some(signed(order.u32(bytes, at(i))?)),
                11 => Some(f64::from(f32::from_bits(order.u32(bytes, at(i))?))),
                12 => Some(f64::from_bits(order.u64(bytes, at(i))?)),
                _ => None,
            })
            .collect::<Option<Vec<f64>>>()
            .or_else(|| Some(self.uints(tag)?.into_iter().map(|v| v as f64).collect()))
            .filter(|v| v.iter().all(|x| x.is_finite()))
    }
    /// Text up to the first NUL, trimmed; `None` where nothing is left.
    pub fn text(&self, tag: u16) -> Option<String> {
        let bytes = self.bytes(tag)?;
        let text = String::from_utf8_lossy(bytes.split(|&b| b == 0).next()?).trim().to_owned();
        (!text.is_empty()).then_some(text)
    }
}
