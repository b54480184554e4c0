//! lightloss
fn main() {}
