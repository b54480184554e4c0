//! Marks on a grid of cells that stand row by row: with what lies beside them, or without their border.

/// Marked cells with those up to so many cells beside them, diagonally too.
#[must_use]
pub fn grown(marked: &[bool], columns: usize, by: usize) -> Vec<bool> {
    let near = |i: usize| around(marked, columns, i, by).any(|marked| marked);
    (0..marked.len()).map(near).collect()
}

/// Marked cells beside which all are marked up to so many cells on; beyond the grid none is.
#[must_use]
pub fn shrunk(marked: &[bool], columns: usize, by: usize) -> Vec<bool> {
    let all = (2 * by + 1).pow(2);
    let deep = |i: usize| around(marked, columns, i, by).filter(|marked| *marked).count() == all;
    (0..marked.len()).map(deep).collect()
}

/// Marks of a cell and of those up to so many cells beside it, as far as the grid goes.
fn around(
    marked: &[bool],
    columns: usize,
    cell: usize,
    by: usize,
) -> impl Iterator<Item = bool> + '_ {
    let near = |at: usize, of: usize| at.saturating_sub(by)..(at + by + 1).min(of);
    let across = near(cell % columns, columns);
    let down = near(cell / columns, marked.len() / columns);
    down.flat_map(move |row| across.clone().map(move |column| marked[row * columns + column]))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Cells in six columns; '#' is marked.
    fn grid(rows: [&str; 5]) -> Vec<bool> {
        rows.concat().chars().map(|c| c == '#').collect()
    }

    // Drawn by hand: a square of one more on each side, cut off at the border.
    #[test]
    fn marks_grow_into_squares_and_shrink_back_inside_the_border() {
        let few = grid(["#.....", "......", "......", "....#.", "......"]);
        let more = grid(["##....", "##....", "...###", "...###", "...###"]);
        assert_eq!(grown(&few, 6, 1), more);
        let inner = grid(["......", "......", "......", "....#.", "......"]);
        assert_eq!(shrunk(&more, 6, 1), inner);
        assert_eq!((grown(&few, 6, 0), shrunk(&few, 6, 0)), (few.clone(), few.clone()));
        assert!(grown(&few, 6, 4).into_iter().all(|marked| marked));
        assert!(grown(&few, 6, 2).iter().any(|marked| !marked));
        assert!(grown(&[false; 30], 6, 3).iter().all(|marked| !marked));
    }
}
