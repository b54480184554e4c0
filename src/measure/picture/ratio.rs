//! What several frames of one edge say together: means with their uncertainty, and filtered over
//! bare.
//!
//! Two things tell the uncertainty. Leaving out one piece of the edge after the other (Tukey's
//! jackknife, from memory) shows what noise within the frames does; taken of the ratio, with the
//! same piece left out in both states, what stays with the pixels cancels as it does in the ratio.
//! Repeats show what changes from frame to frame, such as focus and shake.

use super::edge::{CURVE, CURVE_POINTS, EdgeFigures, LN_HALF, LN_MTF50};
use super::spread::BLOCKS;
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// The jackknife counts as so many degrees of freedom beside the repeats (ours): it does not see
/// what is common to a frame.
const WITHIN_DOF: f64 = 6.0;
/// Degrees of freedom of the jackknife by itself.
const PIECES_DOF: f64 = (BLOCKS - 1) as f64;
/// Repeats scatter beyond their noise from this probability on, 0 to 1 (ours).
pub const SIGNIFICANT: f64 = 0.99;

/// A value with its standard uncertainty and degrees of freedom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// Value.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// Degrees of freedom.
    pub dof: f64,
}

/// One state of an edge.
#[derive(Clone, Debug, PartialEq)]
pub struct StateMeans {
    /// MTF50 in cycles per pixel.
    pub mtf50: Estimate,
    /// Modulation at half the Nyquist frequency.
    pub half: Estimate,
    /// Modulation along the curve.
    pub curve: Vec<Estimate>,
}

/// Filtered over bare.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RatioFound {
    /// Natural logarithm of the ratio.
    pub ln: Estimate,
    /// How sure it is that repeats scatter by more than the noise within them, 0 to 1.
    pub unsteady: f64,
}

/// Variance of a mean from leaving out pieces: `without[block]` are means over the frames.
fn jackknife(without: &[f64]) -> f64 {
    let n = without.len() as f64;
    let mean = without.iter().sum::<f64>() / n;
    (n - 1.0) / n * without.iter().map(|w| (w - mean).powi(2)).sum::<f64>()
}

pub(super) fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}

/// Sum of squares about the mean.
pub(super) fn squares(values: &[f64]) -> f64 {
    let middle = mean(values);
    values.iter().map(|v| (v - middle).powi(2)).sum()
}

/// Means of one figure over the frames without each piece.
fn without(frames: &[&EdgeFigures], figure: usize) -> Vec<f64> {
    let blocks = frames.first().map_or(0, |f| f.without.len());
    let of = |block: usize| frames.iter().map(|f| f.without[block][figure]).sum::<f64>();
    (0..blocks).map(|block| of(block) / frames.len() as f64).collect()
}

fn whole(frames: &[&EdgeFigures], figure: usize) -> Vec<f64> {
    frames.iter().map(|f| f.whole[figure]).collect()
}

/// One figure of one state. What stays with the pixels shows in the pieces only, what changes
/// between frames in the repeats only: the larger counts.
fn of_state(frames: &[&EdgeFigures], figure: usize) -> Estimate {
    let values = whole(frames, figure);
    let within = (jackknife(&without(frames, figure)), PIECES_DOF);
    let n = values.len() as f64;
    let repeats = (squares(&values) / (n * (n - 1.0)).max(1.0), n - 1.0);
    let (variance, dof) = if repeats.1 > 0.0 && repeats.0 > within.0 { repeats } else { within };
    Estimate { value: mean(&values), u: variance.sqrt(), dof }
}

/// Means of one state; `None` without a frame.
#[must_use]
pub fn state(frames: &[&EdgeFigures]) -> Option<StateMeans> {
    if frames.is_empty() {
        return None;
    }
    let exponential = |e: Estimate| {
        let value = e.value.exp();
        Estimate { value, u: e.u * value, ..e }
    };
    Some(StateMeans {
        mtf50: exponential(of_state(frames, LN_MTF50)),
        half: exponential(of_state(frames, LN_HALF)),
        curve: (0..CURVE_POINTS).map(|k| of_state(frames, CURVE + k)).collect(),
    })
}

/// Natural logarithms of a ratio, one per frame of both states, with the variance that their own noise gives the difference
/// of the means.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    /// Without the filter, logarithms of a ratio.
    pub bare: Vec<f64>,
    /// Through it, logarithms of a ratio.
    pub filtered: Vec<f64>,
    /// Squared deviation of the difference of the means by noise within the frames.
    pub within: f64,
}

/// One figure of one edge in both states.
#[must_use]
pub fn compared(bare: &[&EdgeFigures], filtered: &[&EdgeFigures], figure: usize) -> Compared {
    let (b, f) = (without(bare, figure), without(filtered, figure));
    let differences: Vec<f64> = b.iter().zip(&f).map(|(b, f)| f - b).collect();
    Compared {
        bare: whole(bare, figure),
        filtered: whole(filtered, figure),
        within: jackknife(&differences),
    }
}

/// The mean over several edges, frame by frame; their noise is their own. Edges that were not read
/// in every frame are left out.
#[must_use]
pub fn over_edges(edges: &[Compared]) -> Option<Compared> {
    let first = edges.first()?;
    let alike = |e: &&Compared| {
        e.bare.len() == first.bare.len() && e.filtered.len() == first.filtered.len()
    };
    let edges: Vec<&Compared> = edges.iter().filter(alike).collect();
    let n = edges.len() as f64;
    let over = |of: &dyn Fn(&Compared) -> &Vec<f64>, frames: usize| {
        (0..frames).map(|k| edges.iter().map(|e| of(e)[k]).sum::<f64>() / n).collect()
    };
    Some(Compared {
        bare: over(&|e| &e.bare, first.bare.len()),
        filtered: over(&|e| &e.filtered, first.filtered.len()),
        within: edges.iter().map(|e| e.within).sum::<f64>() / (n * n),
    })
}

impl Compared {
    /// Filtered less bare with its uncertainty; `None` where a state has no frame.
    #[must_use]
    pub fn change(&self) -> Option<RatioFound> {
        let (b, f) = (self.bare.len() as f64, self.filtered.len() as f64);
        if b < 1.0 || f < 1.0 {
            return None;
        }
        let value = mean(&self.filtered) - mean(&self.bare);
        let dof = b + f - 2.0;
        let within = self.within.max(f64::MIN_POSITIVE);
        if dof < 1.0 {
            let ln = Estimate { value, u: within.sqrt(), dof: WITHIN_DOF };
            return Some(RatioFound { ln, unsteady: 0.0 });
        }
        let one = (squares(&self.bare) + squares(&self.filtered)) / dof;
        let repeats = one * (1.0 / b + 1.0 / f);
        let law = FisherSnedecor::new(dof, PIECES_DOF).ok();
        let unsteady = law.map_or(0.0, |law| law.cdf(repeats / within));
        let (variance, dof) = if unsteady > SIGNIFICANT {
            (repeats, dof)
        } else {
            let all = WITHIN_DOF + dof;
            ((WITHIN_DOF * within + dof * repeats) / all, all)
        };
        let ln = Estimate { value, u: variance.sqrt(), dof };
        Some(RatioFound { ln, unsteady })
    }
}
