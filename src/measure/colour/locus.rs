//! Correlated colour temperature and Duv: the nearest point of the Planckian locus in CIE 1960 uv
//! (CIE 15; Duv after ANSI C78.377), found to the last digit instead of from a table of isotherms
//! (the accuracy is that of Ohno 2014, LEUKOS 10, 47: 1 K, better here).

use super::observer::{CMF, FIRST_NM, STEP_NM};
use crate::profile::Light;
use crate::quantity::{Duv, Mired};
use std::sync::LazyLock;

/// Second radiation constant, m K (2019 SI, exact h, c and k).
const C2: f64 = 1.438_776_877e-2;
/// Ends of the search, in mired: 100 000 K to 1000 K.
const FIRST_MIRED: f64 = 10.0;
const LAST_MIRED: f64 = 1000.0;
/// Step of the first, coarse search.
const GRID_MIRED: f64 = 5.0;
/// Halvings of a bracket two grid steps wide, down to 1e-9 mired.
const HALVINGS: usize = 34;

/// So far from where it was found, a zero's side is sure: rounding moves it by a thousandth of that.
const SURELY_MIRED: f64 = 1e-8;
const SECANTS: usize = 12;

static GRID: LazyLock<Vec<[f64; 2]>> = LazyLock::new(|| {
    let steps = ((LAST_MIRED - FIRST_MIRED) / GRID_MIRED) as usize;
    (0..=steps).map(|i| point(FIRST_MIRED + GRID_MIRED * i as f64).uv).collect()
});

/// What Planck's law needs of each wavelength of the observer: the second radiation constant over it
/// per mired, and its fifth power below one.
static WAVES: LazyLock<Vec<(f64, f64)>> = LazyLock::new(|| {
    let wave = |i: usize| {
        let metres = (FIRST_NM + STEP_NM * i as f64) * 1e-9;
        (C2 * 1e-6 / metres, metres.powi(-5))
    };
    (0..CMF.len()).map(wave).collect()
});

/// A point of the locus and its direction of travel per mired.
struct LocusPoint {
    uv: [f64; 2],
    slope: [f64; 2],
}

/// Planck's law summed over the observer; slope by the quotient rule.
fn point(mired: f64) -> LocusPoint {
    let (mut sum, mut slope) = ([0.0; 3], [0.0; 3]);
    for (cmf, &(per_mired, fifth)) in CMF.iter().zip(&*WAVES) {
        let below = (per_mired * mired).exp_m1();
        let power = fifth / below;
        let change = -power * per_mired * (1.0 + below) / below;
        for k in 0..3 {
            sum[k] += cmf[k] * power;
            slope[k] += cmf[k] * change;
        }
    }
    let below = sum[0] + 15.0 * sum[1] + 3.0 * sum[2];
    let below_slope = slope[0] + 15.0 * slope[1] + 3.0 * slope[2];
    let ratio = |k: usize, factor: f64| {
        let value = factor * sum[k] / below;
        (value, (factor * slope[k] - value * below_slope) / below)
    };
    let ((u, du), (v, dv)) = (ratio(0, 4.0), ratio(1, 6.0));
    LocusPoint { uv: [u, v], slope: [du, dv] }
}

/// Where a falling function passes zero between two places: false position in Illinois's form (Dowell
/// and Jarratt, BIT 11, 1971, 168), and a look at both sides of what it finds; NaN where it is not
/// there.
fn near_zero(falling: &impl Fn(f64) -> f64, mut low: (f64, f64), mut high: (f64, f64)) -> f64 {
    let (mut before, mut last_was_low) = (f64::NAN, None);
    for _ in 0..SECANTS {
        let next = (low.0 * high.1 - high.0 * low.1) / (high.1 - low.1);
        if (next - before).abs() < 0.1 * SURELY_MIRED {
            let there = falling(next - SURELY_MIRED) > 0.0 && falling(next + SURELY_MIRED) < 0.0;
            return if there { next } else { f64::NAN };
        }
        let value = falling(next);
        let is_low = value > 0.0;
        let again = last_was_low == Some(is_low);
        let (moved, kept) = if is_low { (&mut low, &mut high) } else { (&mut high, &mut low) };
        *moved = (next, value);
        if again {
            kept.1 *= 0.5;
        }
        (before, last_was_low) = (next, Some(is_low));
    }
    f64::NAN
}

/// CIE 1960 uv of a black body.
#[must_use]
pub fn planckian_uv(mired: Mired) -> [f64; 2] {
    point(mired.get()).uv
}

/// CCT and Duv of CIE 1960 uv; `None` where the nearest black body lies outside 1000 K to
/// 100 000 K, or uv is not finite. Where |Duv| exceeds 0.05 a CCT says little (CIE 15): the
/// caller judges.
#[must_use]
pub fn cct_duv(uv: [f64; 2]) -> Option<Light> {
    if !uv.iter().all(|c| c.is_finite()) {
        return None;
    }
    let (nearest, _) = GRID
        .iter()
        .enumerate()
        .map(|(i, p)| (i, (p[0] - uv[0]).hypot(p[1] - uv[1])))
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    // Negative once the locus has gone past the foot of the perpendicular.
    let ahead = |mired: f64| {
        let p = point(mired);
        (uv[0] - p.uv[0]) * p.slope[0] + (uv[1] - p.uv[1]) * p.slope[1]
    };
    let centre = FIRST_MIRED + GRID_MIRED * nearest as f64;
    let mut low = (centre - GRID_MIRED).max(FIRST_MIRED);
    let mut high = (centre + GRID_MIRED).min(LAST_MIRED);
    let (at_low, at_high) = (ahead(low), ahead(high));
    if at_low < 0.0 || at_high > 0.0 {
        return None;
    }
    // Nearly all halvings fall out as that says, without a sum over the observer.
    let about = near_zero(&ahead, (low, at_low), (high, at_high));
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        let is_before = if (middle - about).abs() > SURELY_MIRED {
            middle < about
        } else {
            ahead(middle) > 0.0
        };
        if is_before { low = middle } else { high = middle }
    }
    let mired = 0.5 * (low + high);
    let foot = point(mired).uv;
    let distance = (uv[0] - foot[0]).hypot(uv[1] - foot[1]);
    let duv = if uv[1] >= foot[1] { distance } else { -distance };
    Some(Light { cct_k: Mired::new(mired).kelvin(), duv: Duv::new(duv) })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// A point planted off the locus along its normal is found again, from 1050 K to 80 000 K.
    #[test]
    fn planted_temperatures_are_found_to_the_last_digit() {
        for i in 0..400 {
            let mired = 12.5 + 2.35 * f64::from(i);
            let LocusPoint { uv, slope } = point(mired);
            let length = slope[0].hypot(slope[1]);
            for duv in [-0.02, -1e-3, 0.0, 4e-3, 0.02] {
                // Above the locus v is larger; u falls with the temperature, so slopes point right.
                let normal = [-slope[1] / length, slope[0] / length];
                let up = if normal[1] >= 0.0 { duv } else { -duv };
                let found = cct_duv([uv[0] + up * normal[0], uv[1] + up * normal[1]]).unwrap();
                let off = 1e6 / found.cct_k.get() - mired;
                // Rounding of uv, 1e-16, over the slope, which is 1e-6 a mired at the blue end.
                assert!(off.abs() < 1e-8, "{mired} mired, {duv}: off by {off}");
                assert!((found.duv.get() - duv).abs() < 1e-12, "{mired} mired, {duv}");
            }
        }
    }
}
