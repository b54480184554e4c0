//! Writes small TIFF-like files byte by byte, for tests that must not trust the crates under test.

/// A value of a TIFF entry.
pub enum Value {
    Bytes(Vec<u8>),
    Text(&'static str),
    Owned(String),
    Short(Vec<u16>),
    Long(Vec<u32>),
    Rational(Vec<(u32, u32)>),
    SRational(Vec<(i32, i32)>),
}

/// A file in the making: the picture's parts first, then one directory and an Exif directory.
pub struct SmallTiff {
    big: bool,
    bytes: Vec<u8>,
    entries: Vec<(u16, Value)>,
    exif: Vec<(u16, Value)>,
}

impl SmallTiff {
    pub fn new(big: bool) -> Self {
        let bytes = if big { b"MM\0*\0\0\0\0".to_vec() } else { b"II*\0\0\0\0\0".to_vec() };
        Self { big, bytes, entries: Vec::new(), exif: Vec::new() }
    }
    pub fn put(&mut self, tag: u16, value: Value) {
        self.entries.push((tag, value));
    }
    /// Puts another value in a tag's place.
    pub fn replace(&mut self, tag: u16, value: Value) {
        self.entries.retain(|(t, _)| *t != tag);
        self.put(tag, value);
    }
    pub fn put_exif(&mut self, tag: u16, value: Value) {
        self.exif.push((tag, value));
    }
    /// Appends picture data after `gap` bytes of rubbish; returns its place.
    pub fn part(&mut self, data: &[u8], gap: usize) -> u32 {
        self.bytes.resize(self.bytes.len() + gap, 0xa5);
        let place = self.bytes.len() as u32;
        self.bytes.extend(data);
        place
    }
    fn u16(&self, v: u16) -> [u8; 2] {
        if self.big { v.to_be_bytes() } else { v.to_le_bytes() }
    }
    fn u32(&self, v: u32) -> [u8; 4] {
        if self.big { v.to_be_bytes() } else { v.to_le_bytes() }
    }
    fn encode(&self, value: &Value) -> (u16, u32, Vec<u8>) {
        match value {
            Value::Bytes(v) => (1, v.len() as u32, v.clone()),
            Value::Text(v) => (2, v.len() as u32 + 1, [v.as_bytes(), b"\0"].concat()),
            Value::Owned(v) => (2, v.len() as u32 + 1, [v.as_bytes(), b"\0"].concat()),
            Value::Short(v) => (3, v.len() as u32, v.iter().flat_map(|&x| self.u16(x)).collect()),
            Value::Long(v) => (4, v.len() as u32, v.iter().flat_map(|&x| self.u32(x)).collect()),
            Value::Rational(v) => {
                let bytes = v.iter().flat_map(|&(n, d)| [self.u32(n), self.u32(d)].concat());
                (5, v.len() as u32, bytes.collect())
            }
            Value::SRational(v) => {
                let bytes = v.iter().flat_map(|&(n, d)| {
                    [self.u32(n.cast_unsigned()), self.u32(d.cast_unsigned())].concat()
                });
                (10, v.len() as u32, bytes.collect())
            }
        }
    }
    fn directory(&mut self, mut entries: Vec<(u16, Value)>) -> u32 {
        entries.sort_by_key(|(tag, _)| *tag);
        let mut table = self.u16(entries.len() as u16).to_vec();
        for (tag, value) in &entries {
            let (kind, count, mut data) = self.encode(value);
            table.extend(self.u16(*tag));
            table.extend(self.u16(kind));
            table.extend(self.u32(count));
            if data.len() <= 4 {
                data.resize(4, 0);
                table.extend(data);
            } else {
                let place = self.part(&data, 0);
                table.extend(self.u32(place));
            }
        }
        table.extend(self.u32(0));
        self.part(&table, 0)
    }
    pub fn finish(self) -> Vec<u8> {
        self.finish_under(34_665)
    }
    /// The same with the second directory under another pointer than that of Exif.
    pub fn finish_under(mut self, pointer: u16) -> Vec<u8> {
        if !self.exif.is_empty() {
            let exif = std::mem::take(&mut self.exif);
            let place = self.directory(exif);
            self.put(pointer, Value::Long(vec![place]));
        }
        let entries = std::mem::take(&mut self.entries);
        let place = self.directory(entries);
        let place = self.u32(place);
        self.bytes[4..8].copy_from_slice(&place);
        self.bytes
    }
}

/// Samples packed most significant bit first, rows beginning on whole bytes; 16 bits in the file's
/// own order.
pub fn packed(rows: &[Vec<u16>], bits: u32, big: bool) -> Vec<u8> {
    let mut out = Vec::new();
    for row in rows {
        if bits == 16 {
            out.extend(
                row.iter().flat_map(|v| if big { v.to_be_bytes() } else { v.to_le_bytes() }),
            );
            continue;
        }
        let mut text: String = row.iter().map(|v| format!("{v:0w$b}", w = bits as usize)).collect();
        while !text.len().is_multiple_of(8) {
            text.push('0');
        }
        for byte in text.as_bytes().chunks(8) {
            let byte = std::str::from_utf8(byte).expect("digits");
            out.push(u8::from_str_radix(byte, 2).expect("binary digits"));
        }
    }
    out
}

/// What a small DNG is made of.
pub struct SmallDng {
    pub big: bool,
    pub bits: u32,
    pub width: usize,
    pub height: usize,
    /// Top, left, bottom, right.
    pub active: [u32; 4],
    pub pattern: Vec<u8>,
    pub rows_per_strip: usize,
    pub gap: usize,
}

impl Default for SmallDng {
    fn default() -> Self {
        Self {
            big: false,
            bits: 16,
            width: 10,
            height: 7,
            active: [1, 1, 7, 9],
            pattern: vec![0, 1, 1, 2],
            rows_per_strip: 3,
            gap: 0,
        }
    }
}

impl SmallDng {
    /// A count that differs from pixel to pixel and fits the bits.
    pub fn count(&self, row: usize, column: usize) -> u16 {
        ((row * 131 + column * 17 + 3) % (1 << self.bits.min(14))) as u16
    }
    /// The directory and the strips; more may be put in before it is finished.
    pub fn tiff(&self) -> SmallTiff {
        let mut tiff = SmallTiff::new(self.big);
        let rows: Vec<Vec<u16>> =
            (0..self.height).map(|r| (0..self.width).map(|c| self.count(r, c)).collect()).collect();
        let (mut offsets, mut counts) = (Vec::new(), Vec::new());
        for strip in rows.chunks(self.rows_per_strip) {
            let data = packed(strip, self.bits, self.big);
            offsets.push(tiff.part(&data, self.gap));
            counts.push(data.len() as u32);
        }
        let side = if self.pattern.len() == 36 { 6 } else { 2 };
        tiff.put(254, Value::Long(vec![0]));
        tiff.put(256, Value::Long(vec![self.width as u32]));
        tiff.put(257, Value::Long(vec![self.height as u32]));
        tiff.put(258, Value::Short(vec![self.bits as u16]));
        tiff.put(259, Value::Short(vec![1]));
        tiff.put(262, Value::Short(vec![32_803]));
        tiff.put(273, Value::Long(offsets));
        tiff.put(277, Value::Short(vec![1]));
        tiff.put(278, Value::Long(vec![self.rows_per_strip as u32]));
        tiff.put(279, Value::Long(counts));
        tiff.put(33_421, Value::Short(vec![side, side]));
        tiff.put(33_422, Value::Bytes(self.pattern.clone()));
        tiff.put(50_706, Value::Bytes(vec![1, 4, 0, 0]));
        tiff.put(50_829, Value::Long(self.active.to_vec()));
        tiff
    }
}
