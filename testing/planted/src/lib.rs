//! What tests, checks and fuzz targets share: planted truth, and an entry for every parser of our
//! own.

#![allow(clippy::unwrap_used, missing_docs)]

pub mod entries;
pub mod planted_maps;
pub mod published_body;
pub mod small_session;
pub mod wall;
