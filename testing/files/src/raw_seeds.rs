//! Small whole files of vendors' raw kinds, made byte by byte: a container that the decoders take
//! for that camera, and a mosaic of faint noise in it. Real files replace nothing here; they come
//! beside these where there are some.

use crate::small_dng::{SmallTiff, Value, packed};
use rand::Rng;
use rand_chacha::ChaCha8Rng;

pub const WIDTH: usize = 192;
pub const HEIGHT: usize = 128;
const MAKE: u16 = 271;
const MODEL: u16 = 272;

fn noise(random: &mut ChaCha8Rng, rows: usize, columns: usize, around: u16) -> Vec<Vec<u16>> {
    let mut row = || (0..columns).map(|_| around + random.random_range(0..200)).collect();
    (0..rows).map(|_| row()).collect()
}

fn exif(tiff: &mut SmallTiff) {
    tiff.put_exif(33_434, Value::Rational(vec![(1, 60)]));
    tiff.put_exif(33_437, Value::Rational(vec![(8, 1)]));
    tiff.put_exif(34_855, Value::Short(vec![100]));
    tiff.put_exif(36_867, Value::Text("2031:05:17 09:08:07"));
}

/// The tags of a mosaic in one strip, without its colours.
pub(crate) fn strip(
    tiff: &mut SmallTiff,
    (width, height): (usize, usize),
    compression: u16,
    bits: u16,
    data: &[u8],
) {
    let place = tiff.part(data, 0);
    tiff.put(254, Value::Long(vec![0]));
    tiff.put(256, Value::Long(vec![width as u32]));
    tiff.put(257, Value::Long(vec![height as u32]));
    tiff.put(258, Value::Short(vec![bits]));
    tiff.put(259, Value::Short(vec![compression]));
    tiff.put(262, Value::Short(vec![32_803]));
    tiff.put(273, Value::Long(vec![place]));
    tiff.put(277, Value::Short(vec![1]));
    tiff.put(278, Value::Long(vec![height as u32]));
    tiff.put(279, Value::Long(vec![data.len() as u32]));
    tiff.put(33_421, Value::Short(vec![2, 2]));
    tiff.put(33_422, Value::Bytes(vec![0, 1, 1, 2]));
}

/// Uncompressed, 12 bits, big-endian.
pub fn nef(random: &mut ChaCha8Rng) -> Vec<u8> {
    let mut tiff = SmallTiff::new(true);
    tiff.put(MAKE, Value::Text("NIKON CORPORATION"));
    tiff.put(MODEL, Value::Text("NIKON D1"));
    strip(&mut tiff, (WIDTH, HEIGHT), 1, 12, &packed(&noise(random, HEIGHT, WIDTH, 900), 12, true));
    // White balance, as the maker's notes keep it.
    tiff.put(12, Value::Rational(vec![(3, 2), (5, 4)]));
    exif(&mut tiff);
    tiff.finish()
}

/// 12 bits packed, with the maker's own tags for size and place.
pub fn kdc(random: &mut ChaCha8Rng) -> Vec<u8> {
    let mut tiff = SmallTiff::new(true);
    tiff.put(MAKE, Value::Text("EASTMAN KODAK COMPANY"));
    tiff.put(MODEL, Value::Text("KODAK P880 ZOOM DIGITAL CAMERA"));
    let data = packed(&noise(random, HEIGHT, WIDTH, 900), 12, true);
    let place = tiff.part(&data, 0);
    let mut places = vec![0; 13];
    places[4] = place;
    tiff.put(33_422, Value::Bytes(vec![0, 1, 1, 2]));
    tiff.put(0xfa2a, Value::Long(vec![2, 1, 1]));
    tiff.put(0xfd00, Value::Long(vec![WIDTH as u32 - 80]));
    tiff.put(0xfd01, Value::Long(vec![HEIGHT as u32 - 70]));
    tiff.put(0xfd04, Value::Long(places));
    exif(&mut tiff);
    tiff.finish()
}

/// The stream that the maker's private directory is combined with; its own inverse.
fn private(data: &[u8], key: u32) -> Vec<u8> {
    let mut pad = [0_u32; 128];
    let mut next = key;
    for value in &mut pad[..4] {
        next = next.wrapping_mul(48_828_125).wrapping_add(1);
        *value = next;
    }
    pad[3] = pad[3] << 1 | (pad[0] ^ pad[2]) >> 31;
    for p in 4..127 {
        pad[p] = (pad[p - 4] ^ pad[p - 2]) << 1 | (pad[p - 3] ^ pad[p - 1]) >> 31;
    }
    pad[..127].iter_mut().for_each(|v| *v = v.swap_bytes());
    let mut out = Vec::new();
    for (i, word) in data.chunks(4).enumerate() {
        let p = i + 127;
        pad[p & 127] = pad[(p + 1) & 127] ^ pad[(p + 65) & 127];
        let mut bytes = [0; 4];
        bytes[..word.len()].copy_from_slice(word);
        out.extend((u32::from_le_bytes(bytes) ^ pad[p & 127]).to_le_bytes());
    }
    out
}

fn entry(tag: u16, kind: u16, count: u32, value: u32) -> Vec<u8> {
    let halves = [tag.to_le_bytes(), kind.to_le_bytes()].concat();
    [halves, count.to_le_bytes().to_vec(), value.to_le_bytes().to_vec()].concat()
}

/// Eight bits a pixel in blocks of sixteen.
pub fn arw(random: &mut ChaCha8Rng) -> Vec<u8> {
    let data: Vec<u8> = (0..WIDTH * HEIGHT / 16).flat_map(|_| block(random)).collect();
    arw_of(&data)
}

/// A picture of such blocks, with a tone curve and the private directory.
pub fn arw_of(data: &[u8]) -> Vec<u8> {
    let mut tiff = SmallTiff::new(false);
    strip(&mut tiff, (WIDTH, HEIGHT), 32_767, 8, data);
    sony(&mut tiff);
    exif(&mut tiff);
    tiff.finish()
}

/// Maker, model, tone curve and private directory of an ARW file.
pub(crate) fn sony(tiff: &mut SmallTiff) {
    const KEY: u32 = 0x1234_5678;
    tiff.put(MAKE, Value::Text("SONY"));
    tiff.put(MODEL, Value::Text("SLT-A33"));
    tiff.put(0x7010, Value::Short(vec![8000, 10_400, 12_900, 14_100]));
    // White balance: four shorts behind a directory of one entry.
    let levels: Vec<u8> =
        [2000_u16, 1024, 1024, 1500].iter().flat_map(|v| v.to_le_bytes()).collect();
    let inner_at = tiff.part(&[], 0);
    let inner = [vec![1, 0], entry(0x7313, 3, 4, inner_at + 18), vec![0; 4], levels].concat();
    let inner_at = tiff.part(&private(&inner, KEY), 0);
    let outer = [
        vec![3, 0],
        entry(0x7200, 4, 1, inner_at),
        entry(0x7201, 4, 1, inner.len() as u32),
        entry(0x7221, 4, 1, KEY),
        vec![0; 4],
    ]
    .concat();
    let outer_at = tiff.part(&outer, 0);
    tiff.put(0xc634, Value::Bytes(outer_at.to_le_bytes().to_vec()));
}

/// Sixteen pixels in 128 bits, least significant first: largest, smallest, their places, and the
/// rest in seven bits above the smallest.
fn block(random: &mut ChaCha8Rng) -> [u8; 16] {
    let low = random.random_range(300..340_u128);
    let mut bits = (low + 100) | (low << 11) | (1 << 26);
    for i in 0..14 {
        bits |= random.random_range(0..100_u128) << (30 + 7 * i);
    }
    bits.to_le_bytes()
}

struct Bits {
    held: u32,
    have: u32,
    out: Vec<u8>,
}

impl Bits {
    fn put(&mut self, value: u32, count: u32) {
        self.held = self.held << count | value;
        self.have += count;
        while self.have >= 8 {
            self.have -= 8;
            let byte = (self.held >> self.have) as u8;
            self.held &= (1 << self.have) - 1;
            self.out.push(byte);
            if byte == 0xff {
                self.out.push(0);
            }
        }
    }
}

/// A heap of records, its directory at the end. Differences of two bits each, in the first of the
/// three code tables: leaf 2 is `101` where a block begins and `100` within it.
pub fn crw(random: &mut ChaCha8Rng) -> Vec<u8> {
    const START: usize = 26;
    // The decoder looks for the two low bits of all pixels at the start, for the rest behind them.
    const COMPRESSED_AT: usize = 540 + WIDTH * HEIGHT / 4;
    let mut bits = Bits { held: 0, have: 0, out: Vec::new() };
    let mut sums = [0_i32; 2];
    let mut carry = 0_i32;
    for pixel in 0..WIDTH * HEIGHT {
        if pixel % WIDTH == 0 {
            sums = [0; 2];
        }
        let first = pixel % 64 == 0;
        let mut value = random.random_range(0..4_u32);
        // -3, -2, 2, 3; towards the middle where it strays.
        let step = |v: u32| [-3, -2, 2, 3][v as usize];
        let own = if first { carry } else { 0 };
        if (sums[pixel & 1] + own) * step(value) > 60 {
            value = 3 - value;
        }
        if first {
            carry += step(value);
            sums[pixel & 1] += carry;
        } else {
            sums[pixel & 1] += step(value);
        }
        bits.put(if first { 0b101 } else { 0b100 }, 3);
        bits.put(value, 2);
    }
    bits.put(0, 24);
    let mut file = b"II\x1a\0\0\0HEAPCCDR\0\0\0\0\0\0\0\0\0\0\0\0".to_vec();
    file.resize_with(COMPRESSED_AT, || random.random());
    file.extend(bits.out);
    let raw = (file.len() - START) as u32;
    let mut records = vec![(0x2005_u16, 0_u32, raw)];
    let shorts = |v: &[u16]| v.iter().flat_map(|x| x.to_le_bytes()).collect::<Vec<u8>>();
    let mut shot_info = vec![0_u16; 34];
    (shot_info[1], shot_info[2], shot_info[21], shot_info[22]) = (0, 160, 96, 192);
    for (kind, data) in [
        (0x080a_u16, b"Canon\0Canon EOS 10D\0".to_vec()),
        (0x1031, shorts(&[34, WIDTH as u16, HEIGHT as u16, 1, 1, 12, 2, 150, 120])),
        (0x102a, shorts(&shot_info)),
        (0x1835, [0_u32, 0, 514, raw].iter().flat_map(|v| v.to_le_bytes()).collect()),
        (0x180e, 1_936_775_287_u32.to_le_bytes().to_vec()),
        (0x10a9, shorts(&[1500; 80])),
    ] {
        records.push((kind, (file.len() - START) as u32, data.len() as u32));
        file.extend(data);
    }
    let directory = (file.len() - START) as u32;
    file.extend((records.len() as u16).to_le_bytes());
    for (kind, place, size) in records {
        file.extend(kind.to_le_bytes());
        file.extend(size.to_le_bytes());
        file.extend(place.to_le_bytes());
    }
    file.extend(directory.to_le_bytes());
    file
}
