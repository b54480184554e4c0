//! The random part of the readings: noise, the walk of the light, and what repeats show beyond both.

use super::{Reading, WALK};
use crate::measure::strength::Source;
use nalgebra::DMatrix;

/// What consecutive frames of one run differ by beyond noise and walk: standard deviation of one
/// frame common to the channels, and of one channel against green. Shrunk towards zero where few
/// differences tell it; the scale of the random part makes up for the rest.
pub(super) fn extra_scatter(readings: &[Reading]) -> (f64, f64) {
    let (mut common, mut colour) = (Vec::new(), Vec::new());
    for pair in readings.windows(2) {
        let [first, second] = pair else { continue };
        if first.run != second.run || first.time != second.time {
            continue;
        }
        let difference = |c: usize| {
            let (a, b) = (first.channels[c]?, second.channels[c]?);
            Some((b.y - a.y, a.noise.hypot(b.noise)))
        };
        let Some((green, green_noise)) = difference(1) else { continue };
        let walk = WALK * WALK * (second.minutes - first.minutes).abs();
        common.push(green * green - walk - green_noise * green_noise);
        for c in [0, 2] {
            if let Some((other, noise)) = difference(c) {
                let apart = other - green;
                colour.push(apart * apart - noise * noise - green_noise * green_noise);
            }
        }
    }
    let excess = |values: &[f64]| {
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n.max(1.0);
        (mean.max(0.0) / 2.0 * n / (n + 1.0)).sqrt()
    };
    (excess(&common), excess(&colour))
}

/// Covariance of the readings by its sources; `row_of` tells frame and channel of each.
pub(super) fn random_parts(
    readings: &[Reading],
    row_of: &[(usize, usize)],
    scatter: f64,
    colour_scatter: f64,
) -> Vec<(Source, DMatrix<f64>)> {
    let n = row_of.len();
    let start = readings.iter().map(|r| r.minutes).fold(f64::INFINITY, f64::min);
    let noise = |i: usize, c: usize| readings[i].channels[c].map_or(0.0, |r| r.noise);
    let photon = DMatrix::from_fn(n, n, |a, b| {
        let (i, c) = row_of[a];
        // A floor far below any claim keeps the matrix invertible.
        if a == b { noise(i, c).powi(2) + colour_scatter.powi(2) + 1e-12 } else { 0.0 }
    });
    let walk = DMatrix::from_fn(n, n, |a, b| {
        let (i, j) = (row_of[a].0, row_of[b].0);
        WALK * WALK * (readings[i].minutes.min(readings[j].minutes) - start)
    });
    let repeats =
        DMatrix::from_fn(
            n,
            n,
            |a, b| {
                if row_of[a].0 == row_of[b].0 { scatter * scatter } else { 0.0 }
            },
        );
    vec![(Source::Noise, photon), (Source::Walk, walk), (Source::Repeats, repeats)]
}
