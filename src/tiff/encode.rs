//! TIFF 6.0 directories to bytes in either byte order.
//!
//! The `tiff` crate writes the machine's own byte order only; cameras write both, so the
//! directories are laid out here. Metadata stands in front, image data behind it, as cameras do.

use super::Order;
use super::tag::{STRIP_BYTE_COUNTS, STRIP_OFFSETS, TILE_BYTE_COUNTS, TILE_OFFSETS};
use std::collections::BTreeMap;

/// The value of one entry.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// Unsigned bytes.
    Byte(Vec<u8>),
    /// Text; stored with its closing zero.
    Ascii(String),
    /// 16-bit numbers.
    Short(Vec<u16>),
    /// 32-bit numbers.
    Long(Vec<u32>),
    /// Numerator and denominator.
    Rational(Vec<(u32, u32)>),
    /// Signed numerator and denominator.
    SignedRational(Vec<(i32, i32)>),
    /// Bytes without meaning to TIFF.
    Undefined(Vec<u8>),
    /// 64-bit floating point.
    Double(Vec<f64>),
    /// 32-bit floating point.
    Float(Vec<f32>),
    /// Signed 16-bit numbers.
    SignedShort(Vec<i16>),
    /// Signed 32-bit numbers.
    SignedLong(Vec<i32>),
}

/// Image data of a directory.
#[derive(Clone, Debug, PartialEq)]
pub struct Chunks {
    /// Tiles, otherwise strips.
    pub tiled: bool,
    /// Bytes of each tile or strip, already in the file's byte order.
    pub data: Vec<Vec<u8>>,
}

/// One image file directory with what hangs below it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NewDirectory {
    entries: BTreeMap<u16, Value>,
    children: BTreeMap<u16, Vec<NewDirectory>>,
    chunks: Option<Chunks>,
}

const HEADER: usize = 8;
/// The GNU C library keeps smaller blocks for later (mallopt(3), M_MMAP_THRESHOLD); room that is not
/// used costs nothing.
const GIVEN_BACK: usize = 33 << 20;

impl NewDirectory {
    /// Sets an entry, replacing one of the same tag.
    pub fn set(&mut self, tag: u16, value: Value) {
        self.entries.insert(tag, value);
    }
    /// Hangs a directory below this one under a pointer tag (SubIFDs, Exif, GPS).
    pub fn hang(&mut self, tag: u16, child: NewDirectory) {
        self.children.entry(tag).or_default().push(child);
    }
    /// Gives the directory its image data; offsets and byte counts are filled in when written.
    pub fn set_chunks(&mut self, chunks: Chunks) {
        self.chunks = Some(chunks);
    }
    /// Whether nothing is in it.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.entries.is_empty() && self.children.is_empty() && self.chunks.is_none()
    }
}

/// A file larger than 32-bit offsets can reach.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooLarge {
    /// Bytes needed.
    pub bytes: usize,
}

/// Writes a whole file with `root` as its first directory.
///
/// # Errors
/// Where the file would be larger than 4 GiB.
pub fn encode(root: &NewDirectory, order: Order) -> Result<Vec<u8>, TooLarge> {
    let measured = Layout::run(root, order, 0)?;
    let base = measured.metadata.len();
    let Layout { mut metadata, chunks, end, .. } = Layout::run(root, order, base)?;
    metadata.reserve_exact((end - metadata.len()).max(GIVEN_BACK));
    for chunk in chunks {
        metadata.extend_from_slice(chunk);
        pad(&mut metadata);
    }
    Ok(metadata)
}

fn pad(bytes: &mut Vec<u8>) {
    if bytes.len() % 2 == 1 {
        bytes.push(0);
    }
}

struct Layout<'a> {
    order: Order,
    metadata: Vec<u8>,
    chunks: Vec<&'a [u8]>,
    end: usize,
}

impl<'a> Layout<'a> {
    /// Lays everything out with the image data starting at `base`. The length of the metadata does
    /// not depend on it, so a first run with any base tells where the data can start.
    fn run(root: &'a NewDirectory, order: Order, base: usize) -> Result<Self, TooLarge> {
        let mut layout = Layout { order, metadata: vec![0; HEADER], chunks: Vec::new(), end: base };
        let first = layout.directory(root)?;
        let mut header = Vec::with_capacity(HEADER);
        header.extend_from_slice(if order == Order::Little { b"II" } else { b"MM" });
        layout.short(42, &mut header);
        layout.long(first, &mut header);
        layout.metadata[..HEADER].copy_from_slice(&header);
        Ok(layout)
    }

    fn directory(&mut self, dir: &'a NewDirectory) -> Result<u32, TooLarge> {
        let mut entries: BTreeMap<u16, (u16, u32, Vec<u8>)> = BTreeMap::new();
        for (&tag, value) in &dir.entries {
            entries.insert(tag, self.value(value));
        }
        for (&tag, children) in &dir.children {
            let offsets =
                children.iter().map(|c| self.directory(c)).collect::<Result<Vec<_>, _>>()?;
            entries.insert(tag, self.value(&Value::Long(offsets)));
        }
        if let Some(chunks) = &dir.chunks {
            let (offset_tag, count_tag) = if chunks.tiled {
                (TILE_OFFSETS, TILE_BYTE_COUNTS)
            } else {
                (STRIP_OFFSETS, STRIP_BYTE_COUNTS)
            };
            let (offsets, counts) = self.place(&chunks.data)?;
            entries.insert(offset_tag, self.value(&Value::Long(offsets)));
            entries.insert(count_tag, self.value(&Value::Long(counts)));
        }
        self.table(entries)
    }

    fn place(&mut self, data: &'a [Vec<u8>]) -> Result<(Vec<u32>, Vec<u32>), TooLarge> {
        let (mut offsets, mut counts) = (Vec::new(), Vec::new());
        for chunk in data {
            offsets.push(offset(self.end)?);
            counts.push(offset(chunk.len())?);
            self.chunks.push(chunk);
            self.end += chunk.len() + chunk.len() % 2;
        }
        Ok((offsets, counts))
    }

    /// Long values first, then the table that points at them.
    fn table(&mut self, entries: BTreeMap<u16, (u16, u32, Vec<u8>)>) -> Result<u32, TooLarge> {
        let mut table = Vec::new();
        self.short(u16::try_from(entries.len()).unwrap_or(u16::MAX), &mut table);
        for (tag, (kind, count, mut bytes)) in entries {
            self.short(tag, &mut table);
            self.short(kind, &mut table);
            self.long(count, &mut table);
            if bytes.len() <= 4 {
                bytes.resize(4, 0);
                table.extend_from_slice(&bytes);
            } else {
                self.long(offset(self.metadata.len())?, &mut table);
                self.metadata.extend_from_slice(&bytes);
                pad(&mut self.metadata);
            }
        }
        self.long(0, &mut table);
        let at = offset(self.metadata.len())?;
        self.metadata.extend_from_slice(&table);
        pad(&mut self.metadata);
        Ok(at)
    }

    fn short(&self, v: u16, out: &mut Vec<u8>) {
        out.extend_from_slice(&self.order.short(v));
    }
    fn long(&self, v: u32, out: &mut Vec<u8>) {
        out.extend_from_slice(&self.order.long(v));
    }
    /// Type code, count and bytes of a value (TIFF 6.0, section 2).
    fn value(&self, value: &Value) -> (u16, u32, Vec<u8>) {
        let mut out = Vec::new();
        let (kind, count) = match value {
            Value::Byte(v) => (1, (out.extend_from_slice(v), v.len()).1),
            Value::Ascii(text) => {
                out.extend(text.bytes().filter(|&b| b != 0));
                out.push(0);
                (2, out.len())
            }
            Value::Short(v) => (3, (v.iter().for_each(|&x| self.short(x, &mut out)), v.len()).1),
            Value::Long(v) => (4, (v.iter().for_each(|&x| self.long(x, &mut out)), v.len()).1),
            Value::Rational(v) => {
                v.iter().flat_map(|&(n, d)| [n, d]).for_each(|x| self.long(x, &mut out));
                (5, v.len())
            }
            Value::SignedRational(v) => {
                let words = v.iter().flat_map(|&(n, d)| [n.cast_unsigned(), d.cast_unsigned()]);
                words.for_each(|x| self.long(x, &mut out));
                (10, v.len())
            }
            Value::Undefined(v) => (7, (out.extend_from_slice(v), v.len()).1),
            Value::Float(v) => {
                v.iter().for_each(|x| self.long(x.to_bits(), &mut out));
                (11, v.len())
            }
            Value::SignedShort(v) => {
                v.iter().for_each(|x| self.short(x.cast_unsigned(), &mut out));
                (8, v.len())
            }
            Value::SignedLong(v) => {
                v.iter().for_each(|x| self.long(x.cast_unsigned(), &mut out));
                (9, v.len())
            }
            Value::Double(v) => {
                for x in v {
                    out.extend_from_slice(&match self.order {
                        Order::Little => x.to_le_bytes(),
                        Order::Big => x.to_be_bytes(),
                    });
                }
                (12, v.len())
            }
        };
        (kind, u32::try_from(count).unwrap_or(u32::MAX), out)
    }
}

fn offset(at: usize) -> Result<u32, TooLarge> {
    u32::try_from(at).map_err(|_| TooLarge { bytes: at })
}
