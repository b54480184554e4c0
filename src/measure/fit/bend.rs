//! A sensor whose levels bend away from a line against light: it moves all strengths by one unknown
//! amount, times how differently bare and filtered frames fill each channel.

use super::Reading;
use super::anatomy::Anatomy;
use super::colour::Difference;
use crate::measure::strength::ChannelStrengths;

/// What the doubt of it moves red, green and blue of a state by, stops.
pub(super) fn moved(
    state: usize,
    green: &Anatomy,
    [red, blue]: [&Difference; 2],
    readings: &[Reading],
) -> [f64; 3] {
    let bent = |r: &Reading, c: usize| r.channels[c].map_or(0.0, |channel| channel.bent);
    let all = || readings.iter().enumerate();
    let of_green: f64 = all().map(|(i, r)| green.weights[i] * bent(r, 1)).sum();
    let against_green = |d: &Difference, c: usize| -> f64 {
        all().map(|(i, r)| d.weights[(state, i)] * (bent(r, c) - bent(r, 1))).sum()
    };
    [of_green + against_green(red, 0), of_green, of_green + against_green(blue, 2)]
}

/// Strengths with that doubt in them: one unknown for all channels. Degrees of freedom grow, since the
/// doubt is known for sure (Welch-Satterthwaite, JCGM 100:2008, G.4.1).
pub(super) fn with_bend(mut strengths: ChannelStrengths, moved: [f64; 3]) -> ChannelStrengths {
    let grown = |before: f64, more: f64| {
        if before > 0.0 { (1.0 + more * more / before).powi(2) } else { 1.0 }
    };
    let of_difference = |s: &ChannelStrengths, c: usize| {
        let before = s.covariance[c][c] + s.covariance[1][1] - 2.0 * s.covariance[c][1];
        grown(before, moved[c] - moved[1])
    };
    let least = of_difference(&strengths, 0).min(of_difference(&strengths, 2));
    strengths.difference_dof *= least;
    for (c, moved) in moved.into_iter().enumerate() {
        strengths.dof[c] *= grown(strengths.covariance[c][c], moved);
    }
    for (row, of_row) in strengths.covariance.iter_mut().zip(moved) {
        for (cell, of_cell) in row.iter_mut().zip(moved) {
            *cell += of_row * of_cell;
        }
    }
    strengths
}
