//! TIFF image file directories (TIFF 6.0, section 2), read without trust in any number they hold.
//!
//! Serves the checks before decoding and the DNG tags; Exif goes to its own crate.

use super::{Order, tag};
use std::ops::Range;

/// Directories a file may hold; more is a loop or an attack.
const MOST_DIRECTORIES: usize = 64;
/// Entries a directory may hold.
const MOST_ENTRIES: usize = 4096;

/// A structure that cannot be walked.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TiffError {
    /// The bytes end too early.
    #[error("it ends after {found} of {expected} bytes")]
    Truncated {
        /// Bytes that should be there.
        expected: u64,
        /// Bytes that are.
        found: u64,
    },
    /// Numbers that cannot be.
    #[error("it is damaged: {0}")]
    Damaged(String),
}

/// One entry: where its values stand.
#[derive(Clone, Debug)]
pub struct Entry {
    /// Tag number.
    pub tag: u16,
    /// TIFF type.
    pub kind: u16,
    /// How many values.
    pub count: usize,
    /// Where the values lie in the file; may reach beyond its end.
    pub at: Range<u64>,
}

/// Bytes of one value of a TIFF type, 0 for unknown types.
#[must_use]
pub fn size_of(kind: u16) -> usize {
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
pub enum Role {
    /// In the main chain.
    Main,
    /// Through SubIFDs.
    Sub,
    /// The Exif directory.
    Exif,
}

/// One directory.
#[derive(Clone, Debug)]
pub struct Directory<'a> {
    bytes: &'a [u8],
    /// Byte order.
    pub order: Order,
    /// How it was reached.
    pub role: Role,
    /// Its entries.
    pub entries: Vec<Entry>,
}

/// All directories of a file.
#[derive(Clone, Debug)]
pub struct Tiff<'a> {
    /// The number after the byte order mark: 42, or a maker's own.
    pub magic: u16,
    /// Byte order.
    pub order: Order,
    /// Directories in the order in which they are found.
    pub directories: Vec<Directory<'a>>,
}

impl<'a> Tiff<'a> {
    /// `None` where the bytes do not begin like a TIFF structure (42, or the numbers that ORF and
    /// RW2 use in its place).
    ///
    /// # Errors
    /// Where a directory lies beyond the end of the bytes.
    pub fn parse(bytes: &'a [u8]) -> Result<Option<Self>, TiffError> {
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
    fn walk(&mut self, bytes: &'a [u8], first: u64) -> Result<(), TiffError> {
        let mut waiting = vec![(first, Role::Main)];
        let mut seen = Vec::new();
        while let Some((at, role)) = waiting.pop() {
            if at == 0 || seen.contains(&at) {
                continue;
            }
            if seen.len() >= MOST_DIRECTORIES {
                return Err(TiffError::Damaged("its directories go on without end".to_owned()));
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
    #[must_use]
    pub fn root(&self) -> Option<&Directory<'a>> {
        self.directories.first()
    }
    /// Directories that hold pictures.
    pub fn images(&self) -> impl Iterator<Item = &Directory<'a>> {
        self.directories.iter().filter(|d| d.role != Role::Exif)
    }
    /// The first directory in which a tag occurs.
    #[must_use]
    pub fn having(&self, tag: u16) -> Option<&Directory<'a>> {
        self.directories.iter().find(|d| d.has(tag))
    }
}

impl<'a> Directory<'a> {
    /// The directory at a place, and the place of the next.
    ///
    /// # Errors
    /// Where it lies beyond the end of the bytes, or has more entries than can be.
    pub fn parse(
        bytes: &'a [u8],
        order: Order,
        at: u64,
        role: Role,
    ) -> Result<(Self, u64), TiffError> {
        let found = bytes.len() as u64;
        let short = |expected: u64| TiffError::Truncated { expected, found };
        let start = usize::try_from(at).map_err(|_| short(at))?;
        let count = order.u16(bytes, start).ok_or_else(|| short(at.saturating_add(2)))? as usize;
        let end = at + 2 + 12 * count as u64;
        if count > MOST_ENTRIES {
            return Err(TiffError::Damaged(format!("a directory with {count} entries")));
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
    /// An entry by its tag.
    #[must_use]
    pub fn entry(&self, tag: u16) -> Option<&Entry> {
        self.entries.iter().find(|e| e.tag == tag)
    }
    /// Whether there is an entry of this tag.
    #[must_use]
    pub fn has(&self, tag: u16) -> bool {
        self.entry(tag).is_some()
    }
    /// The bytes of an entry's values, `None` where they reach beyond the file.
    #[must_use]
    pub fn value(&self, entry: &Entry) -> Option<&'a [u8]> {
        self.bytes.get(usize::try_from(entry.at.start).ok()?..usize::try_from(entry.at.end).ok()?)
    }
    /// The bytes of an entry's values by its tag.
    #[must_use]
    pub fn bytes(&self, tag: u16) -> Option<&'a [u8]> {
        self.value(self.entry(tag)?)
    }
    /// Whole numbers of any unsigned type.
    #[must_use]
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
    /// The first of them.
    #[must_use]
    pub fn uint(&self, tag: u16) -> Option<u64> {
        self.uints(tag)?.first().copied()
    }
    /// The first of them as a size.
    #[must_use]
    pub fn usize(&self, tag: u16) -> Option<usize> {
        self.uint(tag).and_then(|v| usize::try_from(v).ok())
    }
    /// Numbers of any type, in the unit of their tag; fractions are divided, and must be finite.
    #[must_use]
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
    #[must_use]
    pub fn text(&self, tag: u16) -> Option<String> {
        let bytes = self.bytes(tag)?;
        let text = String::from_utf8_lossy(bytes.split(|&b| b == 0).next()?).trim().to_owned();
        (!text.is_empty()).then_some(text)
    }
}
