//! A simulated camera before a simulated wall: frames with planted truth for tests and the demo.
//!
//! Nothing here knows how the program measures. The optics are their own, in vector form; the
//! same light and the same noise law lead to pixels ([`mosaic`]), to files ([`files`]) or straight to
//! cells ([`cells`]).

pub mod random;
pub mod optics;
pub mod filter;
pub mod motif;
pub mod scene;
pub mod camera;
pub mod session;
pub mod field;
pub mod mosaic;
pub mod cells;
pub mod files;
pub mod truth;
pub mod demo;
pub mod demo_picture;
pub mod evening;
