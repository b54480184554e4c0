//! Pages and drawings made of values.

pub mod card_page;
pub mod choose_text;
pub mod plan_page;
