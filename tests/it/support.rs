//! What several tests share.

// the bench of crosses uses the rest
#[allow(dead_code)]
pub mod planted_maps;
