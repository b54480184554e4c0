//! Damage to the bytes of a file's pixels, as cards, copies and rescued files have it.

use super::shoots::Shoot;
use lightloss::tiff::{Tiff, tag};
use rand::Rng;
use rand::seq::{IndexedRandom, SliceRandom};
use rand_chacha::ChaCha8Rng;
use std::ops::Range;
use std::path::Path;

/// Frames of a shoot that are damaged, at most.
const MOST: usize = 6;
/// Cards and disks keep files in clusters of such sizes, bytes.
const CLUSTERS: [usize; 5] = [4 << 10, 16 << 10, 32 << 10, 64 << 10, 256 << 10];

pub struct Wound {
    pub file: String,
    pub what: &'static str,
}

/// Damages one to six frames.
pub fn inflict(folder: &Path, shoot: &Shoot, random: &mut ChaCha8Rng) -> Vec<Wound> {
    let mut files: Vec<String> = shoot.taken.iter().map(|t| t.shot.file.clone()).collect();
    let others: Vec<Vec<u8>> =
        files.iter().map(|file| std::fs::read(folder.join(file)).unwrap()).collect();
    files.shuffle(random);
    files.truncate(random.random_range(1..=MOST));
    // A card that fails does so in one way more often than not.
    let usual = random.random_bool(0.6).then(|| *KINDS.choose(random).unwrap());
    files
        .into_iter()
        .map(|file| {
            let mut bytes = std::fs::read(folder.join(&file)).unwrap();
            let kind = usual.unwrap_or_else(|| *KINDS.choose(random).unwrap());
            let pixels = pixels(&bytes);
            kind.damage(&mut bytes, pixels, &others, random);
            std::fs::write(folder.join(&file), bytes).unwrap();
            Wound { file, what: kind.name() }
        })
        .collect()
}

/// Where the pixels of the largest picture lie.
fn pixels(bytes: &[u8]) -> Range<usize> {
    let tiff = Tiff::parse(bytes).unwrap().unwrap();
    let parts = |directory: &lightloss::tiff::Directory<'_>| {
        let tags = if directory.has(tag::TILE_OFFSETS) {
            (tag::TILE_OFFSETS, tag::TILE_BYTE_COUNTS)
        } else {
            (tag::STRIP_OFFSETS, tag::STRIP_BYTE_COUNTS)
        };
        let (at, count) = (directory.uints(tags.0)?, directory.uints(tags.1)?);
        let first = *at.iter().min()? as usize;
        let end = at.iter().zip(&count).map(|(a, c)| a + c).max()? as usize;
        Some(first..end)
    };
    tiff.images().filter_map(parts).max_by_key(ExactSizeIterator::len).unwrap()
}

#[derive(Clone, Copy)]
enum Kind {
    ErasedTail,
    ZeroTail,
    ConstantTail,
    Hole,
    OtherFrame,
    OtherPlace,
    Noise,
    Text,
    BytesLost,
    BytesMore,
    AboveWhite,
}

const KINDS: [Kind; 11] = [
    Kind::ErasedTail,
    Kind::ZeroTail,
    Kind::ConstantTail,
    Kind::Hole,
    Kind::OtherFrame,
    Kind::OtherPlace,
    Kind::Noise,
    Kind::Text,
    Kind::BytesLost,
    Kind::BytesMore,
    Kind::AboveWhite,
];

impl Kind {
    fn name(self) -> &'static str {
        match self {
            Self::ErasedTail => "tail of 0xFF",
            Self::ZeroTail => "tail of zeros",
            Self::ConstantTail => "tail of one byte",
            Self::Hole => "hole of one byte",
            Self::OtherFrame => "clusters of another frame",
            Self::OtherPlace => "clusters of another place",
            Self::Noise => "clusters of noise",
            Self::Text => "clusters of text",
            Self::BytesLost => "bytes lost",
            Self::BytesMore => "bytes put in",
            Self::AboveWhite => "counts above white",
        }
    }
    fn damage(
        self,
        bytes: &mut [u8],
        pixels: Range<usize>,
        others: &[Vec<u8>],
        random: &mut ChaCha8Rng,
    ) {
        let length = pixels.len();
        let tail = pixels.start + (length as f64 * random.random_range(0.2..0.97)) as usize;
        match self {
            Self::ErasedTail => bytes[tail..pixels.end].fill(0xff),
            Self::ZeroTail => bytes[tail..pixels.end].fill(0),
            Self::ConstantTail => bytes[tail..pixels.end].fill(random.random()),
            Self::BytesLost => {
                let lost = random.random_range(1..6000).min(pixels.end - tail);
                bytes.copy_within(tail + lost..pixels.end, tail);
            }
            Self::BytesMore => {
                let more = random.random_range(1..6000).min(pixels.end - tail);
                bytes.copy_within(tail..pixels.end - more, tail + more);
            }
            _ => {
                let cluster = *CLUSTERS.choose(random).unwrap();
                for _ in 0..random.random_range(1..6) {
                    // Clusters are counted from the file's first byte.
                    let first = random.random_range(pixels.start..pixels.end) / cluster * cluster;
                    let place = first.max(pixels.start)..(first + cluster).min(pixels.end);
                    self.fill(&mut bytes[place.clone()], place.start, others, random);
                }
            }
        }
    }
    fn fill(self, part: &mut [u8], at: usize, others: &[Vec<u8>], random: &mut ChaCha8Rng) {
        let other = others.choose(random).unwrap();
        match self {
            Self::OtherFrame => copy(part, &other[at.min(other.len())..]),
            Self::OtherPlace => copy(part, &other[random.random_range(0..other.len())..]),
            Self::Noise => random.fill(part),
            Self::Text => {
                for (i, byte) in part.iter_mut().enumerate() {
                    *byte = b"weir; harbour; dusk; tide 0412\n"[i % 31];
                }
            }
            Self::AboveWhite => {
                for pair in part.as_chunks_mut::<2>().0 {
                    *pair = random.random_range(16_200..=u16::MAX).to_le_bytes();
                }
            }
            _ => part.fill(*[0, 0xff, random.random()].choose(random).unwrap()),
        }
    }
}

fn copy(part: &mut [u8], from: &[u8]) {
    let length = part.len().min(from.len());
    part[..length].copy_from_slice(&from[..length]);
}
