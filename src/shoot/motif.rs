//! What is not the test surface: a picture with too much fine detail for a wall.

use super::levels::LevelFrame;
use super::look::median;

/// Neighbouring cells that differ by more than this are detail, stops (ours).
const DETAIL_STOPS: f64 = 0.1;
/// More of the frame than this in detail is no wall (ours).
pub const DETAIL_SHARE: f64 = 0.05;
/// Noise of the difference is allowed for up to this many standard deviations.
const NOISE_SIGMAS: f64 = 4.0;

/// Share of places where neighbouring cells (green) differ by more than 0.1 stop beyond what noise
/// explains, patterns that filters make apart. `noise` is the variance of a cell's mean in counts
/// squared.
///
/// What two polarisers, glass or a lens do is the same half a turn round the frame's centre, however
/// steep, and what a graduation or uneven light does runs one way; a picture is neither. So each
/// cell is held against its opposite, and of four neighbours the mixed difference is taken: both
/// kinds of pattern cancel, while unlike detail adds in squares, which the factor of two takes back.
#[must_use]
pub fn detail(levels: &LevelFrame, noise: &[f64]) -> f64 {
    let cells = levels.channel_cells(1);
    // Partial cells at the edges have no opposite of their size.
    let (columns, rows) = (levels.size.0 / levels.side, levels.size.1 / levels.side);
    let at = |row: usize, column: usize| row * levels.columns + column;
    let odd = |row: usize, column: usize| {
        let (here, there) = (at(row, column), at(rows - 1 - row, columns - 1 - column));
        let shot = |i: usize| {
            let n = noise.get(i).copied().unwrap_or(0.0);
            n / (cells[i] * cells[i]) / std::f64::consts::LN_2.powi(2)
        };
        let both = cells[here] > 0.0 && cells[there] > 0.0;
        both.then(|| ((cells[here] / cells[there]).log2(), shot(here) + shot(there)))
    };
    let odd: Vec<Option<(f64, f64)>> =
        (0..rows).flat_map(|r| (0..columns).map(move |c| (r, c))).map(|(r, c)| odd(r, c)).collect();
    // Detail within cells counts as their noise too; where most cells are that noisy it is noise.
    let typical = median(odd.iter().flatten().map(|o| o.1.sqrt()).collect());
    let most = DETAIL_STOPS.max(2.0 * typical);
    let (mut seen, mut busy) = (0_usize, 0_usize);
    for row in 1..rows {
        for column in 1..columns {
            let (above, here) = ((row - 1) * columns + column, row * columns + column);
            let four = [odd[above - 1], odd[above], odd[here - 1], odd[here]];
            let [Some((a, s)), Some((b, t)), Some((c, u)), Some((d, v))] = four else { continue };
            seen += 1;
            let shot = (s + t + u + v).max(0.0).sqrt() / 2.0;
            let apart = (a - b - c + d).abs() / 2.0;
            if apart > DETAIL_STOPS + NOISE_SIGMAS * shot.min(most) {
                busy += 1;
            }
        }
    }
    if seen > 0 { busy as f64 / seen as f64 } else { 0.0 }
}
