//! Small pictures of frames as pages show them.

use data_encoding::BASE64;
use std::collections::BTreeMap;

/// One picture, ready to be placed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FramePicture {
    /// Where it is, or the picture itself.
    pub source: String,
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
}

/// Pictures by the names of their frames.
pub type FramePictures = BTreeMap<String, FramePicture>;

impl FramePicture {
    /// A PNG file that stands within the page itself (RFC 2397).
    #[must_use]
    pub fn within(png: &[u8], (width, height): (usize, usize)) -> Self {
        Self { source: format!("data:image/png;base64,{}", BASE64.encode(png)), width, height }
    }
    /// One that the page's own server gives at an address.
    #[must_use]
    pub fn at(address: String, (width, height): (usize, usize)) -> Self {
        Self { source: address, width, height }
    }
}
