//! Pages and drawings made of values.

pub mod card_page;
pub mod plan_page;
