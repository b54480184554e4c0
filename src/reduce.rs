//! Frame to grid of cells: the only module that loops over pixels for measuring.

pub mod grid;
