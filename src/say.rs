//! One answer in words to each question that a person asks of a profile, as values: pages,
//! terminal and cards only lay them out.
//!
//! Sentences carry the signs of print (a true minus, a plus-minus sign); [`figures::plain`] gives
//! them as every terminal shows them.

pub mod figures;
pub mod rating;
pub mod strength;
pub mod first;
pub mod ring;
pub mod cast;
pub mod cast_along;
pub mod evenness;
pub mod special;
pub mod picture;
pub mod cautions;
pub mod frames;
pub mod taken;
pub mod habits;
pub mod choice;
pub mod comparison;
pub mod kept;
pub mod camera;
pub mod history;
pub mod sheet;
pub mod editing;
pub mod plan;
pub mod wall;
