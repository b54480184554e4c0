//! Noise of one cell of a map, from what the frames of a run differ in, or from the map itself.

use super::FrameLight;
use crate::numerics::robust;

/// Rms of (cell minus mean of its four neighbours) over the rms of one cell, white noise.
const FOUR_NEIGHBOURS: f64 = 1.118_033_988_749_895; // sqrt(1 + 1/4)

/// Folded cells share some of the light of their neighbours, not of those two cells away.
const FAR: usize = 2;

/// Standard uncertainty of a cell of the ratio, per channel, in stops.
///
/// With two frames or more on both sides it comes from differences within the runs, where the
/// fixed pattern of sensor and wall cancels (EMVA 1288, photon transfer from pairs); else from the
/// roughness of the map.
pub(super) fn noise(
    columns: usize,
    bare: [Option<f64>; 3],
    filtered: [Option<f64>; 3],
    stops: &[Vec<Option<f64>>; 3],
) -> [f64; 3] {
    std::array::from_fn(|c| match (bare[c], filtered[c]) {
        (Some(b), Some(f)) => b.hypot(f),
        _ => roughness(columns, &stops[c]),
    })
}

/// Standard uncertainty of a cell of the mean over frames, where some run holds two or more.
pub(super) fn scatter(columns: usize, frames: &[FrameLight], channel: usize) -> Option<f64> {
    let pairs: Vec<f64> = frames
        .windows(2)
        .filter(|w| w[0].run == w[1].run)
        .map(|w| {
            let (a, b) = (&w[0].channels[channel], &w[1].channels[channel]);
            let change: Vec<Option<f64>> = a
                .iter()
                .zip(b)
                .map(|(a, b)| (*a > 0.0 && *b > 0.0).then(|| (a / b).log2()))
                .collect();
            rough(columns, &change, FAR) / std::f64::consts::SQRT_2
        })
        .collect();
    let mean_square = pairs.iter().map(|p| p * p).sum::<f64>() / pairs.len() as f64;
    (!pairs.is_empty()).then(|| (mean_square / frames.len() as f64).sqrt())
}

/// Robust rms of one cell against its four neighbours; smooth patterns and single specks hardly
/// count.
pub(in crate::measure) fn roughness(columns: usize, cells: &[Option<f64>]) -> f64 {
    rough(columns, cells, 1)
}

fn rough(columns: usize, cells: &[Option<f64>], step: usize) -> f64 {
    let rows = cells.len() / columns.max(1);
    let mut steps = Vec::with_capacity(cells.len());
    for row in step..rows.saturating_sub(step) {
        for column in step..columns.saturating_sub(step) {
            let i = row * columns + column;
            let (h, v) = (step, step * columns);
            let around = [i - h, i + h, i - v, i + v].map(|k| cells[k]);
            if let (Some(v), [Some(a), Some(b), Some(c), Some(d)]) = (cells[i], around) {
                steps.push((v - (a + b + c + d) / 4.0).abs());
            }
        }
    }
    robust::DEVIATION_PER_MEDIAN * robust::median(steps).unwrap_or(0.0) / FOUR_NEIGHBOURS
}
