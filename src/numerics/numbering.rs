//! Numbers for values in the order in which they are met.

/// The number of a value, a new one where it was not met before.
pub fn number_of<T: PartialEq>(known: &mut Vec<T>, value: T) -> usize {
    known.iter().position(|k| *k == value).unwrap_or_else(|| {
        known.push(value);
        known.len() - 1
    })
}
