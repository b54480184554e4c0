//! The light of a photograph as a coarse map, so that two photographs can be told to show the same
//! scene, and compared in level, even though clouds and water moved between them.

use crate::levels::{CLIPPED_SHARE, clipped_cells, levels};
use crate::numerics::robust::median;
use crate::reduce::grid::FrameSummary;

/// Blocks across and down.
pub const SIDE: usize = 11;
/// A block below this many counts above black says nothing of a ratio (ours).
const LEAST_COUNTS: f64 = 8.0;
/// Fewest common blocks for a comparison.
const LEAST_BLOCKS: usize = 40;
/// Scatter of the differences (median absolute deviation, in stops) up to which two maps may show
/// one scene (ours): moving cloud and water stay below it, another motif does not.
const SCATTER_STOPS: f64 = 0.35;
/// Least correlation of two maps of one scene (ours).
const CORRELATION: f64 = 0.8;

/// log2 of the mean counts above black of red, green and blue in 11 x 11 blocks, `None` where
/// clipped or too dark.
#[derive(Clone, Debug, PartialEq)]
pub struct SceneMap {
    /// Row-major blocks.
    pub blocks: Vec<[Option<f64>; 3]>,
}

/// How two maps of one scene differ.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SceneDifference {
    /// Median over the blocks of log2(first / second), red, green, blue.
    pub stops: [f64; 3],
}

impl SceneMap {
    /// From a frame's cells and black levels.
    #[must_use]
    pub fn of(summary: &FrameSummary) -> Self {
        let light = levels(summary, &[]);
        let channels: [Vec<(f64, f64)>; 3] = std::array::from_fn(|c| {
            let clipped = light.means_of_blocks(&clipped_cells(&summary.cells, c), SIDE, SIDE);
            light.blocks(c, SIDE, SIDE).into_iter().zip(clipped).collect()
        });
        let level = |(mean, clipped): (f64, f64)| {
            (clipped <= CLIPPED_SHARE && mean >= LEAST_COUNTS).then(|| mean.log2())
        };
        let block = |i: usize| std::array::from_fn(|c| level(channels[c][i]));
        Self { blocks: (0..SIDE * SIDE).map(block).collect() }
    }

    /// The median level of the green blocks, log2 of counts above black.
    #[must_use]
    pub fn level(&self) -> Option<f64> {
        median(self.blocks.iter().filter_map(|b| b[1]))
    }

    /// Compares two maps; `None` where they do not show the same scene, or too little in common.
    #[must_use]
    pub fn same_scene(&self, other: &Self) -> Option<SceneDifference> {
        let pairs: Vec<(f64, f64)> =
            self.blocks.iter().zip(&other.blocks).filter_map(|(a, b)| a[1].zip(b[1])).collect();
        if pairs.len() < LEAST_BLOCKS {
            return None;
        }
        let differences: Vec<f64> = pairs.iter().map(|(a, b)| a - b).collect();
        let green = median(differences.iter().copied())?;
        let scatter = median(differences.iter().map(|d| (d - green).abs()))?;
        if scatter > SCATTER_STOPS || correlation(&pairs) < CORRELATION {
            return None;
        }
        let channel = |c: usize| {
            let both = self.blocks.iter().zip(&other.blocks).filter_map(|(a, b)| a[c].zip(b[c]));
            median(both.map(|(a, b)| a - b))
        };
        // A channel that is clipped or dark throughout says nothing; green stands in for it.
        Some(SceneDifference {
            stops: [channel(0).unwrap_or(green), green, channel(2).unwrap_or(green)],
        })
    }
}

fn correlation(pairs: &[(f64, f64)]) -> f64 {
    let n = pairs.len() as f64;
    let (ma, mb) =
        (pairs.iter().map(|p| p.0).sum::<f64>() / n, pairs.iter().map(|p| p.1).sum::<f64>() / n);
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (a, b) in pairs {
        ab += (a - ma) * (b - mb);
        aa += (a - ma).powi(2);
        bb += (b - mb).powi(2);
    }
    if aa > 0.0 && bb > 0.0 { ab / (aa * bb).sqrt() } else { 0.0 }
}
