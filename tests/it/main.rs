//! One integration binary.

mod editing;
mod field;
mod published;
mod reading;
mod tidy;
mod written;
