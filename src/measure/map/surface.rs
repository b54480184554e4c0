//! Whether frames without and with the filter show the same place of the wall, told by the wall's own
//! grain and blotches: what a cell has beyond its neighbours.

use super::GREEN;
use super::light::Side;

/// A cell minus the mean of its four neighbours holds this much of one cell's variance more.
const FOUR_NEIGHBOURS: f64 = 1.25;
/// A wall whose grain is less than this has none to tell by, in stops (ours).
const LEAST_GRAIN: f64 = 0.002;
/// And less than so many standard uncertainties of what noise makes of it.
const SURE: f64 = 5.0;
/// Cells beyond so many standard deviations are specks or edges.
const ODD: f64 = 5.0;
/// A wall that shows less than this share of its grain in its place has moved (ours).
const IN_PLACE: f64 = 0.6;

/// Whether the wall moved between the two sides; no where it has no grain to tell by.
pub(super) fn moved(columns: usize, bare: &Side, filtered: &Side) -> bool {
    let (Some(bare_noise), Some(noise)) = (bare.scatter[GREEN], filtered.scatter[GREEN]) else {
        return false;
    };
    let grain = |side: &Side| beyond_neighbours(columns, &side.mean.channels[GREEN]);
    let pairs: Vec<(f64, f64)> =
        grain(bare).into_iter().zip(grain(filtered)).filter_map(|(b, f)| b.zip(f)).collect();
    let deviation = crate::numerics::robust::deviation(pairs.iter().map(|p| p.0)).unwrap_or(0.0);
    let usual = pairs.iter().filter(|p| p.0.abs() < ODD * deviation);
    let (mut n, mut bb, mut bf, mut ff) = (0.0, 0.0, 0.0, 0.0);
    for (b, f) in usual {
        n += 1.0;
        bb += b * b;
        bf += b * f;
        ff += f * f;
    }
    let of_noise = FOUR_NEIGHBOURS * bare_noise * bare_noise;
    let grain = bb / n - of_noise;
    let told = SURE * of_noise * (2.0_f64 / n).sqrt();
    if !(grain > told && grain > LEAST_GRAIN * LEAST_GRAIN) {
        return false;
    }
    let share = bf / n / grain;
    let u = (ff / n + FOUR_NEIGHBOURS * noise * noise).sqrt() / (n * grain).sqrt();
    share + 3.0 * u < IN_PLACE
}

/// Every cell but those at the rim in stops of light against the mean of its four neighbours; `None` where
/// one of them is unknown.
pub fn beyond_neighbours(columns: usize, light: &[f64]) -> Vec<Option<f64>> {
    let rows = light.len() / columns.max(1);
    let stops = |i: usize| Some(light[i].log2()).filter(|v| v.is_finite());
    let mut found = Vec::with_capacity(light.len());
    for row in 1..rows.saturating_sub(1) {
        for column in 1..columns.saturating_sub(1) {
            let i = row * columns + column;
            let around = [i - 1, i + 1, i - columns, i + columns].map(stops);
            found.push(match (stops(i), around) {
                (Some(v), [Some(a), Some(b), Some(c), Some(d)]) => Some(v - (a + b + c + d) / 4.0),
                _ => None,
            });
        }
    }
    found
}
