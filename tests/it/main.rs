//! One integration binary.

mod cards;
mod cli;
mod editing;
mod field;
mod planted_graduated;
mod planted_spatial;
mod planted_variable;
mod planted;
mod published;
mod reading;
mod report;
mod shell;
mod small_dng;
mod support;
mod tidy;
mod written;
