//! Editing: which photograph had which filter, and the numbers and opcode bytes that take it out.
//!
//! Values in, values out; files are read and written by the commands.

pub mod scene;
pub mod which;
pub mod series;
mod cells;
pub mod used_csv;
pub mod white;
pub mod start;
pub mod evenness;
pub mod gain_map;
pub mod correct;
pub mod encoding;
pub mod rendered;
pub mod settled;
pub mod flat_field;
pub mod mark;
pub mod packet;

#[cfg(test)]
pub(crate) mod testing;
