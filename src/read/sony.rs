//! Sony's lossy raw compression of eight bits a pixel (ARW 2), as LibRaw reads it: sixteen pixels
//! of one colour in sixteen bytes, two such blocks interleaved.
//!
//! The decoder crates spread the values at random within the steps of the tone curve, which costs
//! more than the decoding and lowers them by up to three quarters of a count; here they stay as
//! the curve has them.

use super::bytes::FileBytes;
use super::error::ReadError;
use crate::frame::counts::{Coded, Counts, Mapped};
use crate::tiff::{Directory, Order, Tiff, tag};
use fearless_simd::prelude::*;
use fearless_simd::{Level, dispatch, u8x16, u8x32, u16x16};
use std::ops::Range;
use std::sync::Arc;

/// Compression of ARW files.
const ARW: u64 = 32_767;
/// SonyToneCurve: where the slope of the curve doubles, four times.
const TONE_CURVE: u16 = 0x7010;
/// Pixels, and bytes, of a block and of two that are interleaved.
const BLOCK: usize = 16;
const PAIR: usize = 2 * BLOCK;
/// Values that a block can hold: 11 bits.
const VALUES: usize = 1 << 11;
/// A header of 30 bits is followed by differences of so many bits.
const HEADER: usize = 30;
const BITS: usize = 7;
/// Differences of a block: all pixels but the largest and the smallest.
const DIFFERENCES: usize = BLOCK - 2;

/// A picture of such blocks.
#[derive(Clone, Debug)]
pub(super) struct Blocks {
    pub width: usize,
    pub height: usize,
    /// Its bytes in the file.
    pub at: Range<usize>,
    curve: Curve,
}

/// Where the slope of every camera's curve doubles, in units of a quarter of a value (from memory; a
/// real file in the tests has them too). No other curve is told from a damaged one: a knee that moved
/// by a tenth may still end where the sensor does, and every count is another.
const KNEES: [u64; 4] = [8000, 10_400, 12_900, 14_100];
/// What a curve uses of a knee: twelve bits, without the two lowest.
const USED: u64 = 0xfff << 2;

/// The picture, where the file has one.
///
/// # Errors
/// `Unsupported` where its tone curve is not that of cameras known here: each count would be another,
/// whoever decodes the blocks.
pub(super) fn blocks(tiff: &Tiff<'_>, length: usize) -> Result<Option<Blocks>, ReadError> {
    let Some(directory) = tiff.images().find(|d| d.uint(tag::COMPRESSION) == Some(ARW)) else {
        return Ok(None);
    };
    if let Some(knees) = directory.uints(TONE_CURVE)
        && !has_twelve_bits(directory)
    {
        check_curve(&knees)?;
    }
    Ok(placed(directory, tiff.order, length))
}

fn check_curve(knees: &[u64]) -> Result<(), ReadError> {
    let used = |knees: &[u64]| -> Vec<u64> { knees.iter().map(|knee| knee & USED).collect() };
    if knees.len() >= KNEES.len() && used(&knees[..KNEES.len()]) == used(&KNEES) {
        return Ok(());
    }
    let listed = |knees: &[u64]| {
        let shown: Vec<String> = knees.iter().take(KNEES.len()).map(u64::to_string).collect();
        if shown.is_empty() { "nowhere".to_owned() } else { format!("at {}", shown.join(", ")) }
    };
    Err(ReadError::Unsupported {
        format: "a Sony raw file with such a tone curve".to_owned(),
        reason: format!(
            "it bends {}, that of every camera known here {}, so the file is damaged or of a camera \
             not known here",
            listed(knees),
            listed(&KNEES)
        ),
    })
}

/// An older variant that uses no curve.
fn has_twelve_bits(directory: &Directory<'_>) -> bool {
    let side = |tag: u16| directory.uint(tag).unwrap_or(0);
    let pixels = side(tag::IMAGE_WIDTH).checked_mul(side(tag::IMAGE_LENGTH));
    let bytes = directory.uints(tag::STRIP_BYTE_COUNTS).unwrap_or_default();
    let bytes = bytes.iter().try_fold(0_u64, |sum, count| sum.checked_add(*count));
    let twelve = |pixels: u64, bytes: u64| Some(pixels.checked_mul(12)? == bytes.checked_mul(8)?);
    pixels.zip(bytes).and_then(|(pixels, bytes)| twelve(pixels, bytes)).unwrap_or(false)
}

fn placed(directory: &Directory<'_>, order: Order, length: usize) -> Option<Blocks> {
    let side = |tag: u16| directory.usize(tag).filter(|&v| v > 0);
    let (width, height) = (side(tag::IMAGE_WIDTH)?, side(tag::IMAGE_LENGTH)?);
    let one = |tag: u16| match directory.uints(tag)?.as_slice() {
        [one] => usize::try_from(*one).ok(),
        _ => None,
    };
    let (first, bytes) = (one(tag::STRIP_OFFSETS)?, one(tag::STRIP_BYTE_COUNTS)?);
    let at = first..first.checked_add(bytes)?;
    let eight_bits = width.checked_mul(height) == Some(bytes);
    let fits = eight_bits && width.is_multiple_of(PAIR) && at.end <= length;
    (fits && order == Order::Little).then_some(())?;
    Some(Blocks { width, height, at, curve: Curve::of(directory)? })
}

/// Values to counts: a line whose slope doubles at each knee. A knee stands at twice a value.
#[derive(Clone, Copy, Debug)]
struct Curve {
    knees: [u16; 4],
}

impl Curve {
    fn of(directory: &Directory<'_>) -> Option<Self> {
        let knees = directory.uints(TONE_CURVE)?;
        let knees: [u64; 4] = knees.get(..4)?.try_into().ok()?;
        Some(Self { knees: knees.map(|knee| (knee as u16 >> 2) & 0xfff) })
    }
    /// Each knee adds as much slope as all before it together.
    fn count(&self, value: u16) -> u16 {
        let twice = 2 * value;
        let added = self.knees.iter().zip(0..).map(|(&knee, i)| twice.saturating_sub(knee) << i);
        twice + added.sum::<u16>()
    }
    /// The same of sixteen values.
    #[inline(always)]
    fn counts<S: Simd>(&self, simd: S, values: u16x16<S>) -> u16x16<S> {
        let twice = values + values;
        self.knees.iter().zip(0..).fold(twice, |counts, (&knee, i)| {
            counts + (twice.saturating_sub(u16x16::splat(simd, knee)) << i)
        })
    }
}

impl Blocks {
    /// The counts, decoded when they are asked for.
    pub fn counts(self, file: &FileBytes) -> Counts {
        Counts::coded(Arc::new(InFile { blocks: self, file: file.shared() }))
    }
    /// Adds the counts of pairs of blocks of some rows of the file, row by row.
    fn decode(&self, rows: Range<usize>, pairs: Range<usize>, file: &[u8], counts: &mut Vec<u16>) {
        let first = counts.len();
        counts.resize(first + rows.len() * pairs.len() * PAIR, 0);
        let lines = &file[self.at.clone()][rows.start * self.width..rows.end * self.width];
        let out = &mut counts[first..];
        dispatch!(Level::new(), simd => self.decode_rows(simd, lines, pairs, out));
    }
    #[inline(always)]
    fn decode_rows<S: Simd>(&self, simd: S, rows: &[u8], pairs: Range<usize>, counts: &mut [u16]) {
        let lines = counts.chunks_exact_mut((pairs.len() * PAIR).max(1));
        for (bytes, out) in rows.chunks_exact(self.width).zip(lines) {
            let blocks = &bytes.as_chunks::<PAIR>().0[pairs.clone()];
            let out = out.as_chunks_mut::<PAIR>().0;
            for ((i, pair), out) in pairs.clone().zip(blocks).zip(out) {
                let (even, odd) = (PAIR * i, PAIR * i + BLOCK);
                let ([first, second], []) = pair.as_chunks::<BLOCK>() else { continue };
                let next = |after: usize| bytes.get(after + BLOCK).copied();
                let (next_even, next_odd) = (next(even), next(odd));
                let (even, odd) = (Block::of(first), Block::of(second));
                let values = even.values(simd, next_even).interleave(odd.values(simd, next_odd));
                let ends = out.as_chunks_mut::<BLOCK>().0;
                for (out, values) in ends.iter_mut().zip([values.0, values.1]) {
                    self.curve.counts(simd, values).store_array(out);
                }
                out[2 * even.largest_at] = self.curve.count(even.largest);
                out[2 * odd.largest_at + 1] = self.curve.count(odd.largest);
            }
        }
    }
}

/// Blocks with the file that they are in.
#[derive(Debug)]
struct InFile {
    blocks: Blocks,
    file: Arc<dyn Mapped>,
}

impl Coded for InFile {
    fn size(&self) -> (usize, usize) {
        (self.blocks.width, self.blocks.height)
    }
    fn decode(&self, rows: Range<usize>, columns: Range<usize>, counts: &mut Vec<u16>) {
        let pairs = columns.start / PAIR..columns.end.div_ceil(PAIR);
        if columns == (pairs.start * PAIR..pairs.end * PAIR) {
            return self.blocks.decode(rows, pairs, &self.file, counts);
        }
        let left = columns.start - pairs.start * PAIR;
        let mut lines = Vec::new();
        self.blocks.decode(rows, pairs.clone(), &self.file, &mut lines);
        for line in lines.chunks_exact((pairs.len() * PAIR).max(1)) {
            counts.extend_from_slice(&line[left..left + columns.len()]);
        }
    }
}

/// What a block says, but for its differences.
struct Block<'a> {
    bytes: &'a [u8; BLOCK],
    largest: u16,
    smallest: u16,
    largest_at: usize,
    /// Where the largest and the smallest are, in four bits each.
    places: usize,
    /// A range of eight bits leaves out one, of eleven bits four.
    shift: u32,
}

impl<'a> Block<'a> {
    #[inline(always)]
    fn of(bytes: &'a [u8; BLOCK]) -> Self {
        let [a, b, c, d, ..] = *bytes;
        let header = u32::from_le_bytes([a, b, c, d]);
        let field = |at: u32, wide: u32| header >> at & ((1 << wide) - 1);
        let (largest, smallest) = (field(0, 11), field(11, 11));
        let range = largest.saturating_sub(smallest);
        Self {
            bytes,
            largest: largest as u16,
            smallest: smallest as u16,
            largest_at: field(22, 4) as usize,
            places: field(22, 8) as usize,
            shift: (32 - range.leading_zeros()).saturating_sub(BITS as u32),
        }
    }
    /// The values of all pixels but the largest. `next` is the byte behind the block.
    #[inline(always)]
    fn values<S: Simd>(&self, simd: S, next: Option<u8>) -> u16x16<S> {
        let taken = &TAKEN[self.places];
        let differences = if taken.is_usual {
            let bytes = u8x16::load_array_ref(simd, self.bytes);
            let taken_bytes = u8x32::load_array_ref(simd, &taken.bytes);
            let pairs: u16x16<S> =
                bytes.combine(bytes).swizzle_dyn_within_blocks(taken_bytes).bitcast();
            (pairs * u16x16::load_array_ref(simd, &taken.factors)) >> (16 - BITS as u32)
        } else {
            u16x16::load_array(simd, self.with_another(next.unwrap_or(0)))
        };
        let values = (differences << self.shift) + u16x16::splat(simd, self.smallest);
        values.min(u16x16::splat(simd, VALUES as u16 - 1))
    }
    /// Differences where the largest and the smallest are at one place, which no camera writes: as
    /// LibRaw reads it, the last one stands in the byte that follows.
    #[cold]
    fn with_another(&self, next: u8) -> [u16; BLOCK] {
        let bits = u128::from_le_bytes(*self.bytes);
        std::array::from_fn(|pixel| match pixel - usize::from(pixel > self.largest_at) {
            _ if pixel == self.largest_at => 0,
            DIFFERENCES => u16::from(next & 0x7f),
            before => (bits >> (HEADER + BITS * before)) as u16 & 0x7f,
        })
    }
}

/// Where in a block the difference of each pixel stands, by the places of the largest and the
/// smallest.
struct Taken {
    /// The two bytes that it is in.
    bytes: [u8; 2 * BLOCK],
    /// What moves its bits to the upper end of those; none for pixels without a difference.
    factors: [u16; BLOCK],
    /// The two have places of their own.
    is_usual: bool,
}

static TAKEN: [Taken; BLOCK * BLOCK] = {
    let mut all = [const { Taken { bytes: [0; 2 * BLOCK], factors: [0; BLOCK], is_usual: false } };
        BLOCK * BLOCK];
    let mut places = 0;
    while places < BLOCK * BLOCK {
        let ends = [places % BLOCK, places / BLOCK];
        let taken = &mut all[places];
        taken.is_usual = ends[0] != ends[1];
        let (mut pixel, mut bit) = (0, HEADER);
        while pixel < BLOCK {
            if pixel != ends[0] && pixel != ends[1] && taken.is_usual {
                taken.bytes[2 * pixel] = (bit / 8) as u8;
                // Of a difference in the last byte the other one is not used.
                taken.bytes[2 * pixel + 1] =
                    if bit / 8 + 1 < BLOCK { bit / 8 + 1 } else { 0 } as u8;
                taken.factors[pixel] = 1 << (16 - BITS - bit % 8);
                bit += BITS;
            }
            pixel += 1;
        }
        places += 1;
    }
    all
};

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use lightloss_test_files::small_dng::{SmallTiff, Value};
    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    const WIDTH: usize = 64;
    const HEIGHT: usize = 6;

    /// What a block says, bit by bit from the least significant, as the format is described by
    /// LibRaw: largest, smallest, their places, then the other pixels in order.
    fn block(random: &mut ChaCha8Rng) -> ([u8; BLOCK], [usize; BLOCK]) {
        let smallest = random.random_range(0..VALUES);
        let largest = random.random_range(smallest..VALUES);
        let largest_at = random.random_range(0..BLOCK);
        let smallest_at = (largest_at + random.random_range(1..BLOCK)) % BLOCK;
        let steps = [128, 256, 512, 1024].iter().filter(|&&step| largest - smallest >= step);
        let shift = steps.count();
        let mut text = String::new();
        let mut put = |value: usize, wide: usize| {
            (0..wide).for_each(|bit| text.push(if value >> bit & 1 == 1 { '1' } else { '0' }));
        };
        put(largest, 11);
        put(smallest, 11);
        put(largest_at, 4);
        put(smallest_at, 4);
        let values = std::array::from_fn(|place| match place {
            _ if place == largest_at => largest,
            _ if place == smallest_at => smallest,
            _ => {
                let difference = random.random_range(0..128);
                put(difference, 7);
                (smallest + (difference << shift)).min(2047)
            }
        });
        let bytes = text.as_bytes().chunks(8);
        let byte =
            |bits: &[u8]| bits.iter().enumerate().map(|(i, &bit)| (bit - b'0') << i).sum::<u8>();
        let bytes: Vec<u8> = bytes.map(byte).collect();
        (bytes.try_into().unwrap(), values)
    }

    fn file(data: &[u8], knees: [u16; 4], length: u32) -> Vec<u8> {
        let mut tiff = SmallTiff::new(false);
        let at = tiff.part(data, 0);
        tiff.put(256, Value::Long(vec![WIDTH as u32]));
        tiff.put(257, Value::Long(vec![HEIGHT as u32]));
        tiff.put(259, Value::Short(vec![32_767]));
        tiff.put(273, Value::Long(vec![at]));
        tiff.put(279, Value::Long(vec![length]));
        tiff.put(TONE_CURVE, Value::Short(knees.to_vec()));
        tiff.finish()
    }

    /// The knees that cameras write (from memory): slopes of 1, 2, 4, 8 and 16 counts from 0, 2000,
    /// 2600, 3225 and 3525 on.
    const KNEES: [u16; 4] = [8000, 10_400, 12_900, 14_100];

    #[test]
    fn every_pixel_is_what_its_block_says() {
        let mut random = ChaCha8Rng::seed_from_u64(41);
        let (mut data, mut values) = (Vec::new(), vec![0; WIDTH * HEIGHT]);
        for pair in 0..WIDTH * HEIGHT / (2 * BLOCK) {
            for odd in 0..2 {
                let (bytes, planted) = block(&mut random);
                data.extend(bytes);
                for (i, value) in planted.into_iter().enumerate() {
                    values[2 * BLOCK * pair + 2 * i + odd] = value;
                }
            }
        }
        let file = file(&data, KNEES, data.len() as u32);
        let tiff = Tiff::parse(&file).unwrap().unwrap();
        let blocks = blocks(&tiff, file.len()).unwrap().unwrap();
        let counts = blocks.counts(&Arc::new(file.clone()).into());
        // In closed form: what each stretch of the curve adds up to the value.
        let count = |value: usize| {
            let ends = [0, 2000, 2600, 3225, 3525, 4095];
            let along = |i: usize| (2 * value).clamp(ends[i], ends[i + 1]) - ends[i];
            (0..5).map(|i| along(i) << i).sum::<usize>() as u16
        };
        for (i, (&is, &value)) in counts.iter().zip(&values).enumerate() {
            assert_eq!(is, count(value), "pixel {i}");
        }
    }

    #[test]
    fn parts_are_those_of_the_whole() {
        let mut random = ChaCha8Rng::seed_from_u64(42);
        let blocks = WIDTH * HEIGHT / BLOCK;
        let data: Vec<u8> = (0..blocks).flat_map(|_| block(&mut random).0).collect();
        let file = file(&data, KNEES, data.len() as u32);
        let tiff = Tiff::parse(&file).unwrap().unwrap();
        let counts = super::blocks(&tiff, file.len()).unwrap().unwrap();
        let counts = counts.counts(&Arc::new(file.clone()).into());
        let whole = Counts::from(counts.to_vec());
        assert_eq!((counts.is_coded(), counts.len()), (true, WIDTH * HEIGHT));
        for (rows, columns) in
            [(0..HEIGHT, 0..WIDTH), (1..4, 32..64), (2..3, 3..5), (0..6, 31..33), (5..6, 33..64)]
        {
            let (mut part, mut of_whole) = (Vec::new(), Vec::new());
            counts.part(WIDTH, rows.clone(), columns.clone(), &mut part);
            whole.part(WIDTH, rows, columns, &mut of_whole);
            assert_eq!(part, of_whole);
        }
    }

    /// No camera writes both at one place; LibRaw takes the last difference from the byte that follows.
    #[test]
    fn largest_and_smallest_at_one_place_leave_fifteen_differences() {
        for at in 0..BLOCK {
            let mut bits = 100_u128 | 40 << 11 | (at as u128) << 22 | (at as u128) << 26;
            for k in 0..DIFFERENCES {
                bits |= (k as u128 + 1) << (HEADER + BITS * k);
            }
            let mut data = vec![0; WIDTH * HEIGHT];
            data[..BLOCK].copy_from_slice(&bits.to_le_bytes());
            // The next block begins with a largest value of 50 in the lowest seven bits.
            data[BLOCK] = 50 | 1 << 7;
            let file = file(&data, KNEES, data.len() as u32);
            let tiff = Tiff::parse(&file).unwrap().unwrap();
            let blocks = blocks(&tiff, file.len()).unwrap().unwrap();
            let counts = blocks.counts(&Arc::new(file.clone()).into());
            // Below 1000 the curve's slope is two counts a value.
            let mut expected: Vec<u16> = (1..=14).chain([50]).map(|d| 2 * (40 + d)).collect();
            expected.insert(at, 200);
            let found: Vec<u16> = (0..BLOCK).map(|i| counts[2 * i]).collect();
            assert_eq!(found, expected, "{at}");
        }
    }

    #[test]
    fn another_size_than_eight_bits_a_pixel_is_left_to_others() {
        let data = vec![0; WIDTH * HEIGHT];
        for (length, found) in [(WIDTH * HEIGHT, true), (WIDTH * HEIGHT * 3 / 4, false)] {
            let file = file(&data, KNEES, length as u32);
            let tiff = Tiff::parse(&file).unwrap().unwrap();
            assert_eq!(blocks(&tiff, file.len()).unwrap().is_some(), found, "{length}");
            assert!(blocks(&tiff, data.len() - 1).unwrap().is_none(), "beyond the end of the file");
        }
    }

    #[test]
    fn a_curve_of_no_camera_is_refused_however_near() {
        let data = vec![0; WIDTH * HEIGHT];
        for knee in 0..KNEES.len() {
            let own = KNEES[knee];
            let bits = (2..14).map(|bit| own ^ 1 << bit);
            let near = [own - 4, own + 4, own - 40, own + 40, own - 400, own + 400];
            let others = [0, 1, 2, own / 2, own.wrapping_mul(2), u16::MAX];
            for other in bits.chain(near).chain(others) {
                let mut knees = KNEES;
                knees[knee] = other;
                let file = file(&data, knees, data.len() as u32);
                let tiff = Tiff::parse(&file).unwrap().unwrap();
                let said = blocks(&tiff, file.len()).err().unwrap().to_string();
                assert!(said.contains(&format!(" {other},")), "{knees:?}: {said}");
                assert!(said.contains("at 8000, 10400, 12900, 14100"), "{said}");
            }
            // Bits that no curve uses change nothing.
            let mut knees = KNEES;
            knees[knee] |= 3;
            let file = file(&data, knees, data.len() as u32);
            let tiff = Tiff::parse(&file).unwrap().unwrap();
            assert!(blocks(&tiff, file.len()).unwrap().is_some(), "{knees:?}");
        }
    }

    /// What others decode has the same curve, but for the variant of twelve bits, which has none.
    #[test]
    fn a_curve_is_checked_whoever_decodes_it() {
        let (bent, pixels) = ([7488, 10_400, 12_900, 14_100], WIDTH * HEIGHT);
        for (length, refused) in
            [(pixels - 1, true), (pixels * 3 / 4, true), (pixels * 3 / 2, false)]
        {
            let data = vec![0; length];
            let checked = |knees: [u16; 4]| {
                let file = file(&data, knees, length as u32);
                let tiff = Tiff::parse(&file).unwrap().unwrap();
                blocks(&tiff, file.len()).map(|found| found.is_some())
            };
            assert_eq!(checked(KNEES).ok(), Some(false), "{length}");
            assert_eq!(checked(bent).is_err(), refused, "{length}");
        }
    }
}
