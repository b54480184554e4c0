//! What several tests share.

pub mod planted_maps;
