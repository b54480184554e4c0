//! Pages and drawings made of values.

pub mod card_page;
