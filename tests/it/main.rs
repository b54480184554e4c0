//! One integration binary.

mod field;
mod published;
mod reading;
mod tidy;
