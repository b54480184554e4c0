//! Pages and drawings made of values.
//!
//! [`view`] turns a profile into ready strings and drawings; templates only place them. Drawings
//! are made by [`plots`]; [`mod@page`] joins both.

pub mod plots;
pub mod table;
pub mod view;
pub mod page;
pub mod compare_page;
pub mod terminal;
pub mod lines;
pub mod card_page;
pub mod choose_text;
pub mod kit_text;
pub mod camera_page;
pub mod history_page;
pub mod sheet_page;
pub mod plan_page;
pub mod wall_page;
pub mod target_page;
pub mod small_picture;
pub mod frames_page;

pub use page::{ReportError, ReportFiles, body, page, page_with};
