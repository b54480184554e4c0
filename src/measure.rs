//! Shoot to profile: a list of calls.

pub mod fit;
pub mod strength;
pub mod colour;
pub mod cast;
