//! Counts row by row, in memory of their own or within the bytes of the file that they stand in.

use std::fmt::Debug;
use std::ops::{Deref, DerefMut, Range};
use std::sync::Arc;

/// Bytes of a file that the system shows where it keeps them.
pub trait Mapped: Deref<Target = [u8]> + Debug + Send + Sync {}
impl<T: Deref<Target = [u8]> + Debug + Send + Sync> Mapped for T {}

/// Numbers of 16 bits. Those of an uncompressed file stay where they were read: to copy them
/// costs about as much as to add them up.
#[derive(Clone, Debug)]
pub struct Counts(Kept);

#[derive(Clone, Debug)]
enum Kept {
    Own(Vec<u16>),
    /// `range` lies within the bytes and begins where a number may.
    Within {
        bytes: Bytes,
        range: Range<usize>,
    },
}

#[derive(Clone, Debug)]
enum Bytes {
    Read(Arc<Vec<u8>>),
    Mapped(Arc<dyn Mapped>),
}

impl Deref for Bytes {
    type Target = [u8];
    fn deref(&self) -> &[u8] {
        match self {
            Self::Read(bytes) => bytes,
            Self::Mapped(bytes) => bytes,
        }
    }
}

impl Counts {
    /// Little-endian numbers within the bytes of a file; `None` where the range lies outside, holds
    /// half a number, begins where the processor reads none, or its byte order is another.
    #[must_use]
    pub fn within(bytes: Arc<Vec<u8>>, range: Range<usize>) -> Option<Self> {
        Self::among(Bytes::Read(bytes), range)
    }
    /// As [`Counts::within`], where the file's bytes are not in memory of this process.
    #[must_use]
    pub fn within_mapped(bytes: Arc<dyn Mapped>, range: Range<usize>) -> Option<Self> {
        Self::among(Bytes::Mapped(bytes), range)
    }
    fn among(bytes: Bytes, range: Range<usize>) -> Option<Self> {
        let numbers = bytemuck::try_cast_slice::<u8, u16>(bytes.get(range.clone())?).is_ok();
        (numbers && cfg!(target_endian = "little")).then_some(Self(Kept::Within { bytes, range }))
    }
    /// Keeps the first `length` numbers, as [`Vec::truncate`].
    pub fn truncate(&mut self, length: usize) {
        match &mut self.0 {
            Kept::Own(numbers) => numbers.truncate(length),
            Kept::Within { range, .. } => {
                range.end = range.end.min(range.start.saturating_add(length.saturating_mul(2)));
            }
        }
    }
    /// Gives memory behind the last number back, where nobody else holds it.
    pub fn shrink_to_fit(&mut self) {
        match &mut self.0 {
            Kept::Own(numbers) => numbers.shrink_to_fit(),
            // The system's, not ours.
            Kept::Within { bytes: Bytes::Mapped(_), .. } => {}
            Kept::Within { bytes: Bytes::Read(bytes), range } => {
                let end = range.end;
                let Some(alone) = Arc::get_mut(bytes) else { return };
                alone.truncate(end);
                // An allocator may move the bytes to where no number begins.
                alone.shrink_to_fit();
                if bytemuck::try_cast_slice::<u8, u16>(&alone[range.clone()]).is_err() {
                    let pairs = alone[range.clone()].as_chunks::<2>().0;
                    let numbers = pairs.iter().map(|pair| u16::from_le_bytes(*pair)).collect();
                    self.0 = Kept::Own(numbers);
                }
            }
        }
    }
    /// The memory of numbers that have their own.
    #[must_use]
    pub fn own(self) -> Option<Vec<u16>> {
        match self.0 {
            Kept::Own(numbers) => Some(numbers),
            Kept::Within { .. } => None,
        }
    }
    /// The numbers in memory of their own.
    #[must_use]
    pub fn into_vec(self) -> Vec<u16> {
        match self.0 {
            Kept::Own(numbers) => numbers,
            Kept::Within { .. } => self.to_vec(),
        }
    }
}

impl From<Vec<u16>> for Counts {
    fn from(numbers: Vec<u16>) -> Self {
        Self(Kept::Own(numbers))
    }
}

impl Deref for Counts {
    type Target = [u16];
    fn deref(&self) -> &[u16] {
        match &self.0 {
            Kept::Own(numbers) => numbers,
            Kept::Within { bytes, range } => bytemuck::cast_slice(&bytes[range.clone()]),
        }
    }
}

impl DerefMut for Counts {
    /// What stands in a file's bytes is copied first.
    fn deref_mut(&mut self) -> &mut [u16] {
        if matches!(self.0, Kept::Within { .. }) {
            self.0 = Kept::Own(self.to_vec());
        }
        match &mut self.0 {
            Kept::Own(numbers) => numbers,
            Kept::Within { .. } => &mut [],
        }
    }
}

impl PartialEq for Counts {
    fn eq(&self, other: &Self) -> bool {
        **self == **other
    }
}

impl Eq for Counts {}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn file() -> Arc<Vec<u8>> {
        Arc::new((0..=255).collect())
    }

    #[test]
    fn numbers_stand_where_the_file_has_them() {
        let counts = Counts::within(file(), 4..10).unwrap();
        assert_eq!(*counts, [0x0504, 0x0706, 0x0908]);
        assert_eq!(counts, Counts::from(vec![0x0504, 0x0706, 0x0908]));
        assert_eq!(counts.into_vec(), [0x0504, 0x0706, 0x0908]);
    }

    #[test]
    fn what_is_no_row_of_numbers_is_refused() {
        for range in [4..9, 4..258, 300..302] {
            assert!(Counts::within(file(), range.clone()).is_none(), "{range:?}");
        }
        // Of two neighbours one at most can be where a number begins.
        let begins = |at: usize| Counts::within(file(), at..at + 2).is_some();
        assert!(!(begins(4) && begins(5)));
    }

    #[test]
    fn numbers_come_off_the_end_and_their_memory_with_them() {
        for shared in [false, true] {
            let file = file();
            let kept = shared.then(|| Arc::clone(&file));
            let mut counts = Counts::within(file, 2..200).unwrap();
            for length in [200, 99, 50, 1, 0] {
                counts.truncate(length);
                counts.shrink_to_fit();
                assert_eq!(counts.len(), length.min(99));
                assert_eq!(counts.first().copied(), (length > 0).then_some(0x0302));
            }
            assert!(kept.is_none_or(|file| file.len() == 256), "the other's bytes stay");
        }
    }

    #[test]
    fn a_change_leaves_the_file_alone() {
        let file = file();
        let mut counts = Counts::within(Arc::clone(&file), 0..4).unwrap();
        counts[1] = 7;
        assert_eq!(*counts, [0x0100, 7]);
        assert_eq!(file[2..4], [2, 3]);
    }
}
