//! Why a DNG file could not be encoded.

use crate::frame::Area;

/// What cannot be written as a DNG file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DngError {
    /// Data and size disagree.
    #[error("{found} samples do not fill a picture of {width} x {height} ({expected} needed)")]
    Size {
        /// Columns.
        width: usize,
        /// Rows.
        height: usize,
        /// Samples given.
        found: usize,
        /// Samples needed.
        expected: usize,
    },
    /// An area that leaves the stored picture.
    #[error("area {area:?} lies outside the stored picture of {width} x {height}")]
    Outside {
        /// The area.
        area: Area,
        /// Columns.
        width: usize,
        /// Rows.
        height: usize,
    },
    /// The encoder of lossless JPEG refused.
    #[error("lossless compression failed: {reason}")]
    Compression {
        /// Its words.
        reason: String,
    },
    /// More than 32-bit offsets can reach.
    #[error("a file of {bytes} bytes is larger than TIFF allows (4 GiB)")]
    TooLarge {
        /// Bytes needed.
        bytes: usize,
    },
}
