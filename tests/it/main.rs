//! One integration binary.

mod field;
mod reading;
mod tidy;
