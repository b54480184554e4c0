//! One integration binary.

mod editing;
mod field;
mod published;
mod reading;
mod report;
mod tidy;
mod written;
mod support;
mod planted_spatial;
