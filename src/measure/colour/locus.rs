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

static GRID: LazyLock<Vec<[f64; 2]>> = LazyLock::new(|| {
    let steps = ((LAST_MIRED - FIRST_MIRED) / GRID_MIRED) as usize;
    (0..=steps).map(|i| point(FIRST_MIRED + GRID_MIRED * i as f64).uv).collect()
});

/// A point of the locus and its direction of travel per mired.
struct LocusPoint {
    uv: [f64; 2],
    slope: [f64; 2],
}

/// Planck's law summed over the observer; slope by the quotient rule.
fn point(mired: f64) -> LocusPoint {
    let (mut sum, mut slope) = ([0.0; 3], [0.0; 3]);
    for (i, cmf) in CMF.iter().enumerate() {
        let metres = (FIRST_NM + STEP_NM * i as f64) * 1e-9;
        let per_mired = C2 * 1e-6 / metres;
        let below = (per_mired * mired).exp_m1();
        let power = metres.powi(-5) / below;
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
    if ahead(low) < 0.0 || ahead(high) > 0.0 {
        return None;
    }
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if ahead(middle) > 0.0 { low = middle } else { high = middle }
    }
    let mired = 0.5 * (low + high);
    let foot = point(mired).uv;
    let distance = (uv[0] - foot[0]).hypot(uv[1] - foot[1]);
    let duv = if uv[1] >= foot[1] { distance } else { -distance };
    Some(Light { cct_k: Mired::new(mired).kelvin(), duv: Duv::new(duv) })
}
