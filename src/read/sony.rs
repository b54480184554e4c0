//! Sony's lossy raw compression of eight bits a pixel (ARW 2), as LibRaw reads it: sixteen pixels
//! of one colour in sixteen bytes, two such blocks interleaved.
//!
//! The decoder crates spread the values at random within the steps of the tone curve, which costs
//! more than the decoding and lowers them by up to three quarters of a count; here they stay as
//! the curve has them.

use super::error::ReadError;
use super::spare;
use crate::tiff::{Directory, Order, Tiff, tag};
use fearless_simd::prelude::*;
use fearless_simd::{Level, dispatch, u16x16, u64x4};
use std::ops::Range;

/// Compression of ARW files.
const ARW: u64 = 32_767;
/// SonyToneCurve: where the slope of the curve doubles, four times.
const TONE_CURVE: u16 = 0x7010;
/// Pixels, and bytes, of a block.
const BLOCK: usize = 16;
/// Values that a block can hold: 11 bits.
const VALUES: usize = 1 << 11;
/// A header of 30 bits is followed by differences of so many bits.
const HEADER: usize = 30;
const BITS: usize = 7;
/// Differences of a block: all pixels but the largest and the smallest.
const DIFFERENCES: usize = BLOCK - 2;

/// A picture of such blocks.
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
    let fits = eight_bits && width.is_multiple_of(2 * BLOCK) && at.end <= length;
    (fits && order == Order::Little).then_some(())?;
    Some(Blocks { width, height, at, curve: Curve::of(directory)? })
}

/// Values to counts: a line whose slope doubles at each knee. A knee stands at twice a value.
#[derive(Clone, Copy)]
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
    /// All counts, row by row.
    pub fn decode(&self, file: &[u8]) -> Vec<u16> {
        let mut counts = spare::take(self.width * self.height);
        let rows = &file[self.at.clone()];
        dispatch!(Level::new(), simd => self.decode_rows(simd, rows, &mut counts));
        counts
    }
    #[inline(always)]
    fn decode_rows<S: Simd>(&self, simd: S, rows: &[u8], counts: &mut [u16]) {
        for (bytes, out) in rows.chunks_exact(self.width).zip(counts.chunks_exact_mut(self.width)) {
            let pairs = bytes.as_chunks::<{ 2 * BLOCK }>().0;
            let out = out.as_chunks_mut::<{ 2 * BLOCK }>().0;
            for (i, (pair, out)) in pairs.iter().zip(out).enumerate() {
                let (even, odd) = (2 * BLOCK * i, 2 * BLOCK * i + BLOCK);
                let ([first, second], []) = pair.as_chunks::<BLOCK>() else { continue };
                let next = |after: usize| bytes.get(after + BLOCK).copied();
                let even = Block::of(u128::from_le_bytes(*first), next(even));
                let odd = Block::of(u128::from_le_bytes(*second), next(odd));
                let values = even.values(simd).interleave(odd.values(simd));
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

/// What a block says.
struct Block {
    largest: u16,
    smallest: u16,
    largest_at: usize,
    /// A range of eight bits leaves out one, of eleven bits four.
    shift: u32,
    /// Differences from the smallest, each at the place of its pixel; none where the largest stands.
    differences: u128,
}

impl Block {
    /// `next` is the byte behind the block.
    #[inline(always)]
    fn of(bits: u128, next: Option<u8>) -> Self {
        let header = bits as u32;
        let field = |at: u32, wide: u32| header >> at & ((1 << wide) - 1);
        let (largest, smallest) = (field(0, 11), field(11, 11));
        let (largest_at, smallest_at) = (field(22, 4) as usize, field(26, 4) as usize);
        let range = largest.saturating_sub(smallest);
        let shift = (32 - range.leading_zeros()).saturating_sub(BITS as u32);
        let mut differences = bits >> HEADER;
        if largest_at == smallest_at {
            differences = with_another(differences, largest_at, next.unwrap_or(0));
        } else {
            differences = opened(differences, largest_at.min(smallest_at));
            differences = opened(differences, largest_at.max(smallest_at));
        }
        Self { largest: largest as u16, smallest: smallest as u16, largest_at, shift, differences }
    }
    /// The values of all pixels but the largest.
    #[inline(always)]
    fn values<S: Simd>(&self, simd: S) -> u16x16<S> {
        let at = |place: usize| spread((self.differences >> (BITS * place)) as u64);
        let differences: u16x16<S> =
            u64x4::load_array(simd, [at(0), at(4), at(8), at(12)]).bitcast();
        let values = (differences << self.shift) + u16x16::splat(simd, self.smallest);
        values.min(u16x16::splat(simd, VALUES as u16 - 1))
    }
}

/// The lowest four differences, each in sixteen bits.
#[inline(always)]
fn spread(differences: u64) -> u64 {
    let all = differences & 0x0fff_ffff;
    let pairs = (all | all << 18) & 0x3fff_0000_3fff;
    (pairs | pairs << 9) & 0x007f_007f_007f_007f
}

/// Differences one after the other, with room for one more at a place.
#[inline(always)]
fn opened(differences: u128, at: usize) -> u128 {
    let before = differences & BEFORE[at];
    before | (differences ^ before) << BITS
}

/// Differences up to a place.
static BEFORE: [u128; BLOCK] = {
    let mut masks = [0; BLOCK];
    let mut at = 0;
    while at < BLOCK {
        masks[at] = (1 << (BITS * at)) - 1;
        at += 1;
    }
    masks
};

/// The largest and the smallest at one place, which no camera writes: as LibRaw reads it, the last
/// difference stands in the byte that follows.
#[cold]
fn with_another(differences: u128, at: usize, next: u8) -> u128 {
    let last = u128::from(next & 0x7f) << (BITS * DIFFERENCES);
    let all = differences & ((1 << (BITS * DIFFERENCES)) - 1) | last;
    opened(all, at)
}

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
        let counts = blocks(&tiff, file.len()).unwrap().unwrap().decode(&file);
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
            let counts = blocks(&tiff, file.len()).unwrap().unwrap().decode(&file);
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
