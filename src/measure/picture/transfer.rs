//! From the edge spread function to the modulation transfer function.

use super::spread::{KNOT_PX, Spread};
use std::f64::consts::PI;

/// Step of the frequencies in cycles per pixel, and the highest one.
pub const STEP: f64 = 0.01;
/// The highest frequency looked at, in cycles per pixel: beyond Nyquist, where an edge still tells.
pub const HIGHEST: f64 = 0.8;
/// Half the Nyquist frequency in cycles per pixel.
pub const HALF_NYQUIST: f64 = 0.25;

/// Which part of the line spread function counts: all of it up to `flat` pixels from the edge, none
/// beyond `end`, a cosine between (Tukey's window, from memory).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Window {
    /// Pixels on either side.
    pub flat: f64,
    /// Pixels on either side.
    pub end: f64,
}

/// Window in units of the distance from 10 to 90 % of the edge, and at least so many pixels. A
/// blurred edge of Gauss' shape has all but 1e-5 of its light within the flat part (ours).
const FLAT_RISES: f64 = 1.7;
const END_RISES: f64 = 2.8;
const LEAST_FLAT_PX: f64 = 3.0;
const LEAST_END_PX: f64 = 5.5;
/// Even pixels beyond the window's end (ours).
const BESIDE_PX: f64 = 2.0;

impl Window {
    /// For an edge that takes so many pixels from 10 to 90 %.
    #[must_use]
    pub fn for_rise(rise: f64) -> Self {
        Self {
            flat: (FLAT_RISES * rise).max(LEAST_FLAT_PX),
            end: (END_RISES * rise).max(LEAST_END_PX),
        }
    }
    /// Pixels that an edge has to be even on either side: the window's, and a little for its levels.
    #[must_use]
    pub fn needs(&self) -> f64 {
        self.end + BESIDE_PX
    }
    fn weight(&self, distance: f64) -> f64 {
        let d = distance.abs();
        if d <= self.flat {
            1.0
        } else if d >= self.end {
            0.0
        } else {
            0.5 * (1.0 + (PI * (d - self.flat) / (self.end - self.flat)).cos())
        }
    }
}

/// Modulation at 0, [`STEP`], 2 [`STEP`], ... cycles per pixel, 1 at 0.
#[derive(Clone, Debug, PartialEq)]
pub struct Transfer {
    /// Modulation.
    pub modulation: Vec<f64>,
}

/// sin(pi x) / (pi x).
fn sinc(x: f64) -> f64 {
    if x.abs() < 1e-9 { 1.0 } else { (PI * x).sin() / (PI * x) }
}

/// What the pieces of a quadratic spline do to a frequency: sinc^3(f h), with knots h apart.
fn pieces_do(frequency: f64) -> f64 {
    sinc(frequency * KNOT_PX).powi(3)
}

/// Frequencies looked at.
const FREQUENCIES: usize = (HIGHEST / STEP + 1.5) as usize;

/// What a window lets through of the line spread function at each frequency.
#[derive(Clone, Debug)]
pub struct Waves {
    /// By the distance from the edge, from half a knot on in steps of a knot: the window's weight, and
    /// cosine and sine at each frequency.
    turns: Vec<(f64, [f64; FREQUENCIES], [f64; FREQUENCIES])>,
    /// What a spline's pieces do to each frequency.
    pieces: [f64; FREQUENCIES],
}

impl Waves {
    /// Through a window.
    #[must_use]
    pub fn through(window: Window) -> Self {
        let frequency = |i: usize| i as f64 * STEP;
        let turn = |distance: f64| -> [(f64, f64); FREQUENCIES] {
            std::array::from_fn(|i| (2.0 * PI * frequency(i) * distance).sin_cos())
        };
        let (mut now, by) = (turn(KNOT_PX / 2.0), turn(KNOT_PX));
        let mut turns = Vec::new();
        // Evenly spaced: each phase is the one before, turned by one knot.
        for k in 0.. {
            let weight = window.weight((k as f64 + 0.5) * KNOT_PX);
            if weight <= 0.0 {
                break;
            }
            turns.push((weight, now.map(|(_, cos)| cos), now.map(|(sin, _)| sin)));
            for ((s, c), (sin, cos)) in now.iter_mut().zip(by) {
                (*c, *s) = (*c * cos - *s * sin, *s * cos + *c * sin);
            }
        }
        Self { turns, pieces: std::array::from_fn(|i| pieces_do(frequency(i))) }
    }

    /// The modulation transfer function of an edge; `None` where nothing is left within the window.
    #[must_use]
    pub fn transfer(&self, spread: &Spread) -> Option<Transfer> {
        let slopes = spread.slopes();
        let middle = slopes.len() / 2;
        let (mut real, mut imaginary) = ([0.0; FREQUENCIES], [0.0; FREQUENCIES]);
        let mut all = 0.0;
        let sides = slopes[middle..].iter().zip(slopes[..middle].iter().rev());
        for ((weight, cos, sin), (far, near)) in self.turns.iter().zip(sides) {
            let (even, odd) = (weight * (far + near), weight * (far - near));
            all += even;
            real.iter_mut().zip(cos).for_each(|(sum, cos)| *sum += even * cos);
            imaginary.iter_mut().zip(sin).for_each(|(sum, sin)| *sum += odd * sin);
        }
        if slopes.is_empty() || all.abs() <= 0.0 {
            return None;
        }
        let sums = real.iter().zip(&imaginary).zip(&self.pieces);
        let modulation =
            sums.map(|((r, i), pieces)| (r * r + i * i).sqrt() / all.abs() * pieces).collect();
        Some(Transfer { modulation })
    }
}

impl Transfer {
    /// Modulation at a frequency in cycles per pixel, up to [`HIGHEST`].
    #[must_use]
    pub fn at(&self, frequency: f64) -> f64 {
        let at = (frequency / STEP).clamp(0.0, (self.modulation.len() - 1) as f64);
        let low = (at.floor() as usize).min(self.modulation.len() - 2);
        let share = at - low as f64;
        self.modulation[low] * (1.0 - share) + self.modulation[low + 1] * share
    }
    /// The frequency at which the modulation falls to a half first, in cycles per pixel; `None` where
    /// it does not up to [`HIGHEST`].
    #[must_use]
    pub fn mtf50(&self) -> Option<f64> {
        let next = self.modulation.iter().position(|m| *m <= 0.5)?;
        let (a, b) = (self.modulation[next.checked_sub(1)?], self.modulation[next]);
        Some((next as f64 - 1.0 + (a - 0.5) / (a - b)) * STEP)
    }
}
