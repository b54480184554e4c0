//! Repeats of one state against each other: the frame that was shaken, or lost its focus.

use super::TakenAs;
use super::ratio::{Compared, SIGNIFICANT, mean, over_edges, squares};
use crate::numerics::robust::median;

/// Differences of sharpness that are told at once are at least so large: natural logarithm of a
/// ratio (ours).
pub const TOLD: f64 = 0.02;
/// Over all edges a frame is told from here on where the others agree among themselves, in natural
/// logarithms (ours: the tripod, the air and the mirror scatter good frames by as much).
const APART_TOLD: f64 = 0.008;
/// The others agree where the frame is off by so many of their standard deviations (ours).
const APART: f64 = 5.0;
/// At one edge alone a frame is told from so many standard deviations of a reading on (ours: some
/// fifty readings are looked at, and the chance that one of them lies there is 1 in 3,000).
const LONE: f64 = 4.5;
/// Median of deviations from the middle of a Gaussian, in standard deviations.
const MEDIAN_DEVIATION: f64 = 0.6745;

/// A frame that is not like its repeats.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spoilt {
    /// Its state.
    pub state: TakenAs,
    /// Its place among the frames of its state.
    pub frame: usize,
    /// How far it is from them: natural logarithm of a ratio.
    pub off: f64,
}

/// The frame to tell of: over all edges, or at one of them, since a camera that moves along most
/// edges blurs only those across its way.
#[must_use]
pub fn spoilt(places: &[Compared]) -> Option<Spoilt> {
    let sure = 1.0 - (1.0 - SIGNIFICANT) / places.len() as f64;
    let reading = reading(places);
    let lone = places
        .iter()
        .filter_map(|one| scattered(one, sure).filter(|f| f.off > TOLD && f.off > LONE * reading));
    let all = over_edges(places)?;
    scattered(&all, SIGNIFICANT)
        .filter(|f| f.off > TOLD)
        .or_else(|| apart(&all))
        .or_else(|| lone.max_by(|a, b| a.off.total_cmp(&b.off)))
}

/// The frame that is furthest from its own state's usual sharpness, where repeats scatter by more
/// than the noise within them.
fn scattered(change: &Compared, sure: f64) -> Option<Spoilt> {
    change.change().filter(|c| c.unsteady > sure)?;
    states(change)
        .into_iter()
        .flat_map(|(state, values)| {
            let usual = median(values.iter().copied()).unwrap_or(0.0);
            values
                .iter()
                .enumerate()
                .map(move |(frame, v)| Spoilt { state, frame, off: (v - usual).abs() })
                .collect::<Vec<_>>()
        })
        .max_by(|a, b| a.off.total_cmp(&b.off))
}

/// The frame that stands furthest apart from others that agree: its deviation from the mean of its
/// state without it, over the scatter of all frames without it (the externally studentised
/// residual; from memory).
fn apart(change: &Compared) -> Option<Spoilt> {
    let count = change.bare.len() + change.filtered.len();
    let dof = count.checked_sub(3).filter(|dof| *dof >= 2)? as f64;
    let noise =
        change.within / (1.0 / change.bare.len() as f64 + 1.0 / change.filtered.len() as f64);
    let about: Vec<f64> = states(change).iter().map(|(_, values)| squares(values)).collect();
    let mut found: Option<(f64, Spoilt)> = None;
    for (own, (state, values)) in states(change).into_iter().enumerate() {
        for frame in (0..values.len()).filter(|_| values.len() > 1) {
            let others: Vec<f64> =
                values.iter().enumerate().filter(|(k, _)| *k != frame).map(|(_, v)| *v).collect();
            let off = (values[frame] - mean(&others)).abs();
            let rest = about[1 - own] + squares(&others);
            let variance = (rest / dof).max(noise) * (1.0 + 1.0 / others.len() as f64);
            let times = off / variance.sqrt();
            if off > APART_TOLD && times > APART && found.is_none_or(|(most, _)| times > most) {
                found = Some((times, Spoilt { state, frame, off }));
            }
        }
    }
    found.map(|(_, spoilt)| spoilt)
}

/// Standard deviation of one reading of one edge in one frame, by the middle of all.
fn reading(places: &[Compared]) -> f64 {
    let off = |values: &[f64]| {
        let (middle, n) = (mean(values), values.len() as f64);
        let one = (n / (n - 1.0).max(1.0)).sqrt();
        values.iter().map(|v| (v - middle).abs() * one).collect::<Vec<_>>()
    };
    let all = places.iter().flat_map(|place| states(place).map(|(_, values)| off(values)));
    median(all.flatten()).unwrap_or(0.0) / MEDIAN_DEVIATION
}

fn states(change: &Compared) -> [(TakenAs, &[f64]); 2] {
    [(TakenAs::Bare, &change.bare), (TakenAs::Filtered, &change.filtered)]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Five edges of four bare and three filtered frames, readings good to `noise`.
    fn places(noise: f64) -> Vec<Compared> {
        let swing = [0.8, -1.0, 1.2, -0.6, 1.0, -1.2, 0.4];
        (0..5)
            .map(|place| {
                let value = |k: usize| swing[(k + 2 * place) % swing.len()] * noise;
                Compared {
                    bare: (0..4).map(value).collect(),
                    filtered: (4..7).map(|k| value(k) - 0.03).collect(),
                    within: noise.powi(2) * (1.0 / 4.0 + 1.0 / 3.0),
                }
            })
            .collect()
    }

    #[test]
    fn repeats_within_their_noise_are_left_in_peace() {
        assert_eq!(spoilt(&places(0.005)), None);
    }

    #[test]
    fn a_frame_a_little_blurred_at_all_edges_stands_apart() {
        let mut places = places(0.003);
        places.iter_mut().for_each(|p| p.filtered[1] -= 0.015);
        let found = spoilt(&places).expect("a frame is told");
        assert_eq!((found.state, found.frame), (TakenAs::Filtered, 1));
        assert!((found.off - 0.015).abs() < 0.005, "{found:?}");
    }

    #[test]
    fn where_all_frames_scatter_as_much_none_is_named() {
        let mut places = places(0.005);
        for (k, by) in [0.009, -0.008, 0.01, -0.009].into_iter().enumerate() {
            places.iter_mut().for_each(|p| p.bare[k] += by);
        }
        assert_eq!(spoilt(&places), None);
    }

    #[test]
    fn one_reading_of_many_may_be_a_little_off_and_not_far() {
        let mut places = places(0.005);
        places[3].filtered[0] -= 0.018;
        assert_eq!(spoilt(&places), None);
        places[3].filtered[0] -= 0.05;
        let found = spoilt(&places).expect("a frame is told");
        assert_eq!((found.state, found.frame), (TakenAs::Filtered, 0));
    }
}
