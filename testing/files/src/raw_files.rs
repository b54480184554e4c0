//! Whole files of vendors' raw kinds, and plain pictures, that hold given counts and say how they
//! were taken: what the small seeds hold as noise, with a picture in it.

use crate::raw_seeds::{sony, strip};
use crate::small_dng::{SmallTiff, Value, packed};

/// How a frame was taken, as Exif keeps it.
pub struct Taken {
    pub time: (u32, u32),
    /// ShutterSpeedValue, where the camera writes it.
    pub apex: Option<(i32, i32)>,
    pub f_number: (u32, u32),
    pub iso: u16,
    /// `2031:05:17 09:08:07`.
    pub at: String,
    pub focal_mm: u32,
}

/// Counts row by row.
pub struct Shown<'a> {
    pub width: usize,
    pub height: usize,
    pub counts: &'a [u16],
    pub taken: &'a Taken,
}

impl Taken {
    fn exif(&self, tiff: &mut SmallTiff) {
        tiff.put_exif(33_434, Value::Rational(vec![self.time]));
        tiff.put_exif(33_437, Value::Rational(vec![self.f_number]));
        tiff.put_exif(34_855, Value::Short(vec![self.iso]));
        tiff.put_exif(36_867, Value::Owned(self.at.clone()));
        if let Some(apex) = self.apex {
            tiff.put_exif(37_377, Value::SRational(vec![apex]));
        }
        tiff.put_exif(37_386, Value::Rational(vec![(self.focal_mm, 1)]));
    }
}

impl Shown<'_> {
    fn size(&self) -> (usize, usize) {
        (self.width, self.height)
    }
    fn rows(&self) -> Vec<Vec<u16>> {
        self.counts.chunks(self.width).map(<[u16]>::to_vec).collect()
    }
}

fn named(big: bool, make: &'static str, model: &'static str) -> SmallTiff {
    let mut tiff = SmallTiff::new(big);
    tiff.put(271, Value::Text(make));
    tiff.put(272, Value::Text(model));
    tiff
}

/// Uncompressed, 12 bits, big-endian; black 0, white 4095, twelve columns and rows beyond the
/// picture at the right and the bottom.
pub fn nef(shown: &Shown<'_>) -> Vec<u8> {
    let mut tiff = named(true, "NIKON CORPORATION", "NIKON D1");
    strip(&mut tiff, shown.size(), 1, 12, &packed(&shown.rows(), 12, true));
    tiff.put(12, Value::Rational(vec![(3, 2), (5, 4)]));
    shown.taken.exif(&mut tiff);
    tiff.finish()
}

/// Lossless JPEG in two slices side by side; black 2048, white 14888. `stream` holds what
/// [`sliced`] gives, in rows of the whole width.
pub fn cr2(shown: &Shown<'_>, stream: &[u8]) -> Vec<u8> {
    let mut tiff = named(false, "Canon", "Canon EOS-1D X Mark II");
    strip(&mut tiff, shown.size(), 6, 16, stream);
    let half = shown.width as u16 / 2;
    tiff.put(0xc5d8, Value::Long(vec![1]));
    tiff.put(0xc640, Value::Short(vec![1, half, half]));
    shown.taken.exif(&mut tiff);
    tiff.finish()
}

/// The counts in the order in which two slices side by side store them.
pub fn sliced(shown: &Shown<'_>) -> Vec<u16> {
    let half = shown.width / 2;
    let slice = |from: usize| {
        shown.counts.chunks(shown.width).flat_map(move |row| row[from..from + half].to_vec())
    };
    slice(0).chain(slice(half)).collect()
}

/// Three parts behind a header: a preview that holds Exif, a list of sizes, and a TIFF structure with
/// 16-bit counts; black 1023, white 16383.
pub fn raf(shown: &Shown<'_>) -> Vec<u8> {
    const HEADER: usize = 108;
    let mut exif = named(false, "FUJIFILM", "GFX 50S");
    shown.taken.exif(&mut exif);
    let preview = [&jpeg_exif(&exif.finish())[..], &[0xff, 0xd9]].concat();
    let (width, height) = (shown.width as u32, shown.height as u32);
    let shorts = |v: &[u16]| v.iter().flat_map(|x| x.to_be_bytes()).collect::<Vec<u8>>();
    let record =
        |tag: u16, values: &[u16]| shorts(&[&[tag, 2 * values.len() as u16][..], values].concat());
    let sizes = record(0x100, &[height as u16, width as u16]);
    let balance = record(0x2ff0, &[300, 500, 300, 420]);
    let list = [&2_u32.to_be_bytes()[..], &sizes, &balance].concat();
    let mut raw = SmallTiff::new(false);
    let place = raw.part(&packed(&shown.rows(), 16, false), 0);
    for (tag, value) in [(0xf001, width), (0xf002, height), (0xf003, 16), (0xf007, place)] {
        raw.put_exif(tag, Value::Long(vec![value]));
    }
    raw.put_exif(0xf00e, Value::Long(vec![300, 500, 420]));
    let raw = raw.finish_under(0xf000);
    let mut file = b"FUJIFILMCCD-RAW 0201FF159502GFX 50S".to_vec();
    file.resize(84, 0);
    let mut at = HEADER;
    for part in [&preview, &list, &raw] {
        file.extend((at as u32).to_be_bytes());
        file.extend((part.len() as u32).to_be_bytes());
        at += part.len();
    }
    [file, preview, list, raw].concat()
}

/// Eight bits a pixel in blocks of sixteen; black 512, white 16300. A width of whole pairs of blocks.
pub fn arw(shown: &Shown<'_>) -> Vec<u8> {
    let counts = curve();
    let mut data = Vec::new();
    for pair in shown.counts.chunks(32) {
        for odd in 0..2 {
            let value = |i: usize| counts.partition_point(|&c| c < pair[2 * i + odd]).min(2047);
            data.extend(block(std::array::from_fn(value)).to_le_bytes());
        }
    }
    let mut tiff = SmallTiff::new(false);
    strip(&mut tiff, shown.size(), 32_767, 8, &data);
    sony(&mut tiff);
    shown.taken.exif(&mut tiff);
    tiff.finish()
}

/// Counts between those of the eleven-bit values: slopes of 1, 2, 4, 8 and 16 from 0, 2000, 2600,
/// 3225 and 3525 of twelve bits on.
fn curve() -> Vec<u16> {
    let ends = [0, 2000, 2600, 3225, 3525, 4096];
    let count = |value: usize| {
        let along = |i: usize| value.clamp(ends[i], ends[i + 1]) - ends[i];
        (0..5).map(|i| along(i) << i).sum::<usize>() as u16
    };
    (0..2048).map(|value| count(2 * value + 1)).collect()
}

/// Largest, smallest, their places, and the rest in seven bits above the smallest.
fn block(values: [usize; 16]) -> u128 {
    let place = |of: usize, but: usize| (0..16).find(|&i| i != but && values[i] == of).unwrap();
    let (largest, smallest) = (*values.iter().max().unwrap(), *values.iter().min().unwrap());
    let largest_at = place(largest, 16);
    let smallest_at = place(smallest, largest_at);
    let range = (largest - smallest) as u32;
    let shift = (32 - range.leading_zeros()).saturating_sub(7);
    let mut bits = largest as u128 | (smallest as u128) << 11;
    bits |= (largest_at as u128) << 22 | (smallest_at as u128) << 26;
    let others = (0..16).filter(|&i| i != largest_at && i != smallest_at);
    for (k, i) in others.enumerate() {
        let step = ((values[i] - smallest + (1 << shift) / 2) >> shift).min(127);
        bits |= (step as u128) << (30 + 7 * k);
    }
    bits
}

/// A 16-bit picture of three values a pixel, as an editor writes it.
pub fn tiff_picture(shown: &Shown<'_>, big: bool) -> Vec<u8> {
    let mut tiff = named(big, "Kelmora", "Kelmora Two");
    let rows: Vec<Vec<u16>> = shown.counts.chunks(3 * shown.width).map(<[u16]>::to_vec).collect();
    let (mut places, mut lengths) = (Vec::new(), Vec::new());
    let rows_each = shown.height.div_ceil(3);
    for rows in rows.chunks(rows_each) {
        let data = packed(rows, 16, big);
        places.push(tiff.part(&data, 0));
        lengths.push(data.len() as u32);
    }
    for (tag, value) in [(256, shown.width), (257, shown.height), (278, rows_each)] {
        tiff.put(tag, Value::Long(vec![value as u32]));
    }
    for (tag, value) in [(259, 1), (262, 2), (274, 1), (277, 3), (284, 1)] {
        tiff.put(tag, Value::Short(vec![value]));
    }
    tiff.put(258, Value::Short(vec![16; 3]));
    tiff.put(273, Value::Long(places));
    tiff.put(279, Value::Long(lengths));
    shown.taken.exif(&mut tiff);
    tiff.finish()
}

/// A JPEG picture with Exif put in behind its first mark.
pub fn jpeg_picture(jpeg: &[u8], taken: &Taken) -> Vec<u8> {
    let mut exif = named(true, "Kelmora", "Kelmora Two");
    taken.exif(&mut exif);
    [&jpeg_exif(&exif.finish())[..], &jpeg[2..]].concat()
}

/// The first mark of a JPEG and a segment of Exif (ITU-T T.81, annex B; Exif 2.32, 4.5.4).
fn jpeg_exif(block: &[u8]) -> Vec<u8> {
    let length = (block.len() + 8) as u16;
    [&[0xff, 0xd8, 0xff, 0xe1][..], &length.to_be_bytes(), b"Exif\0\0", block].concat()
}
