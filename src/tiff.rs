//! TIFF structures (TIFF 6.0, section 2), which most raw files, DNG and Exif are made of: tag numbers,
//! directories read without trust in any number they hold, and directories to bytes.

pub mod directory;
pub mod encode;
pub mod rational;
pub mod tag;

pub use directory::{Directory, Entry, Role, Tiff, TiffError, size_of};
pub use encode::{Chunks, NewDirectory, TooLarge, Value, encode};

/// Byte order of a TIFF structure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// `II`
    Little,
    /// `MM`
    Big,
}

impl Order {
    /// The 16-bit number at a place, `None` beyond the end.
    #[must_use]
    pub fn u16(self, bytes: &[u8], at: usize) -> Option<u16> {
        let b = bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if self == Self::Little { u16::from_le_bytes(b) } else { u16::from_be_bytes(b) })
    }
    /// The 32-bit number at a place, `None` beyond the end.
    #[must_use]
    pub fn u32(self, bytes: &[u8], at: usize) -> Option<u32> {
        let b = bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if self == Self::Little { u32::from_le_bytes(b) } else { u32::from_be_bytes(b) })
    }
    /// The 64-bit number at a place, `None` beyond the end.
    #[must_use]
    pub fn u64(self, bytes: &[u8], at: usize) -> Option<u64> {
        let (a, b) = (u64::from(self.u32(bytes, at)?), u64::from(self.u32(bytes, at + 4)?));
        Some(if self == Self::Little { b << 32 | a } else { a << 32 | b })
    }
    /// The bytes of a 16-bit number.
    #[must_use]
    pub const fn short(self, value: u16) -> [u8; 2] {
        match self {
            Self::Little => value.to_le_bytes(),
            Self::Big => value.to_be_bytes(),
        }
    }
    /// The bytes of a 32-bit number.
    #[must_use]
    pub const fn long(self, value: u32) -> [u8; 4] {
        match self {
            Self::Little => value.to_le_bytes(),
            Self::Big => value.to_be_bytes(),
        }
    }
}
