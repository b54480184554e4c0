//! Seeded damage to whole files.

use super::anatomy::{Anatomy, mend_png};
use rand::Rng;
use rand::seq::IndexedRandom;
use rand_chacha::ChaCha8Rng;
use std::fmt;

/// What was done to a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Damage {
    CutAtBoundary,
    Cut,
    Bits,
    AbsurdNumbers,
    SwappedTags,
    Loop,
    Spliced,
    ZeroFill,
    Several,
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::CutAtBoundary => "cut at a boundary",
            Self::Cut => "cut anywhere",
            Self::Bits => "bits flipped",
            Self::AbsurdNumbers => "absurd numbers",
            Self::SwappedTags => "tags swapped",
            Self::Loop => "directories in loops",
            Self::Spliced => "parts spliced",
            Self::ZeroFill => "filled with zeros",
            Self::Several => "several of these",
        })
    }
}

pub struct Mutated {
    pub bytes: Vec<u8>,
    pub damage: Damage,
    /// Pixels are missing: whatever the program says of it, it may not be "read".
    pub lacks_pixels: bool,
}

/// A whole file with a memory of the boundaries at which it was cut already.
pub struct Patient<'s> {
    pub file: &'s [u8],
    anatomy: Anatomy,
    next_boundary: usize,
    raised_black: bool,
}

impl<'s> Patient<'s> {
    pub fn new(file: &'s [u8], raised_black: bool) -> Self {
        Self { file, anatomy: Anatomy::of(file), next_boundary: 0, raised_black }
    }

    /// The next boundary's cuts first, then chance.
    pub fn mutated(&mut self, random: &mut ChaCha8Rng, others: &[u8]) -> Mutated {
        match random.random_range(0..10) {
            0 | 1 => self.cut_at_boundary(random),
            2 => self.cut(Damage::Cut, random_place(self.file, random)),
            3 => self.zero_fill(random),
            4 => {
                let mut bytes = self.file.to_vec();
                for _ in 0..random.random_range(2..5) {
                    self.once(&mut bytes, random.random_range(0..5), random, others);
                    if bytes.is_empty() {
                        break;
                    }
                }
                Mutated { bytes, damage: Damage::Several, lacks_pixels: false }
            }
            other => {
                let mut bytes = self.file.to_vec();
                let damage = self.once(&mut bytes, other - 5, random, others);
                Mutated { bytes, damage, lacks_pixels: false }
            }
        }
    }

    fn cut(&self, damage: Damage, at: usize) -> Mutated {
        let at = at.min(self.file.len() - 1);
        let bytes = self.file[..at].to_vec();
        Mutated { bytes, damage, lacks_pixels: at < self.anatomy.pixels_end }
    }

    /// At each boundary, one before and one behind it.
    fn cut_at_boundary(&mut self, random: &mut ChaCha8Rng) -> Mutated {
        let (i, boundaries) = (self.next_boundary, &self.anatomy.boundaries);
        self.next_boundary += 1;
        match boundaries.get(i / 3) {
            Some(&at) => self.cut(Damage::CutAtBoundary, at + i % 3 - 1),
            None => self.cut(Damage::Cut, random_place(self.file, random)),
        }
    }

    /// A copy that stopped, its length kept: zeros from some place on.
    fn zero_fill(&self, random: &mut ChaCha8Rng) -> Mutated {
        let at = random_place(self.file, random);
        let mut bytes = self.file.to_vec();
        let to_end = random.random_bool(0.7);
        let end = if to_end { bytes.len() } else { (at + 4096).min(bytes.len()) };
        bytes[at..end].fill(0);
        // At least the last two rows of a frame that has none of zeros.
        let rows = to_end && at + 2048 < self.anatomy.pixels_end;
        let lacks_pixels = self.raised_black && rows;
        Mutated { bytes, damage: Damage::ZeroFill, lacks_pixels }
    }

    fn once(
        &self,
        bytes: &mut Vec<u8>,
        what: usize,
        random: &mut ChaCha8Rng,
        others: &[u8],
    ) -> Damage {
        match what {
            0 => {
                for _ in 0..random.random_range(1..20) {
                    // Headers are worth more than pixels.
                    let near = random.random_bool(0.5);
                    let at = match self.anatomy.numbers.choose(random) {
                        Some(&(at, _)) if near && at < bytes.len() => at,
                        _ => random_place(bytes, random),
                    };
                    bytes[at] ^= 1 << random.random_range(0..8);
                }
                Damage::Bits
            }
            1 => self.absurd(bytes, random),
            2 => self.swap(bytes, random),
            3 => self.looped(bytes, random),
            _ => splice(bytes, random, others),
        }
    }

    fn absurd(&self, bytes: &mut [u8], random: &mut ChaCha8Rng) -> Damage {
        const VALUES: [u32; 16] = [
            0,
            1,
            2,
            3,
            7,
            255,
            256,
            0x7fff,
            0xffff,
            0x1_0000,
            65_500,
            7_600,
            0x7fff_ffff,
            0x8000_0000,
            0xffff_fff0,
            0xffff_ffff,
        ];
        for _ in 0..random.random_range(1..4) {
            let Some(&(at, length)) = self.anatomy.numbers.choose(random) else { break };
            let value = match random.random_range(0..4) {
                0 => random.random(),
                1 => bytes.len() as u32 - random.random_range(0..64.min(bytes.len() as u32)),
                _ => *VALUES.choose(random).unwrap(),
            };
            self.put(bytes, at, length, value);
        }
        if bytes.starts_with(b"\x89PNG") && random.random_bool(0.8) {
            mend_png(bytes);
        }
        Damage::AbsurdNumbers
    }

    fn put(&self, bytes: &mut [u8], at: usize, length: usize, value: u32) {
        let all = if self.anatomy.big { value.to_be_bytes() } else { value.to_le_bytes() };
        let length = length.min(4);
        let part = if self.anatomy.big { &all[4 - length..] } else { &all[..length] };
        if let Some(place) = bytes.get_mut(at..at + length) {
            place.copy_from_slice(part);
        }
    }

    /// Two entries change places, or only their tags or their values; without entries two pieces
    /// of the file do.
    fn swap(&self, bytes: &mut [u8], random: &mut ChaCha8Rng) -> Damage {
        let (length, places) = (self.anatomy.entry, &self.anatomy.entries);
        let (Some(&a), Some(&b)) = (places.choose(random), places.choose(random)) else {
            let (a, b) = (random_place(bytes, random), random_place(bytes, random));
            let length = random.random_range(1..64).min(bytes.len() - a.max(b));
            (0..length).for_each(|i| bytes.swap(a + i, b + i));
            return Damage::SwappedTags;
        };
        let part = [(0, 2), (2, length), (length - 4, length), (0, length)];
        let &(from, to) = part.choose(random).unwrap();
        if a.max(b) + length <= bytes.len() {
            (from..to).for_each(|i| bytes.swap(a + i, b + i));
        }
        Damage::SwappedTags
    }

    fn looped(&self, bytes: &mut [u8], random: &mut ChaCha8Rng) -> Damage {
        let (links, directories) = (&self.anatomy.links, &self.anatomy.directories);
        if let (Some(&link), Some(&to)) = (links.choose(random), directories.choose(random)) {
            // A few bytes beside it, too: endless directories of what is no directory.
            let to = to as u32 + [0, 0, 2, 12].choose(random).unwrap();
            self.put(bytes, link, 4, to);
        } else if let Some(&(at, length)) = self.anatomy.numbers.choose(random) {
            self.put(bytes, at, length, 0);
        }
        Damage::Loop
    }
}

fn random_place(bytes: &[u8], random: &mut ChaCha8Rng) -> usize {
    // Half of them in the first part, where the structure is.
    let end = if random.random_bool(0.5) { bytes.len().min(1024) } else { bytes.len() };
    random.random_range(0..end.max(1))
}

/// A part taken out, said twice, or replaced by a part of another file.
fn splice(bytes: &mut Vec<u8>, random: &mut ChaCha8Rng, others: &[u8]) -> Damage {
    let at = random_place(bytes, random);
    let end = (at + random.random_range(1..600)).min(bytes.len());
    match random.random_range(0..3) {
        0 => drop(bytes.drain(at..end)),
        1 => {
            let part = bytes[at..end].to_vec();
            bytes.splice(at..at, part);
        }
        _ => {
            let from = random.random_range(0..others.len());
            let to = (from + random.random_range(1..600)).min(others.len());
            bytes.splice(at..end, others[from..to].iter().copied());
        }
    }
    Damage::Spliced
}

/// Damage to a text: to its bytes, as for any file.
pub fn text_damage(text: &[u8], random: &mut ChaCha8Rng, others: &[u8]) -> Mutated {
    let mut bytes = text.to_vec();
    let damage = match random.random_range(0..5) {
        0 => {
            bytes.truncate(random.random_range(0..text.len()));
            Damage::Cut
        }
        1 => {
            for _ in 0..random.random_range(1..6) {
                let at = random.random_range(0..bytes.len());
                bytes[at] ^= 1 << random.random_range(0..8);
            }
            Damage::Bits
        }
        2 => {
            let at = random.random_range(0..bytes.len());
            let end = (at + random.random_range(1..200)).min(bytes.len());
            bytes[at..end].fill(0);
            Damage::ZeroFill
        }
        3 => splice(&mut bytes, random, others),
        _ => {
            const WORDS: [&[u8]; 12] = [
                b"NaN",
                b"1e999",
                b"-1e308",
                b"99999999999999999999",
                b"\xff\xfe",
                b"\xef\xbb\xbf",
                b"\"",
                b"{",
                b"]",
                b"\0",
                b",",
                b"\n",
            ];
            let at = random.random_range(0..bytes.len());
            bytes.splice(at..at, WORDS.choose(random).unwrap().iter().copied());
            Damage::Spliced
        }
    };
    Mutated { bytes, damage, lacks_pixels: false }
}
