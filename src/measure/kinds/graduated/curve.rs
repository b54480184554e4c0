//! Curves from the clear end (0) to the dark one (1) of a graduation, all 10 to 90 % over their width.

use statrs::function::erf::erf;
use std::f64::consts::{LN_2, PI, SQRT_2};

/// Widths from 10 to 90 % over each curve's own parameter: 2 x 1.2815516 standard deviations
/// (handbook table of the normal distribution), 2 ln 9, and 0.8 of a ramp.
const ERF_WIDTH: f64 = 2.563_103_1;
const LOGISTIC_WIDTH: f64 = 4.394_449_2;
const RAMP_WIDTH: f64 = 0.8;
/// A step in stops below this is as good as none.
const NO_STEP: f64 = 1e-6;
/// Halvings in which the pupil's part is found.
const HALVINGS: usize = 40;

/// How the strength grows across the line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Curve {
    Erf,
    Logistic,
    Ramp,
    /// A hard edge that the lens's round pupil blurs: light is added up, not stops, so the dark end is
    /// reached late and steeply.
    Pupil,
}

impl Curve {
    pub const ALL: [Self; 4] = [Self::Erf, Self::Logistic, Self::Ramp, Self::Pupil];
}

/// A curve at its width; that of a pupil depends on the step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Bend {
    curve: Curve,
    width: f64,
    step: f64,
    /// Of a pupil: where in it the half lies, and how much of it the width is, in radii.
    half: f64,
    radii: f64,
}

impl Bend {
    /// Of this width in heights and step in stops.
    pub fn new(curve: Curve, width: f64, step: f64) -> Self {
        let (half, radii) = if curve == Curve::Pupil {
            let at = |share| pupil_at(lit(share, step));
            (at(0.5), at(0.9) - at(0.1))
        } else {
            (0.0, 0.0)
        };
        Self { curve, width, step, half, radii }
    }
    /// At a distance from the half towards the dark end, in heights.
    pub fn share(&self, distance: f64) -> f64 {
        let d = distance / self.width;
        match self.curve {
            Curve::Erf => 0.5 * (1.0 + erf(d * ERF_WIDTH / SQRT_2)),
            Curve::Logistic => 1.0 / (1.0 + (-d * LOGISTIC_WIDTH).exp()),
            Curve::Ramp => (0.5 + d * RAMP_WIDTH).clamp(0.0, 1.0),
            Curve::Pupil => {
                let covered = pupil(self.half + self.radii * d);
                if self.step.abs() < NO_STEP {
                    return covered;
                }
                -(covered * (-self.step * LN_2).exp_m1()).ln_1p() / (self.step * LN_2)
            }
        }
    }
}

/// The part of a round pupil that must be covered for this share of the step.
fn lit(share: f64, step: f64) -> f64 {
    if step.abs() < NO_STEP {
        return share;
    }
    (-share * step * LN_2).exp_m1() / (-step * LN_2).exp_m1()
}

/// Part of a disc of radius 1 on one side of a chord at this distance from its middle (segment of a
/// circle, from handbooks).
fn pupil(at: f64) -> f64 {
    let t = at.clamp(-1.0, 1.0);
    0.5 + (t * (1.0 - t * t).sqrt() + t.asin()) / PI
}

/// The chord that leaves this part.
fn pupil_at(part: f64) -> f64 {
    let (mut low, mut high) = (-1.0, 1.0);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if pupil(middle) < part { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What the width promises, and the segment of a circle at half its radius: 1/3 - sqrt 3 / (4 pi)
    /// of the disc lies beyond the chord (handbook formula).
    #[test]
    fn a_tenth_a_half_and_nine_tenths_lie_where_the_width_says() {
        for curve in Curve::ALL {
            for step in [0.0, 0.9, 3.0, 10.0] {
                let bend = Bend::new(curve, 0.2, step);
                assert!((bend.share(0.0) - 0.5).abs() < 1e-6, "{curve:?} {step}");
                let shares = [0.1, 0.9].map(|share| {
                    let places = (-3000..3000).map(|k| f64::from(k) * 1e-4);
                    places.into_iter().find(|d| bend.share(*d) >= share).unwrap_or(9.0)
                });
                assert!((shares[1] - shares[0] - 0.2).abs() < 3e-4, "{curve:?} {step} {shares:?}");
            }
        }
        let segment = 1.0 / 3.0 - 3.0_f64.sqrt() / (4.0 * PI);
        assert!((pupil(-0.5) - segment).abs() < 1e-12);
    }
}
