//! The pattern of a map: even darkening, tilt, saddle and four-armed cross.

use super::doubt::{self, Doubt};
use crate::measure::map::{GREEN, RatioMap};
use crate::numerics::harmonics::{SMOOTH_TERMS, smooth_terms, wrapped};
use crate::numerics::least_squares::{LinearFit, robust_fit};
use crate::profile::{Directed, Pattern};
use crate::quantity::{Degrees, Stops};

/// Rms of the residual from which the harmonics do not describe the map, in stops (ours).
pub const VALID_RESIDUAL: f64 = 0.1;

/// A pattern fitted to the green map.
#[derive(Clone, Debug, PartialEq)]
pub struct PatternFit {
    fit: LinearFit,
    noise: f64,
    doubt: Doubt,
}

/// Fits the green map without the cells that `skip` marks. `None` where too few cells are known.
#[must_use]
pub fn fit(map: &RatioMap, skip: &[bool]) -> Option<PatternFit> {
    let (rows, values) = map.rows(map.green(), |i, _| !skip[i], smooth_terms);
    if values.len() < 2 * SMOOTH_TERMS {
        return None;
    }
    let fit = robust_fit(&rows, &values, map.noise[GREEN])?;
    let noise = map.noise[GREEN];
    let doubt = Doubt::of(map, noise.max(fit.rms()));
    Some(PatternFit { fit, noise, doubt })
}

impl PatternFit {
    /// The rotationally even part and the tilt at a place.
    #[must_use]
    pub fn even_and_tilt(&self, x: f64, y: f64) -> f64 {
        let (terms, c) = (smooth_terms(x, y), &self.fit.coefficients);
        (0..6).map(|i| c[i] * terms[i]).sum()
    }
    /// As it stands in the profile.
    #[must_use]
    pub fn record(&self) -> Pattern {
        let c = &self.fit.coefficients;
        let residual = self.fit.rms();
        let directed = |[a, b]: [usize; 2], order: u32, change: f64| Directed {
            u95: Some(self.doubt.of_amplitude(&self.fit, [a, b], change)),
            ..directed(c[a], c[b], order)
        };
        Pattern {
            valid: residual <= VALID_RESIDUAL,
            falloff_stops: Stops::new(c[3] + c[4] + c[5]),
            falloff_u95: Some(self.doubt.of_sum(&self.fit, &[3, 4, 5], doubt::FALLOFF_CHANGE)),
            tilt: directed([1, 2], 1, doubt::TILT_CHANGE),
            saddle: directed([6, 7], 2, doubt::SADDLE_CHANGE),
            cross: directed([8, 9], 4, doubt::CROSS_CHANGE),
            residual_stops: Stops::new(residual),
            noise_stops: Stops::new(self.noise),
        }
    }
}

/// Peak to peak at the corner radius and the direction of the most stops, for a term
/// a cos(k phi) + b sin(k phi); the direction lies in 0 <= angle < 360 / k.
fn directed(a: f64, b: f64, order: u32) -> Directed {
    Directed {
        stops: Stops::new(2.0 * a.hypot(b)),
        u95: None,
        angle: Degrees::new(phase(a, b, order)),
    }
}

/// Direction of the maximum of a cos(k phi) + b sin(k phi) in degrees, 0 <= angle < 360 / k.
fn phase(a: f64, b: f64, order: u32) -> f64 {
    let k = f64::from(order);
    wrapped(b.atan2(a).to_degrees() / k, 360.0 / k)
}
