//! A first look at each frame, which sorting goes by: coarse maps, clipping, darkness, and whether it
//! is a picture with too much fine detail for a wall.

use super::times::Understood;
use crate::frame::cfa::Plane;
use crate::levels::{CLIPPED_SHARE, LevelFrame, clipped_shares, from_14_bit};
use crate::numerics::robust::{median, quantile};
use crate::quantity::Percent;
use crate::reduce::grid::{FrameSummary, PlaneCells};

/// Blocks across and down of the coarse map.
pub const COARSE: usize = 11;
/// Standard deviations of black within which a frame counts as dark.
const DARK_SIGMAS: f64 = 3.0;
/// From this time on black may creep up, seconds, by so many counts at 14 bit (ours).
const LONG_S: f64 = 1.0;
const CREEP_COUNTS: f64 = 2.0;
/// Share of blocks that may glow beyond that: an amplifier in a corner, whose light reaches over half of
/// the frame from so many seconds on (ours).
const GLOW_SHARE: f64 = 0.1;
const WIDE_GLOW_SHARE: f64 = 0.45;
const WIDE_GLOW_S: f64 = 20.0;
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
    let seconds = exposure.map_or(0.0, |e| e.recorded.get());
    let exposure = exposure.map_or(0.0, Understood::log_exposure);
    let green = levels.blocks(1, COARSE, COARSE);
    let stops = |level: f64| if level > 0.0 { level.log2() - exposure } else { f64::NAN };
    let first_green = summary.cells.plane(Plane::Green1);
    let variances = first_green.map_or_else(Vec::new, PlaneCells::variances);
    let sigma = block_sigma(&variances, levels);
    let (dark, below_black) = darkness(summary, levels, &green, sigma, seconds);
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
        detail: detail(levels, &variances),
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
fn block_sigma(variances: &[f64], levels: &LevelFrame) -> f64 {
    let pixels: f64 = levels
        .planes
        .iter()
        .find(|p| p.plane == Plane::Green1)
        .map_or(1.0, |p| p.pixels.iter().sum::<f64>() / (COARSE * COARSE) as f64);
    let variance = median(variances.iter().copied()).unwrap_or(f64::NAN);
    (variance / pixels.max(1.0) + levels.black_doubt.powi(2)).sqrt()
}

/// Whether the frame is as dark as black but for glow in a few places, and whether it lies far below.
/// `green` are the coarse blocks of that channel.
fn darkness(
    summary: &FrameSummary,
    levels: &LevelFrame,
    green: &[f64],
    sigma: f64,
    seconds: f64,
) -> (bool, bool) {
    let creep = if seconds >= LONG_S { from_14_bit(CREEP_COUNTS, summary) } else { 0.0 };
    let glows = if seconds >= WIDE_GLOW_S { WIDE_GLOW_SHARE } else { GLOW_SHARE };
    let most = DARK_SIGMAS * sigma + creep;
    let (mut dark, mut below) = (true, false);
    for channel in 0..3 {
        let blocks = match channel {
            1 => green.to_vec(),
            _ => levels.blocks(channel, COARSE, COARSE),
        };
        let all_but_glow = quantile(blocks.iter().copied(), 1.0 - glows);
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
/// explains, patterns that filters make apart. `variances` are those within the cells of the first
/// green, counts squared: over its pixels an upper bound for the variance of a cell's mean, since
/// shading and non-uniformity within the cell are in it.
///
/// What two polarisers, glass or a lens do is the same half a turn round the frame's centre, however
/// steep, and what a graduation or uneven light does runs one way; a picture is neither. So each
/// cell is held against its opposite, and of four neighbours the mixed difference is taken: both
/// kinds of pattern cancel, while unlike detail adds in squares, which the factor of two takes back.
fn detail(levels: &LevelFrame, variances: &[f64]) -> f64 {
    let odd = Odd::of(levels, variances);
    // Detail within cells counts as their noise too; where most cells are that noisy it is noise.
    let typical = odd.typical().unwrap_or(f64::NAN);
    let most = DETAIL_STOPS.max(2.0 * typical);
    let (mut seen, mut busy) = (0_usize, 0_usize);
    let mut above: Option<(Vec<f64>, Vec<f64>)> = None;
    // A frame may have no cells at all.
    for row in 0..odd.stops.len() / odd.columns.max(1) {
        let row = row * odd.columns..(row + 1) * odd.columns;
        let two = |values: &[f64], of: &dyn Fn(f64, f64) -> f64| -> Vec<f64> {
            values[row.clone()].windows(2).map(|two| of(two[0], two[1])).collect()
        };
        let here = (two(&odd.stops, &|a, b| b - a), two(&odd.variance, &|a, b| a + b));
        if let Some((steps, variances)) = above {
            let before = steps.iter().zip(&variances);
            for ((a, s), (b, t)) in before.zip(here.0.iter().zip(&here.1)) {
                // NaN where one of the four is not known.
                let apart = (b - a).abs() / 2.0;
                let shot = (s + t).max(0.0).sqrt() / 2.0;
                seen += usize::from(!apart.is_nan());
                busy += usize::from(apart > DETAIL_STOPS + NOISE_SIGMAS * shot.min(most));
            }
        }
        above = Some(here);
    }
    if seen > 0 { busy as f64 / seen as f64 } else { 0.0 }
}

/// Whole cells of green held against their opposites, row-major; NaN where one of the two is dark.
struct Odd {
    columns: usize,
    /// How much lighter each is than its opposite.
    stops: Vec<f64>,
    /// Variance of that by noise.
    variance: Vec<f64>,
}

impl Odd {
    fn of(levels: &LevelFrame, variances: &[f64]) -> Self {
        // Partial cells at the edges have no opposite of their size.
        let (columns, rows) = (levels.size.0 / levels.side, levels.size.1 / levels.side);
        let cells = levels.channel_cells(1);
        let pixels = levels.planes.iter().find(|p| p.plane == Plane::Green1);
        let pixels = pixels.map_or(&[][..], |p| &p.pixels);
        let at = |place: usize| place / columns * levels.columns + place % columns;
        let shot = |cell: usize| {
            let noise = variances.get(cell).map_or(0.0, |v| v / pixels[cell].max(1.0));
            noise / (cells[cell] * cells[cell]) / std::f64::consts::LN_2.powi(2)
        };
        let count = columns * rows;
        let (mut stops, mut variance) = (vec![f64::NAN; count], vec![f64::NAN; count]);
        // What one is to its opposite the opposite is to it, the other way.
        for (place, opposite) in (0..count.div_ceil(2)).map(|place| (place, count - 1 - place)) {
            let (here, there) = (at(place), at(opposite));
            if cells[here] > 0.0 && cells[there] > 0.0 {
                let apart = (cells[here] / cells[there]).log2();
                (stops[place], stops[opposite]) = (apart, -apart);
                let both = shot(here) + shot(there);
                (variance[place], variance[opposite]) = (both, both);
            }
        }
        Self { columns, stops, variance }
    }
    /// Typical deviation by noise; each is its opposite's too.
    fn typical(&self) -> Option<f64> {
        let half = self.variance.len().div_ceil(2);
        median(self.variance[..half].iter().map(|variance| variance.sqrt()))
    }
}
