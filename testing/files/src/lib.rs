//! Small image files and requests made byte by byte: they know nothing of the program or of the crates
//! that it reads with.

#![allow(clippy::unwrap_used, missing_docs)]

pub mod raw_files;
pub mod raw_seeds;
pub mod small_dng;
pub mod window;
