//! Plots as SVG, drawn with plotters into strings.

pub mod ink;
pub mod label;
pub mod sheet;
mod chart;
pub mod ruler;
pub mod contours;
pub mod heat;
pub mod marks;
pub mod graduation;
pub mod course;
pub mod mtf;
pub mod colour;

pub use sheet::{Caption, PlotError, Svg};
