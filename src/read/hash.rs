//! SHA-256 of files, taken piece by piece beside other work, and of two files in turns.
//!
//! Each step of the hash waits for the one before it, so that a processor with units for it stands
//! idle half of the time; another file's steps fill that.

#[cfg(target_arch = "x86_64")]
mod both;

#[cfg(target_arch = "x86_64")]
use fearless_simd::Level;
use sha2::block_api::compress256;
use std::fs::File;
use std::io::{self, Read};
use std::ops::Range;
use std::path::Path;
use std::slice::from_ref;

/// Bytes that the hash takes at a time.
pub(super) const BLOCK: usize = 64;
type Chunk = [u8; BLOCK];
/// Blocks of two files that are taken in turns, at least: fewer are not worth it.
const AT_ONCE: usize = 64;

/// FIPS 180-4, section 5.3.3.
const START: [u32; 8] = [
    0x6a09_e667,
    0xbb67_ae85,
    0x3c6e_f372,
    0xa54f_f53a,
    0x510e_527f,
    0x9b05_688c,
    0x1f83_d9ab,
    0x5be0_cd19,
];

/// What has been hashed so far, in whole blocks.
struct State {
    words: [u32; 8],
    blocks: u64,
}

impl State {
    const NEW: Self = Self { words: START, blocks: 0 };

    #[inline(always)]
    fn add(&mut self, blocks: &[Chunk]) {
        compress256(&mut self.words, blocks);
        self.blocks += blocks.len() as u64;
    }
    /// With less than a block that follows, filled up as section 5.1.1 of the standard says; as
    /// `sha256sum` writes it.
    fn finish(mut self, rest: &[u8]) -> String {
        let bits = 8 * (self.blocks * BLOCK as u64 + rest.len() as u64);
        let mut last = [0; 2 * BLOCK];
        last[..rest.len()].copy_from_slice(rest);
        last[rest.len()] = 0x80;
        // The length takes the last eight bytes.
        let end = if rest.len() + 9 <= BLOCK { BLOCK } else { 2 * BLOCK };
        last[end - 8..end].copy_from_slice(&bits.to_be_bytes());
        self.add(last[..end].as_chunks().0);
        self.words.iter().map(|word| format!("{word:08x}")).collect()
    }
}

/// As many blocks of two files.
#[inline(always)]
fn add_both(own: &mut State, other: &mut State, blocks: &[Chunk], others: &[Chunk]) {
    #[cfg(target_arch = "x86_64")]
    if let Some(avx512) = Level::new().as_avx512() {
        both::add_both(avx512, [&mut own.words, &mut other.words], [blocks, others]);
        own.blocks += blocks.len() as u64;
        other.blocks += others.len() as u64;
        return;
    }
    in_turns(own, other, blocks, others);
}

/// The same by one block of each after the other.
#[inline(always)]
fn in_turns(own: &mut State, other: &mut State, blocks: &[Chunk], others: &[Chunk]) {
    for (block, another) in blocks.iter().zip(others) {
        own.add(from_ref(block));
        other.add(from_ref(another));
    }
}

/// The hash of bytes that are at hand.
pub(super) struct Hash<'a> {
    bytes: &'a [u8],
    state: State,
}

impl<'a> Hash<'a> {
    /// Nothing is hashed yet.
    pub(super) fn of(bytes: &'a [u8]) -> Self {
        Self { bytes, state: State::NEW }
    }
    /// The blocks from the first that is not hashed up to some byte.
    #[inline(always)]
    fn ahead(&self, byte: usize) -> &'a [Chunk] {
        let done = self.state.blocks as usize;
        let blocks = self.bytes.as_chunks().0;
        &blocks[done..(byte / BLOCK).clamp(done, blocks.len())]
    }
    /// Hashes whole blocks up to some byte, as far as there are any.
    #[inline(always)]
    pub(super) fn up_to(&mut self, byte: usize) {
        let blocks = self.ahead(byte);
        if !blocks.is_empty() {
            self.state.add(blocks);
        }
    }
    /// The same, a little at a time, and in turns with it as many blocks of another file.
    #[inline(always)]
    pub(super) fn up_to_in_turns(&mut self, byte: usize, other: &mut Beside<'_>) {
        let blocks = self.ahead(byte);
        if blocks.len() < AT_ONCE {
            return;
        }
        let others = match &mut other.left {
            Left::Bytes(bytes) => {
                let all = bytes.as_chunks::<BLOCK>().0;
                let (next, _) = all.split_at(blocks.len().min(all.len()));
                *bytes = &bytes[next.len() * BLOCK..];
                next
            }
            Left::Pieces(pieces) => pieces.next(blocks.len()),
        };
        add_both(&mut self.state, &mut other.state, &blocks[..others.len()], others);
        let alone = &blocks[others.len()..];
        if !alone.is_empty() {
            self.state.add(alone);
        }
    }
    /// The hash of all bytes, as `sha256sum` writes it.
    pub(super) fn finish(mut self) -> String {
        self.up_to(self.bytes.len());
        self.state.finish(self.bytes.as_chunks::<BLOCK>().1)
    }
}

/// The hash of a file that is taken beside another's.
pub(super) struct Beside<'a> {
    left: Left<'a>,
    state: State,
}

enum Left<'a> {
    /// What is not hashed yet.
    Bytes(&'a [u8]),
    Pieces(Pieces),
}

impl<'a> Beside<'a> {
    /// Of bytes that are at hand.
    pub(super) fn of(bytes: &'a [u8]) -> Self {
        Self { left: Left::Bytes(bytes), state: State::NEW }
    }
    /// Of a file that is read a piece at a time; nothing is read yet.
    pub(super) fn open(path: &Path) -> io::Result<Self> {
        Ok(Self { left: Left::Pieces(Pieces::of(File::open(path)?)), state: State::NEW })
    }
    /// Takes what is left, and gives the hash of the whole file.
    ///
    /// # Errors
    /// Where any of it could not be read.
    pub(super) fn finish(mut self) -> io::Result<String> {
        let mut pieces = match self.left {
            Left::Bytes(bytes) => {
                let (blocks, rest) = bytes.as_chunks();
                self.state.add(blocks);
                return Ok(self.state.finish(rest));
            }
            Left::Pieces(pieces) => pieces,
        };
        loop {
            let blocks = pieces.next(usize::MAX);
            if blocks.is_empty() {
                break;
            }
            self.state.add(blocks);
        }
        let Pieces { blocks, rest, failed, .. } = pieces;
        match failed {
            Some(error) => Err(error),
            None => Ok(self.state.finish(&blocks.as_flattened()[rest])),
        }
    }
}

/// A file's blocks, of which a few are in memory.
struct Pieces {
    file: File,
    blocks: Vec<Chunk>,
    /// Those that come next.
    left: Range<usize>,
    /// Bytes behind the last whole block.
    rest: Range<usize>,
    is_read: bool,
    failed: Option<io::Error>,
}

impl Pieces {
    /// Blocks in memory, which the second cache holds.
    const AT_ONCE: usize = 4096;

    fn of(file: File) -> Self {
        let blocks = vec![[0; BLOCK]; Self::AT_ONCE];
        Self { file, blocks, left: 0..0, rest: 0..0, is_read: false, failed: None }
    }
    /// The blocks that come next, at most so many; none at the end, or where reading failed.
    #[inline(always)]
    fn next(&mut self, most: usize) -> &[Chunk] {
        if self.left.is_empty() && !self.is_read {
            self.read();
        }
        let from = self.left.start;
        self.left.start += most.min(self.left.len());
        &self.blocks[from..self.left.start]
    }
    #[cold]
    fn read(&mut self) {
        let (bytes, mut length) = (self.blocks.as_flattened_mut(), 0);
        while length < bytes.len() && !self.is_read {
            match self.file.read(&mut bytes[length..]) {
                Ok(0) => self.is_read = true,
                Ok(more) => length += more,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => {
                    self.failed = Some(error);
                    self.is_read = true;
                }
            }
        }
        let whole = length / BLOCK;
        self.left = 0..whole;
        self.rest = whole * BLOCK..length;
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn published_examples_are_met() {
        // FIPS 180-4's own examples (its "SHA-256 Example" sheets): one block, two, and none.
        let examples: [(&[u8], &str); 3] = [
            (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
            (
                b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
                "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
            ),
            (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        ];
        for (bytes, published) in examples {
            assert_eq!(Hash::of(bytes).finish(), published);
        }
    }

    /// Against the whole hash of another's making, whatever the lengths of the two files are.
    #[test]
    fn two_files_in_turns_have_their_own_hashes() {
        use sha2::{Digest, Sha256};
        let folder = tempfile::tempdir().unwrap();
        let bytes: Vec<u8> = (0..600_000_u32).map(|i| (i.wrapping_mul(i) >> 7) as u8).collect();
        let whole = |bytes: &[u8]| -> String {
            Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
        };
        let lengths = [0, 1, 55, 56, 63, 64, 65, 119, 120, 128, 262_143, 262_144, 262_145, 600_000];
        for own in lengths {
            for other in lengths {
                let path = folder.path().join("other");
                std::fs::write(&path, &bytes[600_000 - other..]).unwrap();
                let of_other = &bytes[600_000 - other..];
                for mut beside in [Beside::open(&path).unwrap(), Beside::of(of_other)] {
                    let mut hash = Hash::of(&bytes[..own]);
                    for byte in (0..own + 1000).step_by(777) {
                        hash.up_to_in_turns(byte, &mut beside);
                    }
                    assert_eq!(hash.finish(), whole(&bytes[..own]), "{own} beside {other}");
                    assert_eq!(beside.finish().unwrap(), whole(of_other));
                }
            }
        }
    }

    /// Whichever of both ways this processor takes, and by the other one, as far as it can.
    #[test]
    fn both_ways_to_take_two_files_agree_with_each_alone() {
        let bytes: Vec<u8> = (0..64_000_u32).map(|i| (i.wrapping_mul(i) >> 5) as u8).collect();
        let blocks = bytes.as_chunks().0;
        let alone = |blocks: &[Chunk]| {
            let mut state = State::NEW;
            state.add(blocks);
            (state.words, state.blocks)
        };
        for way in [add_both, in_turns] {
            for length in [0, 1, 2, 63, 500] {
                let (own, other) = (&blocks[..length], &blocks[500..500 + length]);
                let (mut first, mut second) = (State::NEW, State::NEW);
                way(&mut first, &mut second, own, other);
                assert_eq!((first.words, first.blocks), alone(own), "{length}");
                assert_eq!((second.words, second.blocks), alone(other), "{length}");
            }
        }
    }

    #[test]
    fn what_cannot_be_read_has_no_hash() {
        let folder = tempfile::tempdir().unwrap();
        let hash = Beside::open(folder.path()).and_then(Beside::finish);
        assert!(hash.is_err(), "a folder");
    }
}
