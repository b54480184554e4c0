//! `lightloss` measures what a photographic filter really takes from the light.
//!
//! The modules in reading order; each may use those before it. What the tool does for a
//! photographer stands in `README.md`, how the code hangs together in `DEVELOPERS.md`.
//!
//! This crate does not develop pictures, does not judge colour for the eye beyond what a camera
//! sees, and says nothing of ultraviolet or infrared light.

pub mod system;
pub mod text;
pub mod quantity;
pub mod numerics;
pub mod measured;
pub mod rounding;
pub mod exposure;
pub mod frame;
pub mod tiff;
pub mod safety;
pub mod profile;
pub mod caution;
pub mod reduce;
pub mod levels;
pub mod kit;
pub mod shoot_file;
pub mod body_record;
pub mod read;
pub mod write;
pub mod kit_folder;
pub mod simulate;
pub mod shoot;
pub mod measure;
pub mod compare;
pub mod field;
pub mod editing;
pub mod say;
pub mod report;
pub mod error;
pub mod cli;
pub mod commands;
pub mod window;
