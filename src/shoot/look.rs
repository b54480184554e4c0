//! A first look at each frame: coarse maps, clipping, darkness; what sorting goes by.

use super::levels::{LevelFrame, clipped_shares};
use super::times::Understood;
use crate::frame::cfa::Plane;
use crate::quantity::Percent;
use crate::reduce::grid::{CellGrid, FrameSummary};

/// Blocks across and down of the coarse map.
pub const COARSE: usize = 11;
/// Share of clipped pixels in the centre from which a channel is not used.
pub const CLIPPED_SHARE: f64 = 0.001;
/// Standard deviations of black within which a frame counts as dark.
const DARK_SIGMAS: f64 = 3.0;

/// What is seen of a frame at first.
#[derive(Clone, Debug, PartialEq)]
pub struct Look {
    /// log2(green level) - log2(t ISO / N^2) per block, NaN where dark.
    pub map: Vec<f64>,
    /// The same for the centre (middle 20 % x 20 %), NaN where dark.
    pub centre: f64,
    /// The same for the whole frame, light averaged.
    pub whole: f64,
    /// Standard uncertainty of one block's value from noise, stops.
    pub noise: f64,
    /// Within three standard deviations of black everywhere.
    pub dark: bool,
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
    let exposure = exposure.map_or(0.0, Understood::log_exposure);
    let green = levels.blocks(1, COARSE, COARSE);
    let stops = |level: f64| if level > 0.0 { level.log2() - exposure } else { f64::NAN };
    let sigma = block_sigma(summary, levels);
    let centre = levels.centre_channels().map_or(f64::NAN, |c| c[1].level);
    let plane = |p| levels.centre(p).map(|c| c.level);
    let green_1 = plane(Plane::Green1).unwrap_or(0.0);
    Look {
        centre: stops(centre),
        whole: stops(mean(&green)),
        noise: median(green.iter().filter(|v| **v > 0.0).map(|v| sigma / v).collect())
            / std::f64::consts::LN_2,
        map: green.iter().map(|&v| stops(v)).collect(),
        dark: is_dark(levels, sigma),
        clipped: by_channel.map(|s| s > CLIPPED_SHARE),
        clipped_percent: Percent::new(100.0 * by_channel.iter().copied().fold(0.0, f64::max)),
        detail: super::motif::detail(levels, &cell_noise(summary)),
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
    let variance = median(variances(green));
    (variance / pixels.max(1.0) + levels.black_doubt.powi(2)).sqrt()
}

/// Variance of the mean of a cell per cell of the first green, counts squared; an upper bound,
/// since shading and non-uniformity within the cell are in it.
fn cell_noise(summary: &FrameSummary) -> Vec<f64> {
    let cells = &summary.cells;
    let Some(green) = cells.plane(Plane::Green1) else { return Vec::new() };
    (0..green.sum.len())
        .map(|i| green.variance(i).map_or(f64::NAN, |v| v / f64::from(green.kept(i)).max(1.0)))
        .collect()
}

fn variances(cells: &CellGrid) -> Vec<f64> {
    let Some(green) = cells.plane(Plane::Green1) else { return Vec::new() };
    (0..green.sum.len()).filter_map(|i| green.variance(i)).collect()
}

fn is_dark(levels: &LevelFrame, sigma: f64) -> bool {
    (0..3).all(|c| {
        levels.blocks(c, COARSE, COARSE).iter().all(|v| !v.is_finite() || *v <= DARK_SIGMAS * sigma)
    })
}

fn mean(values: &[f64]) -> f64 {
    let finite = values.iter().filter(|v| v.is_finite());
    finite.clone().sum::<f64>() / finite.count().max(1) as f64
}

/// Middle value; NaN of nothing.
#[must_use]
pub fn median(values: Vec<f64>) -> f64 {
    crate::numerics::robust::median(values).unwrap_or(f64::NAN)
}
