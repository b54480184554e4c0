//! Changes to the directories of a TIFF structure, wherever a file holds one: its values, types,
//! counts, numbers and their order (TIFF 6.0, section 2).

use lightloss::tiff::{Order, size_of};
use rand::Rng;
use rand::seq::IndexedRandom;
use rand_chacha::ChaCha8Rng;

#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Change {
    Value,
    Type,
    Count,
    Tag,
    Swap,
    Double,
    Drop,
}

/// Pointers to further directories: sub-images, Exif, a RAF file's own.
const POINTERS: [u16; 3] = [330, 34_665, 0xf000];
/// What a photographer's hand sets from frame to frame: a whole state with other values of these is
/// another way to take it, which nothing can tell from a wrong one.
const SET_BY_HAND: [u16; 8] = [306, 33_434, 33_437, 34_855, 36_867, 36_868, 37_377, 37_378];

/// One TIFF structure within a file.
#[derive(Clone, Copy)]
struct Block {
    base: usize,
    order: Order,
}

/// One directory entry of twelve bytes.
#[derive(Clone, Copy)]
struct Entry {
    at: usize,
    block: Block,
}

fn big(bytes: &[u8], at: usize) -> usize {
    Order::Big.u32(bytes, at).unwrap_or(0) as usize
}

/// The structures of a file: itself, the Exif of a JPEG, both of a RAF.
fn blocks(bytes: &[u8]) -> Vec<Block> {
    let bases = if bytes.starts_with(b"FUJIFILM") {
        vec![big(bytes, 84) + 12, big(bytes, 100)]
    } else if bytes.starts_with(&[0xff, 0xd8]) {
        // The only application segment stands first, six bytes of name before the structure.
        vec![12]
    } else {
        vec![0]
    };
    let block = |base: usize| match bytes.get(base..base + 2)? {
        b"II" => Some(Block { base, order: Order::Little }),
        b"MM" => Some(Block { base, order: Order::Big }),
        _ => None,
    };
    bases.into_iter().filter_map(block).collect()
}

fn entries(bytes: &[u8]) -> Vec<Entry> {
    let mut found = Vec::new();
    for block in blocks(bytes) {
        let long = |at: usize| block.order.u32(bytes, at).map(|v| block.base + v as usize);
        let mut waiting: Vec<usize> = long(block.base + 4).into_iter().collect();
        let mut seen = Vec::new();
        while let Some(at) = waiting.pop() {
            if at == block.base || seen.contains(&at) {
                continue;
            }
            seen.push(at);
            let Some(count) = block.order.u16(bytes, at).map(usize::from) else { continue };
            for i in 0..count {
                let entry = Entry { at: at + 2 + 12 * i, block };
                if entry.at + 12 > bytes.len() {
                    break;
                }
                if POINTERS.contains(&entry.tag(bytes)) {
                    waiting.extend(long(entry.at + 8));
                }
                found.push(entry);
            }
            waiting.extend(long(at + 2 + 12 * count));
        }
    }
    found
}

impl Entry {
    fn short(self, bytes: &[u8], at: usize) -> u16 {
        self.block.order.u16(bytes, at).unwrap_or(0)
    }
    fn tag(self, bytes: &[u8]) -> u16 {
        self.short(bytes, self.at)
    }
    fn kind(self, bytes: &[u8]) -> u16 {
        self.short(bytes, self.at + 2)
    }
    /// Where the value stands, and its bytes.
    fn place(self, bytes: &[u8]) -> Option<(usize, usize)> {
        let order = self.block.order;
        let size = size_of(self.kind(bytes)) * order.u32(bytes, self.at + 4)? as usize;
        let at = if size <= 4 {
            self.at + 8
        } else {
            self.block.base + order.u32(bytes, self.at + 8)? as usize
        };
        (size > 0 && at.checked_add(size)? <= bytes.len()).then_some((at, size))
    }
    fn put_short(self, bytes: &mut [u8], at: usize, value: u16) {
        bytes[at..at + 2].copy_from_slice(&self.block.order.short(value));
    }
    fn put_long(self, bytes: &mut [u8], at: usize, value: u32) {
        bytes[at..at + 4].copy_from_slice(&self.block.order.long(value));
    }
}

/// Changes one entry; says which.
pub fn change(change: Change, bytes: &mut [u8], random: &mut ChaCha8Rng) -> String {
    let entries = entries(bytes);
    let (Some(&entry), Some(&other)) = (entries.choose(random), entries.choose(random)) else {
        return "nothing, since an earlier change took the directories".to_owned();
    };
    let tag = entry.tag(bytes);
    match change {
        Change::Value => return value(bytes, entry, random),
        Change::Type => entry.put_short(bytes, entry.at + 2, random.random_range(0..14)),
        Change::Count => {
            let counts = [0, 1, 2, 3, 4, 5, 64, 65_536, u32::MAX];
            entry.put_long(bytes, entry.at + 4, *counts.choose(random).unwrap());
        }
        Change::Tag => entry.put_short(bytes, entry.at, other.tag(bytes)),
        Change::Swap => (2..12).for_each(|i| bytes.swap(entry.at + i, other.at + i)),
        Change::Double => bytes.copy_within(entry.at..entry.at + 12, other.at),
        Change::Drop => entry.put_short(bytes, entry.at, 0xfffe),
    }
    format!("tag {tag}")
}

/// Changes one value that no hand sets, the same in each file that has the same structure.
pub fn change_for_all(files: &mut [Vec<u8>], random: &mut ChaCha8Rng) -> String {
    let Some(first) = files.first() else { return String::new() };
    let all = entries(first);
    let entry = loop {
        let &entry = all.choose(random).unwrap();
        if !SET_BY_HAND.contains(&entry.tag(first)) {
            break entry;
        }
    };
    let mut what = String::new();
    let at_first = random.clone();
    for file in files {
        *random = at_first.clone();
        what = value(file, entry, random);
    }
    what
}

/// Another value that a reader may take for true.
fn value(bytes: &mut [u8], entry: Entry, random: &mut ChaCha8Rng) -> String {
    let (tag, kind, order) = (entry.tag(bytes), entry.kind(bytes), entry.block.order);
    let Some((at, size)) = entry.place(bytes) else { return format!("tag {tag}, which has none") };
    let wide = size_of(kind).max(1);
    let first = at + wide * random.random_range(0..size / wide);
    match kind {
        3 => {
            let old = order.u16(bytes, first).unwrap_or(0);
            let all =
                [0, 1, 2, old / 2, old.wrapping_mul(2), old.wrapping_add(1), old ^ 3, u16::MAX];
            entry.put_short(bytes, first, *all.choose(random).unwrap());
        }
        4 | 5 | 9 | 10 => {
            let first =
                if kind == 5 || kind == 10 { first + 4 * random.random_range(0..2) } else { first };
            let old = order.u32(bytes, first).unwrap_or(0);
            let all = [
                0,
                1,
                old / 2,
                old.wrapping_mul(2),
                old.wrapping_mul(10),
                old.wrapping_add(2),
                old.wrapping_neg(),
                u32::MAX,
            ];
            entry.put_long(bytes, first, *all.choose(random).unwrap());
        }
        2 => bytes[first] = *b"0159: ~\xff".choose(random).unwrap(),
        _ => bytes[first] = *[0, 1, 2, 3, b'9', 0xff].choose(random).unwrap(),
    }
    format!("tag {tag}")
}
