//! What is not the test surface: a picture with too much fine detail for a wall.

use super::levels::LevelFrame;

/// Neighbouring cells that differ by more than this are detail, stops (ours).
const DETAIL_STOPS: f64 = 0.1;
/// More of the frame than this in detail is no wall (ours).
pub const DETAIL_SHARE: f64 = 0.05;
/// Noise of the difference is allowed for up to this many standard deviations.
const NOISE_SIGMAS: f64 = 4.0;

/// Share of neighbouring pairs of cells (green, across and down) that differ by more than 0.1 stop
/// beyond what noise explains. `noise` is the variance of a cell's mean in counts squared.
#[must_use]
pub fn detail(levels: &LevelFrame, noise: &[f64]) -> f64 {
    let cells = levels.channel_cells(1);
    let (mut seen, mut busy) = (0_usize, 0_usize);
    let mut look = |a: usize, b: usize| {
        let (x, y) = (cells[a], cells[b]);
        if !(x > 0.0 && y > 0.0) {
            return;
        }
        seen += 1;
        let shot = noise.get(a).zip(noise.get(b)).map_or(0.0, |(n, m)| {
            (n / (x * x) + m / (y * y)).max(0.0).sqrt() / std::f64::consts::LN_2
        });
        if (x / y).log2().abs() > DETAIL_STOPS + NOISE_SIGMAS * shot.min(DETAIL_STOPS) {
            busy += 1;
        }
    };
    for row in 0..levels.rows {
        for column in 0..levels.columns {
            let here = row * levels.columns + column;
            if column + 1 < levels.columns {
                look(here, here + 1);
            }
            if row + 1 < levels.rows {
                look(here, here + levels.columns);
            }
        }
    }
    if seen > 0 { busy as f64 / seen as f64 } else { 0.0 }
}
