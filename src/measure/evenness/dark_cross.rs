//! The dark cross: absent, forming or present, with known odds.
//!
//! A pair of polarisers makes patterns of orders 2 and 4 around the frame's middle and nothing of
//! odd order. So the odd orders 3 and 5 show how much the light, the wall and the holder spoil this
//! very map, and orders 2 and 4 must stand out from that, from the noise of the cells, and from
//! what a light's pattern may change unseen between two runs.

use super::no_pair;
use super::pattern::PatternFit;
use crate::measure::map::noise::roughness;
use crate::measure::map::{GREEN, RatioMap};
use crate::numerics::harmonics::{Harmonics, wrapped};
use crate::numerics::least_squares::{self, LinearFit};
use crate::numerics::robust;
use crate::profile::{CrossState, DarkCross};
use crate::quantity::{Degrees, Stops};
use nalgebra::{Matrix4, Vector4};
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// Shallower than this is no cross, in stops (ours).
const LEAST_DEPTH: f64 = 0.05;
/// From here it is present, in stops (ours).
const PRESENT_DEPTH: f64 = 1.0 / 3.0;
/// Odds that orders 2 and 4 pass for significant where there is no cross.
pub const SIGNIFICANCE: f64 = 0.0005;
/// Share of the cells that is deeper than the depth.
const DEPTH_QUANTILE: f64 = 0.98;
/// Standard uncertainty of a coefficient of low order from a light whose pattern changes by up to
/// 3 % between runs (0.043 stop peak to peak), in stops (ours).
const UNSEEN_CHANGE: f64 = 0.009;
/// Weight of that in degrees of freedom (ours).
const PRIOR_DOF: f64 = 4.0;
/// Orders 2 and 4 in the terms of the decision.
const EVEN: [usize; 4] = [9, 10, 11, 12];
/// Orders 3 and 5.
const ODD: [usize; 4] = [13, 14, 15, 16];
const TERMS: usize = 17;
/// Fewer cells do not tell them apart from noise (ours).
const LEAST_CELLS: usize = 2 * TERMS + 1;

/// 1; x, y and r^2 times them; r^2 to r^8; then orders 2, 4, 3 and 5 with their lowest powers.
fn terms(x: f64, y: f64) -> [f64; TERMS] {
    let Harmonics {
        r2, second: [c2, s2], third: [c3, s3], fourth: [c4, s4], fifth: [c5, s5], ..
    } = Harmonics::at(x, y);
    let (r4, r6) = (r2 * r2, r2 * r2 * r2);
    [1.0, x, y, x * r2, y * r2, r2, r4, r6, r6 * r2, c2, s2, c4, s4, c3, s3, c5, s5]
}

/// Decides on the green map; `skip` marks cells under a ring or holder and specks. `None` where too few cells
/// are left to tell a cross from none.
#[must_use]
pub fn decide(map: &RatioMap, pattern: &PatternFit, skip: &[bool]) -> Option<DarkCross> {
    decide_beyond(map, pattern, |x, y| pattern.even_and_tilt(x, y), skip)
}

/// The same where the even part and the tilt are known, in stops at a place in half diagonals.
#[must_use]
pub fn decide_beyond(
    map: &RatioMap,
    pattern: &PatternFit,
    even_and_tilt: impl Fn(f64, f64) -> f64,
    skip: &[bool],
) -> Option<DarkCross> {
    if (0..map.len()).filter(|&i| !skip[i] && map.green()[i].is_some()).count() < LEAST_CELLS {
        return None;
    }
    let residual = (0..map.len()).filter(|&i| !skip[i]).filter_map(|i| {
        let (x, y) = map.position(i);
        Some(map.green()[i]? - even_and_tilt(x, y))
    });
    let depth = robust::quantile(residual, DEPTH_QUANTILE).unwrap_or(0.0).max(0.0);
    let one_sided = || {
        let falloff = pattern.record().falloff_stops.get();
        depth < PRESENT_DEPTH
            && (no_pair::is_reflection(map, skip, UNSEEN_CHANGE)
                || no_pair::is_tilted_glass(map, skip, UNSEEN_CHANGE, falloff))
    };
    let state = if depth < LEAST_DEPTH || !significant(map, skip)? || one_sided() {
        CrossState::Absent
    } else if depth < PRESENT_DEPTH {
        CrossState::Forming
    } else {
        CrossState::Present
    };
    let angle = (state != CrossState::Absent).then(|| darkest_arm(map, skip)).flatten();
    Some(DarkCross { state, depth_stops: Stops::new(depth), angle: angle.map(Degrees::new) })
}

/// Whether orders 2 and 4 together stand out. `None` where the cells do not fix them.
fn significant(map: &RatioMap, skip: &[bool]) -> Option<bool> {
    let fit = fit(map, map.green(), skip)?;
    let noise = map.noise[GREEN].max(roughness(map.columns, map.green())).max(fit.rms());
    let variance = |i: usize, k: usize| {
        let unseen = if i == k { UNSEEN_CHANGE * UNSEEN_CHANGE } else { 0.0 };
        noise * noise * fit.covariance[(i, k)] + unseen
    };
    let even = Vector4::from_fn(|i, _| fit.coefficients[EVEN[i]]);
    let covariance = Matrix4::from_fn(|i, k| variance(EVEN[i], EVEN[k]));
    let solver = covariance.cholesky()?;
    let statistic = even.dot(&solver.solve(&even)) / 4.0;

    let mut controls: Vec<f64> =
        ODD.iter().map(|&i| fit.coefficients[i].powi(2) / variance(i, i)).collect();
    // a light that changed between the bare runs changed by about half of that in the ratio
    for change in &map.bare_changes {
        if let Some(change) = self::fit(map, change, skip) {
            controls.extend(
                EVEN.iter().map(|&i| (0.5 * change.coefficients[i]).powi(2) / variance(i, i)),
            );
        }
    }
    let dof = PRIOR_DOF + controls.len() as f64;
    let scale = ((PRIOR_DOF + controls.iter().sum::<f64>()) / dof).max(1.0);
    FisherSnedecor::new(4.0, dof).ok().map(|f| f.sf(statistic / scale) < SIGNIFICANCE)
}

fn fit(map: &RatioMap, cells: &[Option<f64>], skip: &[bool]) -> Option<LinearFit> {
    let (rows, values) = map.rows(cells, |i, _| !skip[i], terms);
    let floor = map.noise[GREEN];
    (values.len() >= LEAST_CELLS).then(|| least_squares::robust_fit(&rows, &values, floor))?
}

/// Direction of the darkest arm, 0 <= angle < 180 degrees: where orders 2 and 4 on the ring of full
/// circles around the middle add up to the most stops. Cells count by the square of their radius.
fn darkest_arm(map: &RatioMap, skip: &[bool]) -> Option<f64> {
    const STEPS: u32 = 3600;
    // nearer to the middle there is little of either order
    const INNER: f64 = 0.4;
    let (half_width, half_height) = map.half_sides();
    let (outer, inner) = (half_width.min(half_height), INNER * half_width.min(half_height));
    let on_ring = |i: usize, (x, y): (f64, f64)| {
        let r = x.hypot(y);
        !skip[i] && r < outer && r > inner
    };
    let (rows, values) = map.rows(map.green(), on_ring, |x, y| {
        let r = x.hypot(y);
        let turns = Harmonics::at(x / r, y / r);
        let ([c, s], [c2, s2], [c4, s4]) = (turns.first, turns.second, turns.fourth);
        [1.0, r * r, c, s, c2, s2, c4, s4]
    });
    let weights: Vec<f64> = rows.iter().map(|row| row[1]).collect();
    let c = least_squares::weighted(&rows, &values, &weights)?.coefficients;
    let stops = |step: u32| {
        let phi = std::f64::consts::PI * f64::from(step) / f64::from(STEPS);
        let ((s2, c2), (s4, c4)) = ((2.0 * phi).sin_cos(), (4.0 * phi).sin_cos());
        c[4] * c2 + c[5] * s2 + c[6] * c4 + c[7] * s4
    };
    let best = (0..STEPS).max_by(|&a, &b| stops(a).total_cmp(&stops(b)))?;
    Some(wrapped(180.0 * f64::from(best) / f64::from(STEPS), 180.0))
}
