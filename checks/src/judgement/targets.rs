//! What must hold, and when a count says that it does not.

use std::fmt;

/// A count fails a target that would bring it, or worse, with less than this probability: one run in
/// two hundred that is just good enough fails a target by chance.
const CHANCE: f64 = 0.005;

/// A share that must hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Bound {
    AtLeast(f64),
    AtMost(f64),
}

/// A count held against its bound.
#[derive(Clone, Debug)]
pub struct Target {
    pub what: String,
    pub seen: usize,
    pub of: usize,
    pub bound: Bound,
}

impl Target {
    pub fn new(what: impl Into<String>, seen: usize, of: usize, bound: Bound) -> Self {
        Self { what: what.into(), seen, of, bound }
    }
    /// Whether the count is worse than chance makes of a share at the bound.
    pub fn fails(&self) -> bool {
        let tail = match self.bound {
            Bound::AtLeast(share) => at_most(self.seen, self.of, share),
            Bound::AtMost(share) => at_most(self.of - self.seen, self.of, 1.0 - share),
        };
        self.of > 0 && tail < CHANCE
    }
}

impl fmt::Display for Target {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (word, share) = match self.bound {
            Bound::AtLeast(share) => ("at least", share),
            Bound::AtMost(share) => ("at most", share),
        };
        let part = 100.0 * self.seen as f64 / self.of.max(1) as f64;
        let verdict = if self.fails() { "FAILS" } else { "holds" };
        write!(
            f,
            "{verdict}  {}: {} of {} ({part:.1} %), {word} {:.1} %",
            self.what,
            self.seen,
            self.of,
            100.0 * share
        )
    }
}

/// Probability of at most `k` of `n` where each comes with probability `p` (binomial distribution).
fn at_most(k: usize, n: usize, p: f64) -> f64 {
    if p <= 0.0 || k >= n {
        return 1.0;
    }
    if p >= 1.0 {
        return 0.0;
    }
    let mut term = n as f64 * (1.0 - p).ln();
    let mut sum = term.exp();
    for i in 1..=k {
        term += ((n - i + 1) as f64 / i as f64).ln() + (p / (1.0 - p)).ln();
        sum += term.exp();
    }
    sum.min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Cumulative binomial probabilities of handbook tables (n = 10, p = 0.3; n = 20, p = 0.5).
    #[test]
    fn the_binomial_distribution_is_the_handbooks() {
        for (k, n, p, table) in
            [(2, 10, 0.3, 0.3828), (5, 10, 0.3, 0.9527), (7, 20, 0.5, 0.1316), (0, 10, 0.3, 0.0282)]
        {
            assert!((at_most(k, n, p) - table).abs() < 5e-5, "{k} of {n} at {p}");
        }
    }

    #[test]
    fn a_target_fails_beyond_chance_alone() {
        let of_200 = |seen| Target::new("", seen, 200, Bound::AtLeast(0.95)).fails();
        // Mean 190, standard deviation 3.1.
        assert!(!of_200(190) && !of_200(184) && of_200(178));
        assert!(Target::new("", 39, 40, Bound::AtLeast(1.0)).fails());
        assert!(Target::new("", 1, 90, Bound::AtMost(0.0)).fails());
        assert!(!Target::new("", 0, 90, Bound::AtMost(0.0)).fails());
    }
}
