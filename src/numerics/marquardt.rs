//! Levenberg and Marquardt's method (D. W. Marquardt, J. Soc. Indust. Appl. Math. 11 (1963) 431):
//! least squares of a model that is not linear in its parameters.

use nalgebra::{DMatrix, DVector};

/// Normal equations of the model made linear at a point.
#[derive(Clone, Debug)]
pub struct Equations {
    /// J'WJ of the slopes J and weights W.
    pub matrix: DMatrix<f64>,
    /// J'W times the misfits.
    pub right: DVector<f64>,
}

/// What is to be made small.
pub trait Problem {
    /// Weighted sum of squared misfits, whatever is known beforehand counted in.
    fn cost(&self, at: &DVector<f64>) -> f64;
    /// The equations at a point.
    fn equations(&self, at: &DVector<f64>) -> Equations;
    /// Adds the damping to the diagonal; in proportion to it unless a problem knows better.
    fn damp(&self, matrix: &mut DMatrix<f64>, damping: f64) {
        for k in 0..matrix.nrows() {
            matrix[(k, k)] += damping * matrix[(k, k)];
        }
    }
}

/// How far to go; dampings and costs have no unit.
#[derive(Clone, Copy, Debug)]
pub struct Rule {
    /// Damping of the first step.
    pub damping: f64,
    /// Damping never falls below this.
    pub least_damping: f64,
    /// Factor on the damping after a step that helped.
    pub easier: f64,
    /// Factor on the damping after one that did not.
    pub harder: f64,
    /// Steps tried in all.
    pub trials: usize,
    /// Steps in a row that do not help before it ends.
    pub failures: usize,
    /// It has settled when a step lowers the cost by less than this share,
    pub settled: f64,
    /// of the cost or of this, whichever is larger.
    pub least_cost: f64,
}

/// Where a descent ended: parameters in the unit of each, a cost of no unit.
#[derive(Clone, Debug)]
pub struct End {
    /// The parameters.
    pub at: DVector<f64>,
    /// The cost there.
    pub cost: f64,
    /// Steps that helped.
    pub steps: usize,
}

/// Goes downhill from a start until it settles or the rule ends it.
#[must_use]
pub fn descend(problem: &impl Problem, start: DVector<f64>, rule: &Rule) -> End {
    let cost = problem.cost(&start);
    let mut end = End { at: start, cost, steps: 0 };
    let mut equations = problem.equations(&end.at);
    let (mut damping, mut failures) = (rule.damping, 0);
    for _ in 0..rule.trials {
        let mut damped = equations.matrix.clone();
        problem.damp(&mut damped, damping);
        let step = damped.cholesky().map(|solver| solver.solve(&equations.right));
        let next = step.map(|step| &end.at + step);
        let reached = next.as_ref().map_or(f64::NAN, |next| problem.cost(next));
        match next.filter(|_| reached < end.cost) {
            Some(next) => {
                let settled = end.cost - reached < rule.settled * end.cost.max(rule.least_cost);
                end = End { at: next, cost: reached, steps: end.steps + 1 };
                if settled {
                    break;
                }
                damping = (damping * rule.easier).max(rule.least_damping);
                failures = 0;
                equations = problem.equations(&end.at);
            }
            None => {
                damping *= rule.harder;
                failures += 1;
                if failures >= rule.failures {
                    break;
                }
            }
        }
    }
    end
}

#[cfg(test)]
mod tests {
    use super::*;

    const RULE: Rule = Rule {
        damping: 1e-3,
        least_damping: 0.0,
        easier: 0.2,
        harder: 5.0,
        trials: 200,
        failures: 20,
        settled: 1e-14,
        least_cost: 0.0,
    };

    /// Residuals of Rosenbrock's valley, 10 (y - x^2) and 1 - x: least at (1, 1), where it is zero
    /// (H. H. Rosenbrock, Comput. J. 3 (1960) 175).
    struct Valley;

    impl Problem for Valley {
        fn cost(&self, at: &DVector<f64>) -> f64 {
            (10.0 * (at[1] - at[0] * at[0])).powi(2) + (1.0 - at[0]).powi(2)
        }
        fn equations(&self, at: &DVector<f64>) -> Equations {
            // slopes of the model, which are those of the residuals with their sign turned
            let rows = [[20.0 * at[0], -10.0], [1.0, 0.0]];
            let misfits = [10.0 * (at[1] - at[0] * at[0]), 1.0 - at[0]];
            let slopes = DMatrix::from_fn(2, 2, |r, c| rows[r][c]);
            let misfits = DVector::from_row_slice(&misfits);
            Equations { matrix: slopes.transpose() * &slopes, right: slopes.transpose() * misfits }
        }
    }

    #[test]
    fn the_bottom_of_a_curved_valley_is_found() {
        let end = descend(&Valley, DVector::from_row_slice(&[-1.2, 1.0]), &RULE);
        assert!((end.at[0] - 1.0).abs() < 1e-6 && (end.at[1] - 1.0).abs() < 1e-6, "{end:?}");
        assert!(end.steps > 3);
        // nothing better is left where it already is at the bottom
        let there = descend(&Valley, DVector::from_row_slice(&[1.0, 1.0]), &RULE);
        assert_eq!((there.steps, there.cost), (0, 0.0));
    }
}
