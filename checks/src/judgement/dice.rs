//! Draws that a seed fixes: the same shoot of the same class comes out the same whatever ran before.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A stream of draws.
#[derive(Clone)]
pub struct Dice(ChaCha8Rng);

impl Dice {
    /// The stream that these numbers name.
    pub fn of(parts: &[u64]) -> Self {
        // FNV-1a, offset basis and prime of its authors' page (from memory).
        let mixed = parts
            .iter()
            .flat_map(|p| p.to_le_bytes())
            .fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
                (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
            });
        Self(ChaCha8Rng::seed_from_u64(mixed))
    }
    /// Evenly between two numbers.
    pub fn uniform(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.0.random::<f64>()
    }
    /// Evenly on the logarithm between two positive numbers.
    pub fn log_uniform(&mut self, from: f64, to: f64) -> f64 {
        self.uniform(from.ln(), to.ln()).exp()
    }
    /// Normal of mean 0 and standard deviation 1.
    pub fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }
    /// True with this probability.
    pub fn chance(&mut self, share: f64) -> bool {
        self.0.random_bool(share)
    }
    /// -1 or 1.
    pub fn sign(&mut self) -> f64 {
        if self.chance(0.5) { 1.0 } else { -1.0 }
    }
    /// A whole number below `n`.
    pub fn below(&mut self, n: usize) -> usize {
        self.0.random_range(0..n)
    }
    /// One of a few.
    pub fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.below(of.len())]
    }
    /// A number for streams of their own.
    pub fn number(&mut self) -> u64 {
        self.0.random()
    }
}
