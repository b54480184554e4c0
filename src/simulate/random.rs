//! Seeded randomness: the same seed gives the same frame, whatever the number of threads.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Poisson, StandardNormal};

/// Above this many electrons the Poisson law is drawn as a normal one of the same variance; its
/// skewness is then below 0.15 and vanishes in sums.
pub const NORMAL_FROM: f64 = 50.0;

/// Mixes numbers into one (the finaliser of SplitMix64; Steele, Lea, Flood 2014).
#[must_use]
pub fn mix(parts: &[u64]) -> u64 {
    parts.iter().fold(0x9E37_79B9_7F4A_7C15, |state, &part| {
        let mut z = (state ^ part).wrapping_add(0x9E37_79B9_7F4A_7C15);
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    })
}

/// A generator for one purpose.
#[must_use]
pub fn generator(parts: &[u64]) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(mix(parts))
}

/// One standard normal number.
pub fn normal(rng: &mut impl Rng) -> f64 {
    rng.sample(StandardNormal)
}

/// A number of electrons of the given mean.
pub fn electrons(mean: f64, rng: &mut impl Rng) -> f64 {
    if mean <= 0.0 {
        return 0.0;
    }
    if mean < NORMAL_FROM
        && let Ok(law) = Poisson::new(mean)
    {
        return law.sample(rng);
    }
    mean + mean.sqrt() * normal(rng)
}

/// A number in 0..1 that depends on its arguments alone.
#[must_use]
pub fn fixed_share(parts: &[u64]) -> f64 {
    (mix(parts) >> 11) as f64 / (1_u64 << 53) as f64
}

/// A standard normal number that depends on its arguments alone.
#[must_use]
pub fn fixed_normal(parts: &[u64]) -> f64 {
    normal(&mut generator(parts))
}
