//! Summaries to a sorted shoot: which frames are bare, dark, through the filter, or left out.

pub mod levels;
