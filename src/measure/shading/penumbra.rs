//! Light at the edge of something near the lens: a disc-shaped pupil cut by a straight edge.

use crate::measure::map::RatioMap;

/// Shade is followed down to this transmittance.
const LEAST_LIGHT: f64 = 1.0 / 256.0;
/// Samples across a cell, each way.
const SAMPLES: usize = 3;
/// A cell reaches this share of its side from its centre: half its diagonal, and a little.
pub(super) const CELL_REACH: f64 = 0.75;

/// A cell with what it has beyond the smooth part.
pub(super) struct RimCell {
    /// To the right, in half diagonals.
    pub x: f64,
    /// Upwards.
    pub y: f64,
    /// Extra stops, no more than a shade is followed down to.
    pub excess: f64,
}

/// The known cells beyond a radius in half diagonals.
pub(super) fn cells(map: &RatioMap, excess: &[Option<f64>], beyond: f64) -> Vec<RimCell> {
    let most = -LEAST_LIGHT.log2();
    let cell = |(i, excess): (usize, &Option<f64>)| {
        let (x, y) = map.position(i);
        let excess = (*excess)?.min(most);
        (x.hypot(y) > beyond).then_some(RimCell { x, y, excess })
    };
    excess.iter().enumerate().filter_map(cell).collect()
}

/// Share of the light that passes where the middle of the penumbra lies so far ahead:
/// 1/2 + (x sqrt(1 - x^2) + asin x) / pi.
fn light(ahead: f64, width: f64) -> f64 {
    let u = (2.0 * ahead / width).clamp(-1.0, 1.0);
    0.5 + (u * (1.0 - u * u).sqrt() + u.asin()) / std::f64::consts::PI
}

/// The shade in stops where the middle of the penumbra lies so far ahead.
pub(super) fn stops(ahead: f64, width: f64) -> f64 {
    -light(ahead, width).max(LEAST_LIGHT).log2()
}

/// The shade of a cell in stops, light averaged over it; `ahead` tells at each place how far ahead
/// the middle of the penumbra lies.
pub(super) fn cell_stops(
    ahead: impl Fn(f64, f64) -> f64,
    width: f64,
    (x, y): (f64, f64),
    side: f64,
) -> f64 {
    if ahead(x, y) > width / 2.0 + CELL_REACH * side {
        return 0.0;
    }
    let step = side / SAMPLES as f64;
    let offset = |k: usize| (k as f64 - (SAMPLES as f64 - 1.0) / 2.0) * step;
    let mut sum = 0.0;
    for i in 0..SAMPLES {
        for j in 0..SAMPLES {
            sum += light(ahead(x + offset(i), y + offset(j)), width);
        }
    }
    -(sum / (SAMPLES * SAMPLES) as f64).max(LEAST_LIGHT).log2()
}
