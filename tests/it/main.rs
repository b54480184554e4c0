//! One integration binary.

mod cards;
mod cli;
mod cli_across;
mod corpus;
mod editing;
mod entries;
mod editing_faults;
mod editing_kinds;
mod field;
mod planted_graduated;
mod interrupted;
mod names;
mod planted_spatial;
mod planted_variable;
mod planted;
mod published;
#[path = "../../benches/support/campaign/raw_seeds.rs"]
#[allow(dead_code)]
mod raw_seeds;
mod reading;
mod report;
mod shell;
mod small_dng;
mod support;
mod tidy;
mod written;
