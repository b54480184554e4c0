//! Why a file was not read: by whose fault, what was found, what to do.

use crate::system::plain;
use crate::tiff::TiffError;
use serde::{Deserialize, Serialize};

/// Why a file was not read. Carried between processes, so plain data.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, thiserror::Error)]
#[serde(rename_all = "snake_case")]
pub enum ReadError {
    /// No bytes at all.
    #[error("the file is empty; copy it again from the card")]
    Empty,
    /// A folder where a file was asked for.
    #[error("this is a folder, not a frame; name the files in it")]
    Folder,
    /// A pipe, a socket or a device.
    #[error("this is a {kind}, not a regular file; name a file")]
    NotRegular {
        /// "pipe", "device" or the like.
        kind: String,
    },
    /// Regular, but holding something else.
    #[error("this is not a photograph ({found}); leave it out")]
    NotAPicture {
        /// What the content looks like.
        found: String,
    },
    /// The file ends before its own directory says it does.
    #[error(
        "the file is cut short: it describes {expected} bytes and holds {found}; copy it again \
         from the card"
    )]
    Truncated {
        /// Bytes that the file's own directory asks for.
        expected: u64,
        /// Bytes that are there.
        found: u64,
    },
    /// Complete in length, contradicting itself.
    #[error("the file is damaged ({reason}); copy it again from the card")]
    Damaged {
        /// What contradicts what.
        reason: String,
    },
    /// A raw file of a camera that no decoder here knows.
    #[error(
        "no decoder here knows the camera {make:?} {model:?}; convert the file to DNG and try again"
    )]
    UnknownCamera {
        /// Maker as the file writes it.
        make: String,
        /// Model as the file writes it.
        model: String,
    },
    /// A format or a variant of one that no decoder here reads.
    #[error("{format} is not read here ({reason}); convert the file to DNG and try again")]
    Unsupported {
        /// The format.
        format: String,
        /// What of it is not supported.
        reason: String,
    },
    /// Dimensions that no camera has.
    #[error(
        "the file claims {width} x {height} pixels, more than the {limit_megapixels} megapixels \
         that are read; it is damaged or no photograph"
    )]
    TooLarge {
        /// Columns claimed.
        width: u64,
        /// Rows claimed.
        height: u64,
        /// The limit.
        limit_megapixels: u64,
    },
    /// The decoder gave up.
    #[error(
        "the {decoder} decoder gave up ({reason}); the file is damaged, or of a variant that it does not read"
    )]
    DecoderFailed {
        /// The crate that decodes.
        decoder: String,
        /// Its own words, first line.
        reason: String,
    },
    /// The worker process died over the file.
    #[error("the decoder broke down over this file; it is damaged or needs too much memory")]
    DecoderDied,
    /// The worker process did not answer.
    #[error("the decoder did not finish within {seconds} s; the file is damaged or too large")]
    TimedOut {
        /// The limit.
        seconds: u64,
    },
    /// The operating system refused.
    #[error("it could not be read: {reason}; check that it is there and that you may read it")]
    Io {
        /// The system's words.
        reason: String,
    },
}

/// What decoders say of files that may be whole, but of a kind that they do not read.
const NOT_READ: [&str; 8] = [
    "not support",
    "unsupported",
    "not implemented",
    "unimplemented",
    "not yet",
    "don't know",
    "unknown compression",
    "no decoder",
];

impl From<std::io::Error> for ReadError {
    fn from(error: std::io::Error) -> Self {
        Self::Io { reason: plain(&error) }
    }
}

impl From<TiffError> for ReadError {
    fn from(error: TiffError) -> Self {
        match error {
            TiffError::Truncated { expected, found } => Self::Truncated { expected, found },
            TiffError::Damaged(reason) => Self::Damaged { reason },
        }
    }
}

impl ReadError {
    pub(super) fn damaged(reason: impl Into<String>) -> Self {
        Self::Damaged { reason: reason.into() }
    }
    pub(super) fn unsupported(format: &str, reason: impl Into<String>) -> Self {
        Self::Unsupported { format: format.to_owned(), reason: reason.into() }
    }
    /// Keeps the first line of a decoder's message: the rest are pleas for samples.
    pub(super) fn decoder(decoder: &str, reason: &str) -> Self {
        let reason = reason.lines().find(|l| !l.trim().is_empty()).unwrap_or("no reason given");
        let lower = reason.to_lowercase();
        if NOT_READ.iter().any(|words| lower.contains(words)) {
            return Self::unsupported("this kind of file", format!("{decoder}: {}", reason.trim()));
        }
        Self::DecoderFailed {
            decoder: decoder.to_owned(),
            reason: reason.trim().trim_end_matches('.').to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What the decoder crates write of files that may be whole (the sources of rawler 0.8 and
    /// rawloader 0.37) is no word of damage.
    #[test]
    fn a_kind_that_no_decoder_reads_is_not_called_damaged() {
        for reason in [
            "ARW2: Don't know how to decode images with 14 bps",
            "KDC: DC120: Don't know how to handle compression type 7",
            "Unsupported compression method: Unknown\nPlease send a sample",
        ] {
            let said = ReadError::decoder("rawler", reason).to_string();
            assert!(said.contains("is not read here"), "{said}");
            assert!(said.contains("convert the file to DNG"), "{said}");
            assert!(!said.contains("damaged") && !said.contains("sample"), "{said}");
        }
        for reason in ["File has not makernotes", "ljpeg: no EOI"] {
            let said = ReadError::decoder("rawler", reason).to_string();
            assert!(
                said.contains(reason) && said.contains("is damaged, or of a variant"),
                "{said}"
            );
        }
    }
}
