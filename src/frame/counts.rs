//! Counts row by row, in memory of their own, within the bytes of the file that they stand in, or
//! coded there until they are asked for.

use std::fmt::Debug;
use std::ops::{Deref, DerefMut, Range};
use std::sync::{Arc, OnceLock};

/// Bytes of a file that the system shows where it keeps them.
pub trait Mapped: Deref<Target = [u8]> + Debug + Send + Sync {}
impl<T: Deref<Target = [u8]> + Debug + Send + Sync> Mapped for T {}

/// Rows of counts that are decoded when they are asked for, any part of them by itself.
pub trait Coded: Debug + Send + Sync {
    /// Counts of a row, and rows.
    fn size(&self) -> (usize, usize);
    /// Adds some columns of some rows, which are all there, row by row.
    fn decode(&self, rows: Range<usize>, columns: Range<usize>, counts: &mut Vec<u16>);
}

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
    /// `whole` holds all of them once they were asked for together.
    Coded {
        coded: Arc<dyn Coded>,
        whole: OnceLock<Vec<u16>>,
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
    /// Numbers that are decoded when they are asked for: part by part by [`Counts::part`], all
    /// together as soon as they are read otherwise.
    #[must_use]
    pub fn coded(coded: Arc<dyn Coded>) -> Self {
        Self(Kept::Coded { coded, whole: OnceLock::new() })
    }
    /// Whether parts of the numbers are decoded by themselves.
    #[must_use]
    pub fn is_coded(&self) -> bool {
        matches!(self.0, Kept::Coded { .. })
    }
    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        match &self.0 {
            Kept::Coded { coded, .. } => {
                let (width, height) = coded.size();
                width * height
            }
            Kept::Own(_) | Kept::Within { .. } => (**self).len(),
        }
    }
    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
    /// Adds some columns of some rows to `part`, where a row has `width` numbers: as many of each
    /// row as there are.
    pub fn part(
        &self,
        width: usize,
        rows: Range<usize>,
        columns: Range<usize>,
        part: &mut Vec<u16>,
    ) {
        match &self.0 {
            Kept::Coded { coded, .. } if coded.size().0 == width => {
                let rows = rows.start..rows.end.min(coded.size().1);
                coded.decode(rows, columns.start..columns.end.min(width), part);
            }
            _ => {
                for row in rows {
                    let (from, to) = (row * width + columns.start, row * width + columns.end);
                    part.extend_from_slice(&self[from.min(self.len())..to.min(self.len())]);
                }
            }
        }
    }
    /// Keeps the first `length` numbers, as [`Vec::truncate`].
    pub fn truncate(&mut self, length: usize) {
        if self.is_coded() {
            self.0 = Kept::Own(std::mem::replace(self, Vec::new().into()).into_vec());
        }
        match &mut self.0 {
            Kept::Coded { .. } => {}
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
            Kept::Coded { .. } => {}
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
            Kept::Coded { whole, .. } => whole.into_inner(),
            Kept::Within { .. } => None,
        }
    }
    /// The numbers in memory of their own.
    #[must_use]
    pub fn into_vec(self) -> Vec<u16> {
        match self.0 {
            Kept::Own(numbers) => numbers,
            Kept::Coded { coded, whole } => whole.into_inner().unwrap_or_else(|| all(&*coded)),
            Kept::Within { .. } => self.to_vec(),
        }
    }
}

fn all(coded: &dyn Coded) -> Vec<u16> {
    let ((width, height), mut counts) = (coded.size(), Vec::new());
    coded.decode(0..height, 0..width, &mut counts);
    counts
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
            Kept::Coded { coded, whole } => whole.get_or_init(|| all(&**coded)),
            Kept::Within { bytes, range } => bytemuck::cast_slice(&bytes[range.clone()]),
        }
    }
}

impl DerefMut for Counts {
    /// What stands in a file's bytes is copied or decoded first.
    fn deref_mut(&mut self) -> &mut [u16] {
        if !matches!(self.0, Kept::Own(_)) {
            self.0 = Kept::Own(std::mem::replace(self, Vec::new().into()).into_vec());
        }
        match &mut self.0 {
            Kept::Own(numbers) => numbers,
            Kept::Within { .. } | Kept::Coded { .. } => &mut [],
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

    /// Five rows of seven, each ten times its row and its column.
    #[derive(Debug)]
    struct Tens;
    impl Coded for Tens {
        fn size(&self) -> (usize, usize) {
            (7, 5)
        }
        fn decode(&self, rows: Range<usize>, columns: Range<usize>, counts: &mut Vec<u16>) {
            counts.extend(rows.flat_map(|r| columns.clone().map(move |c| (10 * r + c) as u16)));
        }
    }

    #[test]
    fn coded_numbers_are_those_that_were_decoded_before() {
        let plain: Vec<u16> = (0..5).flat_map(|r| (0..7).map(move |c| 10 * r + c)).collect();
        let (plain, mut coded) = (Counts::from(plain), Counts::coded(Arc::new(Tens)));
        assert_eq!((coded.len(), coded.is_empty(), coded.is_coded()), (35, false, true));
        for (rows, columns) in [(0..5, 0..7), (2..4, 3..6), (4..7, 5..7), (1..1, 0..7)] {
            let (mut of_plain, mut of_coded) = (Vec::new(), Vec::new());
            plain.part(7, rows.clone(), columns.clone(), &mut of_plain);
            coded.part(7, rows, columns, &mut of_coded);
            assert_eq!(of_coded, of_plain);
        }
        assert_eq!(coded, plain);
        assert_eq!(coded.clone().into_vec(), *plain);
        coded.truncate(9);
        assert_eq!(*coded, plain[..9]);
        let mut changed = Counts::coded(Arc::new(Tens));
        changed[0] = 3;
        assert_eq!(
            (changed[0], changed[34], changed.own().map(|all| all.len())),
            (3, 46, Some(35))
        );
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
