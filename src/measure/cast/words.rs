//! A cast in plain words: "neutral", "a little cool and green", "clearly warm".
//!
//! The thresholds are ours. How much is told by CIEDE2000 (one unit is about the least that is
//! seen side by side); which way by the shifts along and across the Planckian locus, each brought
//! to that scale.

use crate::quantity::{Duv, Mired, Stops};

/// Below this a neutral stays neutral; then "a little", "clearly", "strongly".
const SEEN: f64 = 1.0;
const CLEAR: f64 = 5.0;
const STRONG: f64 = 10.0;
/// Shifts that make about one unit of CIEDE2000 at L* = 50 in daylight.
const MIRED_PER_UNIT: f64 = 5.0;
const DUV_PER_UNIT: f64 = 0.001_25;
/// A direction is named from this share of the larger one.
const NAMED_FROM: f64 = 0.4;
/// Shifts in daylight per stop of difference, blue less red and green less the others, for words
/// where no matrix is known.
const MIRED_PER_STOP: f64 = 100.0;
const DUV_PER_STOP: f64 = -0.086;

/// From shifts and CIEDE2000.
#[must_use]
pub fn of(mired: Mired, duv: Duv, delta_e: f64) -> String {
    let how_much = match delta_e {
        d if d < SEEN => return "neutral".to_owned(),
        d if d < CLEAR => "a little",
        d if d < STRONG => "clearly",
        _ => "strongly",
    };
    let along = mired.get() / MIRED_PER_UNIT;
    let across = duv.get() / DUV_PER_UNIT;
    let larger = along.abs().max(across.abs());
    let named = |size: f64, up: &'static str, down: &'static str| {
        (size.abs() >= NAMED_FROM * larger).then_some(if size > 0.0 { up } else { down })
    };
    let ways: Vec<_> = [named(along, "warm", "cool"), named(across, "green", "magenta")]
        .into_iter()
        .flatten()
        .collect();
    format!("{how_much} {}", ways.join(" and "))
}

/// From channel strengths alone, where no matrix is known.
#[must_use]
pub fn from_channels(stops: [Stops; 3]) -> String {
    let [red, green, blue] = stops.map(Stops::get);
    let mired = MIRED_PER_STOP * (blue - red);
    let duv = DUV_PER_STOP * (green - 0.5 * (red + blue));
    of(Mired::new(mired), Duv::new(duv), f64::hypot(mired / MIRED_PER_UNIT, duv / DUV_PER_UNIT))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(mired: f64, duv: f64, delta_e: f64) -> String {
        of(Mired::new(mired), Duv::new(duv), delta_e)
    }

    #[test]
    fn how_much_and_which_way() {
        assert_eq!(words(2.0, 0.0002, 0.5), "neutral");
        assert_eq!(words(-8.0, 0.002, 2.2), "a little cool and green");
        assert_eq!(words(13.5, -0.0008, 2.8), "a little warm");
        assert_eq!(words(46.0, -0.0026, 8.3), "clearly warm");
        assert_eq!(words(-5.0, 0.0166, 11.4), "strongly green");
        assert_eq!(words(174.0, -0.0317, 20.3), "strongly warm and magenta");
    }

    #[test]
    fn without_a_matrix_the_channels_speak() {
        let from = |r, g, b| from_channels([r, g, b].map(Stops::new));
        assert_eq!(from(10.0, 10.0, 10.0), "neutral");
        assert_eq!(from(9.8, 10.03, 10.22), "clearly warm");
        assert_eq!(from(6.05, 5.94, 5.85), "a little cool");
        assert_eq!(from(9.84, 9.64, 9.84), "strongly green");
    }
}
