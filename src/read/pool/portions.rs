//! Which files a worker takes at a time: two, whose hashes it takes in turns, as long as all workers have two
//! to take; what is left is spread so that all are done at the same time.

use std::ops::Range;

/// So many files for so many workers, in the order in which portions are taken.
pub(super) fn portions(files: usize, workers: usize) -> Vec<Range<usize>> {
    let workers = workers.max(1);
    let whole = files / (2 * workers) * workers;
    let left = files - 2 * whole;
    let pairs = whole + left.saturating_sub(workers);
    let pair = |k: usize| 2 * k..2 * k + 2;
    (0..pairs).map(pair).chain((2 * pairs..files).map(|one| one..one + 1)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sizes(files: usize, workers: usize) -> Vec<usize> {
        let found = portions(files, workers);
        let in_order: Vec<usize> = found.iter().cloned().flatten().collect();
        assert_eq!(in_order, (0..files).collect::<Vec<_>>(), "{files} files, {workers} workers");
        found.into_iter().map(|portion| portion.len()).collect()
    }

    #[test]
    fn nobody_stands_idle_while_others_have_two() {
        assert_eq!(sizes(20, 2), [2; 10]);
        assert_eq!(sizes(4, 2), [2, 2]);
        assert_eq!(sizes(3, 2), [2, 1]);
        assert_eq!(sizes(2, 2), [1, 1]);
        assert_eq!(sizes(9, 4), [2, 2, 2, 2, 1]);
        assert_eq!(sizes(14, 4), [2, 2, 2, 2, 2, 2, 1, 1]);
        assert_eq!(sizes(5, 8), [1; 5]);
        assert_eq!(sizes(5, 1), [2, 2, 1]);
        assert!(sizes(0, 2).is_empty());
    }
}
