//! Lossless JPEG as DNG files hold it (ITU-T T.81, process 14: Huffman-coded differences to a
//! predicted neighbour), a row at a time.
//!
//! The decoder crates take some fifteen nanoseconds a value; here a table takes most codes and the
//! bits of their difference in one look, from bytes that were freed of their stuffing before. What
//! is not of the usual form is left to the crate; what runs out of data is refused, where the crate
//! goes on with zeros.

mod codes;

use super::error::ReadError;
use codes::{Bits, Table};

/// Most components of a frame, and Huffman tables of a stream.
const MOST: usize = 4;

/// Bytes that may follow the last value's: data are filled up to whole bytes (T.81, F.1.2.3), and
/// some writers to whole words.
const MOST_LEFT: usize = 16;
/// Zeros that may follow: a card's or a file system's block.
const MOST_PADDING: usize = 4096;

/// Marks of T.81, table B.1.
mod mark {
    pub const LOSSLESS: u8 = 0xc3;
    pub const TABLES: u8 = 0xc4;
    pub const RESTART: u8 = 0xd0;
    pub const START: u8 = 0xd8;
    pub const SCAN: u8 = 0xda;
    pub const INTERVAL: u8 = 0xdd;
}

/// A stream whose header was read.
#[derive(Debug)]
pub(super) struct Stream<'a> {
    /// Values of a row: columns times components.
    width: usize,
    height: usize,
    components: usize,
    /// Bits of a value.
    precision: u8,
    huffman: Vec<Box<Table>>,
    /// Which of them each component takes.
    tables: [usize; MOST],
    predictor: u8,
    /// What stands before the first value.
    base: u16,
    /// Rows between two restart marks; all where there are none.
    interval: usize,
    data: &'a [u8],
}

impl<'a> Stream<'a> {
    /// Reads the header; `None` where the stream is none of the usual form.
    pub fn parse(bytes: &'a [u8]) -> Option<Self> {
        let mut header = Header::default();
        let mut rest = bytes.strip_prefix(&[0xff, mark::START])?;
        loop {
            let (&[fill, kind, high, low], _) = rest.split_first_chunk::<4>()?;
            let length = usize::from(u16::from_be_bytes([high, low]));
            let body = rest.get(4..2 + length)?;
            rest = &rest[2 + length..];
            match (fill, kind) {
                (0xff, mark::LOSSLESS) => header.frame(body)?,
                (0xff, mark::TABLES) => header.tables(body)?,
                (0xff, mark::INTERVAL) => {
                    header.restart = usize::from(u16::from_be_bytes(*body.as_array::<2>()?));
                }
                (0xff, mark::SCAN) => return header.scan(body, rest),
                // Application data and comments.
                (0xff, 0xe0..=0xef | 0xfe) => {}
                _ => return None,
            }
        }
    }
    /// Values of a row.
    pub fn width(&self) -> usize {
        self.width
    }
    /// Decodes all rows; the first `wanted` are handed over with their number. Codes find their step
    /// again behind a fault, so that only the end tells: a value too wide, or data that go on.
    ///
    /// # Errors
    /// `Damaged` where the data end before or go on behind the last value, hold a code that is none
    /// or a value too wide, or restart elsewhere than announced.
    pub fn rows(
        &self,
        wanted: usize,
        scratch: &mut Scratch,
        mut each: impl FnMut(usize, &[u16]),
    ) -> Result<(), ReadError> {
        let rows = self.height;
        let Scratch { bytes, above, line } = scratch;
        for side in [&mut *above, &mut *line] {
            side.clear();
            side.resize(self.width, 0);
        }
        let (mut data, mut row) = (self.data, 0);
        while row < rows {
            let (length, next) = without_stuffing(data, bytes);
            let mut bits = Bits::of(bytes);
            let end = rows.min(row.saturating_add(self.interval));
            above[..self.components].fill(self.base);
            let mut first = true;
            while row < end {
                match self.components {
                    1 => self.line::<1, 4>(&mut bits, first, above, line),
                    2 => self.line::<2, 4>(&mut bits, first, above, line),
                    3 => self.line::<3, 3>(&mut bits, first, above, line),
                    _ => self.line::<4, 4>(&mut bits, first, above, line),
                }
                bits.whole(length)?;
                if u32::from(line.iter().fold(0, |all, v| all | v)) >> self.precision != 0 {
                    return Err(ReadError::damaged("its pixels hold a value that is too wide"));
                }
                if row < wanted {
                    each(row, line);
                }
                std::mem::swap(above, line);
                (first, row) = (false, row + 1);
            }
            let left = bits.left(length);
            let padding =
                left <= MOST_PADDING && bytes[length - left..length].iter().all(|&b| b == 0);
            if left > MOST_LEFT && !padding {
                return Err(ReadError::damaged("the data of its pixels do not end with them"));
            }
            if row < rows {
                let expected = mark::RESTART + (row / self.interval - 1) as u8 % 8;
                data = match next.split_first() {
                    Some((&found, rest)) if found == expected => rest,
                    _ => return Err(ReadError::damaged("a restart mark of its pixels is missing")),
                };
            }
        }
        Ok(())
    }
    /// One row of values, taken `B` at a time.
    fn line<const C: usize, const B: usize>(
        &self,
        bits: &mut Bits<'_>,
        first: bool,
        above: &[u16],
        line: &mut [u16],
    ) {
        let tables: [&Table; C] = std::array::from_fn(|c| &*self.huffman[self.tables[c]]);
        let mut left: [u16; C] = std::array::from_fn(|c| above[c]);
        // The first row is predicted from the left whatever the predictor (H.1.2.1).
        if first || self.predictor == 1 {
            let (blocks, rest) = line.as_chunks_mut::<B>();
            for block in blocks {
                bits.refill();
                for (i, value) in block.iter_mut().enumerate() {
                    left[i % C] = left[i % C].wrapping_add(bits.difference(tables[i % C]));
                    *value = left[i % C];
                }
            }
            for (i, value) in rest.iter_mut().enumerate() {
                bits.refill();
                left[i % C] = left[i % C].wrapping_add(bits.difference(tables[i % C]));
                *value = left[i % C];
            }
            return;
        }
        for i in 0..line.len() {
            bits.refill();
            let over = i32::from(above[i]);
            let predicted = if i < C {
                over
            } else {
                predict(self.predictor, i32::from(line[i - C]), over, i32::from(above[i - C]))
            };
            line[i] = (predicted as u16).wrapping_add(bits.difference(tables[i % C]));
        }
    }
}

/// T.81, table H.1.
fn predict(predictor: u8, left: i32, above: i32, corner: i32) -> i32 {
    match predictor {
        1 => left,
        2 => above,
        3 => corner,
        4 => left + above - corner,
        5 => left + ((above - corner) >> 1),
        6 => above + ((left - corner) >> 1),
        _ => (left + above) >> 1,
    }
}

/// What the marks before the data say.
#[derive(Default)]
struct Header {
    precision: u8,
    columns: usize,
    height: usize,
    names: Vec<u8>,
    restart: usize,
    huffman: [Option<Box<Table>>; MOST],
}

impl Header {
    /// B.2.2. Twice as many columns as values, as for subsampled colour, is left to others.
    fn frame(&mut self, body: &[u8]) -> Option<()> {
        let (&[precision, h1, h0, w1, w0, components], rest) = body.split_first_chunk::<6>()?;
        let parts = rest.as_chunks::<3>().0;
        let once = (1..=MOST).contains(&parts.len()) && self.names.is_empty();
        let plain = parts.iter().all(|part| part[1] == 0x11);
        if !once
            || !plain
            || parts.len() != usize::from(components)
            || !rest.len().is_multiple_of(3)
        {
            return None;
        }
        self.precision = precision;
        self.height = usize::from(u16::from_be_bytes([h1, h0]));
        self.columns = usize::from(u16::from_be_bytes([w1, w0]));
        self.names = parts.iter().map(|part| part[0]).collect();
        // The crate refuses fewer bits.
        ((10..=16).contains(&precision) && self.columns > 0 && self.height > 0).then_some(())
    }
    /// B.2.4.2.
    fn tables(&mut self, mut body: &[u8]) -> Option<()> {
        while !body.is_empty() {
            let (&[which], rest) = body.split_first_chunk::<1>()?;
            let (lengths, rest) = rest.split_first_chunk::<16>()?;
            let codes = lengths.iter().copied().map(usize::from).sum();
            let (sizes, rest) = rest.split_at_checked(codes)?;
            *self.huffman.get_mut(usize::from(which))? = Some(Table::new(lengths, sizes)?);
            body = rest;
        }
        Some(())
    }
    /// B.2.3.
    fn scan<'a>(self, body: &[u8], data: &'a [u8]) -> Option<Stream<'a>> {
        let (&[components], rest) = body.split_first_chunk::<1>()?;
        let (parts, ends) = rest.split_at_checked(2 * usize::from(components))?;
        let &[predictor, 0, point] = ends else { return None };
        let parts = parts.as_chunks::<2>().0;
        let mut tables = [0; MOST];
        for (table, (&[name, which], known)) in tables.iter_mut().zip(parts.iter().zip(&self.names))
        {
            let which = usize::from(which >> 4);
            let there = self.huffman.get(which)?.is_some();
            (name == *known && there).then_some(())?;
            *table = self.huffman[..which].iter().flatten().count();
        }
        let width = self.columns * self.names.len();
        let rows = if self.restart == 0 { usize::MAX } else { self.restart / self.columns };
        let usual = parts.len() == self.names.len()
            && !parts.is_empty()
            && (1..=7).contains(&predictor)
            && point & 0xf == 0
            && (self.restart == 0 || (self.restart.is_multiple_of(self.columns) && rows > 0));
        usual.then(|| Stream {
            width,
            height: self.height,
            components: self.names.len(),
            precision: self.precision,
            tables,
            huffman: self.huffman.into_iter().flatten().collect(),
            predictor,
            base: 1 << (self.precision - 1),
            interval: rows,
            data,
        })
    }
}

/// Copies data up to the next mark without the zeros stuffed in behind 0xFF (T.81, F.1.2.3), and
/// returns their length and what follows the mark's first byte.
fn without_stuffing<'a>(data: &'a [u8], bytes: &mut Vec<u8>) -> (usize, &'a [u8]) {
    bytes.clear();
    let mut rest = data;
    loop {
        let stop = memchr::memchr(0xff, rest).unwrap_or(rest.len());
        match rest.get(stop + 1) {
            Some(0) => {
                bytes.extend_from_slice(&rest[..=stop]);
                rest = &rest[stop + 2..];
            }
            _ => {
                bytes.extend_from_slice(&rest[..stop]);
                let length = bytes.len();
                // The reader takes eight at a time.
                bytes.extend([0; 8]);
                return (length, rest.get(stop + 1..).unwrap_or_default());
            }
        }
    }
}

/// Memory that the next stream uses again.
#[derive(Debug, Default)]
pub(super) struct Scratch {
    bytes: Vec<u8>,
    above: Vec<u16>,
    line: Vec<u16>,
}

#[cfg(test)]
mod tests;
