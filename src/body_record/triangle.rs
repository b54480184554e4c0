//! Lower triangles of small symmetric matrices: one row each, down to the diagonal.

/// Pivots below this share of their own variance are rounding.
const NOTHING: f64 = 1e-9;

/// The factor L of L L' (Cholesky's, in its outer-product order), rows down to the diagonal, in the
/// unit of deviations where the triangle holds variances; rows of what is known exactly are zero.
/// `None` where the triangle has another shape or is no covariance.
#[must_use]
pub fn factor(triangle: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let mut l: Vec<Vec<f64>> = Vec::with_capacity(triangle.len());
    for (i, row) in triangle.iter().enumerate() {
        if row.len() != i + 1 || row.iter().any(|v| !v.is_finite()) {
            return None;
        }
        let own = row[i].abs();
        let mut of = vec![0.0; i + 1];
        for j in 0..=i {
            let done: f64 = (0..j).map(|k| of[k] * if j == i { of[k] } else { l[j][k] }).sum();
            let left = row[j] - done;
            if j == i {
                if left < -1e-6 * own {
                    return None;
                }
                of[i] = if left > NOTHING * own { left.sqrt() } else { 0.0 };
            } else if l[j][j] > 0.0 {
                of[j] = left / l[j][j];
            }
        }
        l.push(of);
    }
    Some(l)
}

/// The triangle of a few of the rows, in their order and in its own unit.
#[must_use]
pub fn picked(triangle: &[Vec<f64>], rows: &[usize]) -> Vec<Vec<f64>> {
    let at = |i: usize, j: usize| triangle[i.max(j)][i.min(j)];
    (0..rows.len()).map(|i| (0..=i).map(|j| at(rows[i], rows[j])).collect()).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_factor_times_itself_is_the_triangle() {
        // [4 2 0; 2 10 3; 0 3 5], positive definite, by hand: L = [2; 1 3; 0 1 2].
        let triangle = vec![vec![4.0], vec![2.0, 10.0], vec![0.0, 3.0, 5.0]];
        let expected = vec![vec![2.0], vec![1.0, 3.0], vec![0.0, 1.0, 2.0]];
        assert_eq!(factor(&triangle).unwrap(), expected);
    }

    #[test]
    fn what_is_exact_is_zero_and_what_is_no_covariance_is_refused() {
        let exact = vec![vec![0.0], vec![0.0, 9.0]];
        assert_eq!(factor(&exact).unwrap(), vec![vec![0.0], vec![0.0, 3.0]]);
        for bad in [
            vec![vec![1.0], vec![2.0, 1.0]],
            vec![vec![-1.0]],
            vec![vec![f64::NAN]],
            vec![vec![1.0, 0.0]],
        ] {
            assert_eq!(factor(&bad), None, "{bad:?}");
        }
        assert_eq!(picked(&[vec![1.0], vec![2.0, 3.0]], &[1, 0]), [vec![3.0], vec![2.0, 1.0]]);
    }
}
