//! What the benches share: a mosaic of 24 megapixels, the floor, the clock.

#![allow(missing_docs)]

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use std::hint::black_box;
use std::time::Instant;

pub const WIDTH: usize = 6_000;
pub const HEIGHT: usize = 4_000;

/// Counts of an evenly lit wall with falloff and noise; some hot pixels where asked for.
pub fn wall(hot_one_in: Option<u32>) -> Vec<u16> {
    let mut random = ChaCha8Rng::seed_from_u64(24);
    let noise = Normal::new(0.0, 20.0).expect("a finite deviation");
    // Noise is drawn once and reused with shifts: the time does not depend on its randomness.
    let drawn: Vec<f64> = (0..65_537).map(|_| noise.sample(&mut random)).collect();
    (0..WIDTH * HEIGHT)
        .map(|i| {
            if hot_one_in.is_some_and(|n| random.random_ratio(1, n)) {
                return random.random_range(3_000..16_000);
            }
            let (x, y) = ((i % WIDTH) as f64 / WIDTH as f64, (i / WIDTH) as f64 / HEIGHT as f64);
            let falloff = 1.0 - 0.5 * ((x - 0.5).powi(2) + (y - 0.5).powi(2));
            (2_500.0 * falloff + drawn[i % drawn.len()]) as u16
        })
        .collect()
}

/// The floor: four sums over all pixels, one for each place of a Bayer pattern.
pub fn four_sums(data: &[u16]) -> [u64; 4] {
    let mut sums = [0; 4];
    for (row, values) in data.chunks_exact(WIDTH).enumerate() {
        let mut lanes = [0_u32; 8];
        let (chunks, rest) = values.as_chunks::<8>();
        for chunk in chunks {
            for (lane, &v) in chunk.iter().enumerate() {
                lanes[lane] += u32::from(v);
            }
        }
        for (lane, &v) in rest.iter().enumerate() {
            lanes[lane] += u32::from(v);
        }
        for (lane, sum) in lanes.iter().enumerate() {
            sums[(row % 2) * 2 + lane % 2] += u64::from(*sum);
        }
    }
    sums
}

/// Milliseconds of the fastest of some runs, since other work on the machine only adds.
pub fn least<T>(runs: usize, mut work: impl FnMut() -> T) -> f64 {
    let time = |work: &mut dyn FnMut() -> T| {
        let start = Instant::now();
        black_box(work());
        start.elapsed().as_secs_f64() * 1e3
    };
    (0..runs).map(|_| time(&mut work)).fold(f64::INFINITY, f64::min)
}
