//! A first look at each frame, which sorting goes by: coarse maps, clipping, darkness, and whether it
//! is a picture with too much fine detail for a wall.

use super::times::Understood;
use crate::frame::cfa::Plane;
use crate::levels::{CLIPPED_SHARE, LevelFrame, clipped_shares, from_14_bit};
use crate::numerics::robust::{median, quantile};
use crate::quantity::Percent;
use crate::reduce::grid::{CellGrid, FrameSummary};

/// Blocks across and down of the coarse map.
pub const COARSE: usize = 11;
/// Standard deviations of black within which a frame counts as dark.
const DARK_SIGMAS: f64 = 3.0;
/// From this time on black may creep up, seconds, by so many counts at 14 bit (ours).
const LONG_S: f64 = 1.0;
const CREEP_COUNTS: f64 = 2.0;
/// Share of blocks that may glow beyond that: an amplifier in a corner (ours).
const GLOW_SHARE: f64 = 0.1;
/// A level further below black is no dark frame's, counts at 14 bit (ours; a tag's black is good to
/// half a count).
const BELOW_COUNTS: f64 = 4.0;
/// Neighbouring cells that differ by more than this are detail, stops (ours).
const DETAIL_STOPS: f64 = 0.1;
/// More of the frame than this in detail is no wall (ours).
pub const DETAIL_SHARE: f64 = 0.05;
/// Noise of the difference is allowed for up to this many standard deviations.
const NOISE_SIGMAS: f64 = 4.0;

/// What is seen of a frame at first.
#[derive(Clone, Debug, PartialEq)]
pub struct Look {
    /// log2(green level) - log2(t ISO / N^2) per block, NaN where dark.
    pub map: Vec<f64>,
    /// The same for the centre (middle 20 % x 20 %), NaN where dark.
    pub centre: f64,
    /// The same for the whole frame, light averaged, in stops.
    pub whole: f64,
    /// Standard uncertainty of one block's value from noise, stops.
    pub noise: f64,
    /// Within three standard deviations of black, but for glow in a few places.
    pub dark: bool,
    /// Far below black.
    pub below_black: bool,
    /// Channels that are clipped in the centre: red, green, blue.
    pub clipped: [bool; 3],
    /// Share of clipped pixels in the centre, worst plane.
    pub clipped_percent: Percent,
    /// Share of neighbouring cells that differ by more than 0.1 stop.
    pub detail: f64,
    /// Level of the centre in counts above black: red, green 1, green 2, blue.
    pub levels: [f64; 4],
}

/// Looks at a frame.
#[must_use]
pub fn look(summary: &FrameSummary, levels: &LevelFrame, exposure: Option<&Understood>) -> Look {
    let shares = clipped_shares(&summary.cells);
    let share_of = |planes: &[Plane]| {
        shares.iter().filter(|(p, _)| planes.contains(p)).map(|(_, s)| *s).fold(0.0, f64::max)
    };
    let by_channel = [
        share_of(&[Plane::Red]),
        share_of(&[Plane::Green1, Plane::Green2]),
        share_of(&[Plane::Blue]),
    ];
    let long = exposure.is_some_and(|e| e.recorded.get() >= LONG_S);
    let exposure = exposure.map_or(0.0, Understood::log_exposure);
    let green = levels.blocks(1, COARSE, COARSE);
    let stops = |level: f64| if level > 0.0 { level.log2() - exposure } else { f64::NAN };
    let sigma = block_sigma(summary, levels);
    let (dark, below_black) = darkness(summary, levels, &green, sigma, long);
    let centre = levels.centre_channels().map_or(f64::NAN, |c| c[1].level);
    let plane = |p| levels.centre(p).map(|c| c.level);
    let green_1 = plane(Plane::Green1).unwrap_or(0.0);
    Look {
        centre: stops(centre),
        whole: stops(mean(&green)),
        noise: median(green.iter().filter(|v| **v > 0.0).map(|v| sigma / v)).unwrap_or(f64::NAN)
            / std::f64::consts::LN_2,
        map: green.iter().map(|&v| stops(v)).collect(),
        dark,
        below_black,
        clipped: by_channel.map(|s| s > CLIPPED_SHARE),
        clipped_percent: Percent::new(100.0 * by_channel.iter().copied().fold(0.0, f64::max)),
        detail: detail(levels, &cell_noise(summary)),
        levels: [
            plane(Plane::Red).unwrap_or(0.0),
            green_1,
            plane(Plane::Green2).unwrap_or(green_1),
            plane(Plane::Blue).unwrap_or(0.0),
        ],
    }
}

/// Standard deviation of one block's mean, counts: the typical variance within a cell over the
/// pixels of a block, and the doubt of black.
fn block_sigma(summary: &FrameSummary, levels: &LevelFrame) -> f64 {
    let green = &summary.cells;
    let pixels: f64 = levels
        .planes
        .iter()
        .find(|p| p.plane == Plane::Green1)
        .map_or(1.0, |p| p.pixels.iter().sum::<f64>() / (COARSE * COARSE) as f64);
    let variance = median(variances(green)).unwrap_or(f64::NAN);
    (variance / pixels.max(1.0) + levels.black_doubt.powi(2)).sqrt()
}

/// Variance of the mean of a cell per cell of the first green, counts squared; an upper bound,
/// since shading and non-uniformity within the cell are in it.
fn cell_noise(summary: &FrameSummary) -> Vec<f64> {
    let cells = &summary.cells;
    let Some(green) = cells.plane(Plane::Green1) else { return Vec::new() };
    let each = green.variances().enumerate();
    each.map(|(i, v)| v.map_or(f64::NAN, |v| v / f64::from(green.kept(i)).max(1.0))).collect()
}

fn variances(cells: &CellGrid) -> Vec<f64> {
    let Some(green) = cells.plane(Plane::Green1) else { return Vec::new() };
    green.variances().flatten().collect()
}

/// Whether the frame is as dark as black but for glow in a few places, and whether it lies far below.
/// `green` are the coarse blocks of that channel.
fn darkness(
    summary: &FrameSummary,
    levels: &LevelFrame,
    green: &[f64],
    sigma: f64,
    long: bool,
) -> (bool, bool) {
    let creep = if long { from_14_bit(CREEP_COUNTS, summary) } else { 0.0 };
    let most = DARK_SIGMAS * sigma + creep;
    let (mut dark, mut below) = (true, false);
    for channel in 0..3 {
        let blocks = match channel {
            1 => green.to_vec(),
            _ => levels.blocks(channel, COARSE, COARSE),
        };
        let all_but_glow = quantile(blocks.iter().copied(), 1.0 - GLOW_SHARE);
        dark &= all_but_glow.is_none_or(|level| level <= most);
        let least = -most - from_14_bit(BELOW_COUNTS, summary);
        below |= median(blocks).is_some_and(|level| level < least);
    }
    (dark && !below, below)
}

fn mean(values: &[f64]) -> f64 {
    let finite = values.iter().filter(|v| v.is_finite());
    finite.clone().sum::<f64>() / finite.count().max(1) as f64
}

/// Share of places where neighbouring cells (green) differ by more than 0.1 stop beyond what noise
/// explains, patterns that filters make apart. `noise` is the variance of a cell's mean in counts
/// squared.
///
/// What two polarisers, glass or a lens do is the same half a turn round the frame's centre, however
/// steep, and what a graduation or uneven light does runs one way; a picture is neither. So each
/// cell is held against its opposite, and of four neighbours the mixed difference is taken: both
/// kinds of pattern cancel, while unlike detail adds in squares, which the factor of two takes back.
fn detail(levels: &LevelFrame, noise: &[f64]) -> f64 {
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
    let typical = median(odd.iter().flatten().map(|o| o.1.sqrt())).unwrap_or(f64::NAN);
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
