//! One integration binary.

mod cards;
mod cli;
mod cli_across;
mod corpus;
mod editing;
mod editing_faults;
mod editing_kinds;
mod field;
mod planted_angles;
mod planted_graduated;
mod interrupted;
mod names;
mod planted_spatial;
mod planted_surprises;
mod planted_variable;
mod planted;
mod planted_camera;
mod profiles;
mod published;
mod reading;
mod report;
mod shell;
mod support;
mod tidy;
mod written;
