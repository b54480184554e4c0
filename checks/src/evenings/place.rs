//! Places: what a camera on a tripod sees of them.

use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use std::f64::consts::TAU;

/// A place: ridge, texture of the ground, water or none.
pub struct Place {
    ridge: Vec<(f64, f64, f64)>,
    horizon: f64,
    waves: Vec<(f64, f64, f64, f64)>,
    rocks: Vec<(f64, f64, f64, f64)>,
    sky: f64,
    water: bool,
    pub colour: [f64; 2],
    /// Against the light of the hour.
    pub offset: f64,
}

impl Place {
    pub fn new(r: &mut ChaCha8Rng) -> Self {
        let ridge = (0..5).map(|_| {
            (r.random_range(1.0..9.0), r.random_range(0.0..TAU), r.random_range(0.01..0.05))
        });
        let ridge = ridge.collect();
        let waves = (0..14).map(|_| {
            let angle: f64 = r.random_range(0.0..TAU);
            let k = r.random_range(4.0..26.0);
            (k * angle.cos(), k * angle.sin(), r.random_range(0.0..TAU), r.random_range(0.08..0.35))
        });
        let waves = waves.collect();
        let rocks = (0..r.random_range(4..12)).map(|_| {
            (
                r.random_range(-0.6..1.6),
                r.random_range(0.5..1.0),
                r.random_range(0.02..0.12),
                r.random_range(-2.5..1.2),
            )
        });
        Self {
            ridge,
            waves,
            rocks: rocks.collect(),
            horizon: r.random_range(0.25..0.6),
            sky: r.random_range(0.8..3.0),
            water: r.random_bool(0.5),
            colour: [r.random_range(-0.25..0.25), r.random_range(-0.25..0.25)],
            offset: Normal::new(0.0, 0.8).unwrap().sample(r),
        }
    }

    /// Light in stops about the place's middle, and what of it is sky.
    pub fn at(&self, x: f64, y: f64, time: f64, drift: &[(f64, f64, f64, f64)]) -> (f64, bool) {
        let edge = self.horizon
            + self.ridge.iter().map(|(k, phase, a)| a * (k * x + phase).sin()).sum::<f64>();
        if y < edge {
            let cloud: f64 = drift
                .iter()
                .map(|(kx, ky, phase, a)| a * (kx * (x + 0.02 * time) + ky * y + phase).sin())
                .sum();
            return (self.sky - 0.8 * y + cloud, true);
        }
        let water = self.water && y < edge + 0.25;
        let texture: f64 = self
            .waves
            .iter()
            .map(|(kx, ky, phase, a)| {
                let moved = if water { 3.0 * time } else { 0.0 };
                a * (kx * x + ky * y + phase + moved).sin() * if water { 0.5 } else { 1.0 }
            })
            .sum();
        let rock: f64 = self
            .rocks
            .iter()
            .filter(|(rx, ry, size, _)| (x - rx).hypot(y - ry) < *size)
            .map(|rock| rock.3)
            .sum();
        (texture - 1.0 + rock, false)
    }
}
