//! Before and in the field: what to shoot, what to carry, which filter to take.
//!
//! Values in, values out; files and pages are others' work.

pub mod card;
pub mod choose;
pub mod plan;
pub mod wall_plan;
