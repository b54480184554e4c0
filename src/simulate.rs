//! A simulated camera before a simulated wall: frames with planted truth for tests and the demo.
//!
//! Nothing here knows how the program measures. The optics are their own, in vector form; the
//! same light and the same noise law lead to pixels, to files or straight to cells.

pub mod random;
pub mod optics;
pub mod filter;
pub mod motif;
pub mod scene;
