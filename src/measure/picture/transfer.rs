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

/// The modulation transfer function of an edge; `None` where nothing is left within the window.
#[must_use]
pub fn transfer(spread: &Spread, window: Window) -> Option<Transfer> {
    let weighted = spread.slopes().map(|(d, slope)| (d, window.weight(d), slope));
    let slopes: Vec<(f64, f64)> =
        weighted.filter(|s| s.1 > 0.0).map(|(d, weight, slope)| (d, weight * slope)).collect();
    let (first, all) = (slopes.first()?.0, slopes.iter().map(|s| s.1).sum::<f64>());
    if all.abs() <= 0.0 {
        return None;
    }
    let steps = (HIGHEST / STEP).round() as usize;
    let modulation = (0..=steps).map(|i| {
        let frequency = i as f64 * STEP;
        let turn = -2.0 * PI * frequency;
        // Evenly spaced: each phase is the one before, turned by one knot.
        let (sin, cos) = (turn * KNOT_PX).sin_cos();
        let (mut s, mut c) = (turn * first).sin_cos();
        let (mut real, mut imaginary) = (0.0, 0.0);
        for (_, slope) in &slopes {
            real += slope * c;
            imaginary += slope * s;
            (c, s) = (c * cos - s * sin, s * cos + c * sin);
        }
        real.hypot(imaginary) / all.abs() * pieces_do(frequency)
    });
    Some(Transfer { modulation: modulation.collect() })
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
