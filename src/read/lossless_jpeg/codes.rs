//! Huffman codes of lossless JPEG and the differences that follow them.

use super::ReadError;

/// Bits that a look into the table takes: with more, table and picture no longer share the
/// innermost cache.
const LOOK: u32 = 12;
/// Bits of a code, and of a difference, at most.
const LONGEST: u32 = 16;
/// Bits that the reader holds after each refill: enough for four looks.
const HELD: u32 = 56;

/// What a look at the next bits tells.
///
/// Bits 0 to 7: how many bits code and difference take, 0 where they do not fit the look. Bits 16
/// to 31: the difference; where they do not fit, 8 to 15 the bits of the code (0 where it is longer
/// than the look) and 16 to 31 those of the difference.
#[derive(Clone, Copy, Debug, Default)]
struct Look(u32);

/// A Huffman table of T.81, annex C, whose values are the numbers of bits of differences.
#[derive(Debug)]
pub(super) struct Table {
    looks: [Look; 1 << LOOK],
    /// Codes beyond a look: first code of each length, number of codes, place of the first's value.
    longer: [(u32, u32, usize); LONGEST as usize + 1],
    sizes: Vec<u8>,
}

impl Table {
    /// `None` where the lengths are no code, or a difference has more than 16 bits.
    pub(super) fn new(lengths: &[u8; 16], sizes: &[u8]) -> Option<Box<Self>> {
        if sizes.iter().any(|&size| u32::from(size) > LONGEST) {
            return None;
        }
        let mut looks = [Look::default(); 1 << LOOK];
        let mut longer = [(0, 0, 0); LONGEST as usize + 1];
        let (mut code, mut place, mut filled) = (0_u32, 0, 0);
        for (length, &count) in (1..).zip(lengths) {
            longer[length as usize] = (code, u32::from(count), place);
            for &size in &sizes[place..place + usize::from(count)] {
                if length <= LOOK {
                    let end = filled + (1 << (LOOK - length));
                    fill(looks.get_mut(filled..end)?, length, u32::from(size));
                    filled = end;
                }
                code += 1;
            }
            place += usize::from(count);
            (code <= 1 << length).then_some(())?;
            code <<= 1;
        }
        Some(Box::new(Self { looks, longer, sizes: sizes.to_vec() }))
    }
}

/// The looks that begin with one code.
fn fill(looks: &mut [Look], length: u32, size: u32) {
    // A difference of 16 bits is 32768 and has none of its own (H.1.2.2).
    let own = if size == LONGEST { 0 } else { size };
    if length + own > LOOK {
        looks.fill(Look((length << 8) | (size << 16)));
        return;
    }
    let each = 1 << (LOOK - length - own);
    for (bits, looks) in looks.chunks_exact_mut(each).enumerate() {
        let difference = difference(size, bits as u32);
        looks.fill(Look((length + own) | (u32::from(difference) << 16)));
    }
}

/// The difference of so many bits (T.81, F.1.2.1.1 and H.1.2.2), modulo 2^16.
fn difference(size: u32, bits: u32) -> u16 {
    match size {
        0 => 0,
        LONGEST => 1 << 15,
        _ if bits >> (size - 1) == 1 => bits as u16,
        _ => (bits as u16).wrapping_sub((1 << size) - 1),
    }
}

/// Bits of the data, most significant first.
pub(super) struct Bits<'a> {
    bytes: &'a [u8],
    at: usize,
    /// The next bits, from the top.
    held: u64,
    have: u32,
    /// A code was met that is none.
    strange: bool,
}

impl<'a> Bits<'a> {
    /// From the first one on; eight bytes more than there are data.
    pub(super) fn of(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0, held: 0, have: 0, strange: false }
    }
    /// Holds [`HELD`] bits or more from then on; zeros behind the end.
    #[inline(always)]
    pub(super) fn refill(&mut self) {
        let next = self.bytes.get(self.at..).and_then(|bytes| bytes.first_chunk::<8>());
        self.held |= next.map_or(0, |next| u64::from_be_bytes(*next)) >> self.have;
        self.at += ((63 - self.have) >> 3) as usize;
        self.have |= HELD;
    }
    #[inline(always)]
    fn pass(&mut self, bits: u32) {
        self.held <<= bits;
        self.have -= bits;
    }
    /// The next difference. Takes [`LOOK`] bits at most, or refills.
    #[inline(always)]
    pub(super) fn difference(&mut self, table: &Table) -> u16 {
        let Look(look) = table.looks[(self.held >> (64 - LOOK)) as usize];
        let bits = look & 0xff;
        if bits == 0 {
            return self.long_difference(table, look);
        }
        self.pass(bits);
        (look >> 16) as u16
    }
    #[cold]
    #[inline(never)]
    fn long_difference(&mut self, table: &Table, look: u32) -> u16 {
        self.refill();
        let (length, size) = match (look >> 8) & 0xff {
            0 => match self.long_code(table) {
                Some(found) => found,
                None => {
                    self.strange = true;
                    return 0;
                }
            },
            length => (length, look >> 16),
        };
        self.pass(length);
        let own = if size == LONGEST { 0 } else { size };
        let bits = if own == 0 { 0 } else { (self.held >> (64 - own)) as u32 };
        self.pass(own);
        self.refill();
        difference(size, bits)
    }
    /// Length of a code beyond a look, and its value.
    fn long_code(&self, table: &Table) -> Option<(u32, u32)> {
        (LOOK + 1..=LONGEST).find_map(|length| {
            let (first, count, place) = table.longer[length as usize];
            let behind = ((self.held >> (64 - length)) as u32).checked_sub(first)?;
            (behind < count).then(|| (length, u32::from(table.sizes[place + behind as usize])))
        })
    }
    /// Bytes among the first that nothing was taken of.
    pub(super) fn left(&self, length: usize) -> usize {
        length.saturating_sub((8 * self.at).saturating_sub(self.have as usize).div_ceil(8))
    }
    /// Whether all that was taken stood in the first bytes.
    pub(super) fn whole(&self, length: usize) -> Result<(), ReadError> {
        if self.strange {
            return Err(ReadError::damaged("its pixels hold a code that is none"));
        }
        if 8 * self.at > 8 * length + self.have as usize {
            return Err(ReadError::damaged("the data of its pixels end too early"));
        }
        Ok(())
    }
}
