//! One integration binary.

mod reading;
