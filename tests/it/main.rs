//! One integration binary.

mod field;
mod reading;
