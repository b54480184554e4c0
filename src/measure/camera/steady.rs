//! How much frames of one exposure differ that follow each other: a lamp on the mains flickers, and a
//! frame shorter than its period catches a part of it; a shutter may be less sure at short times. What
//! all frames scatter the joint fit knows; here is what some times scatter beyond that.

use crate::measured::coverage_factor;
use crate::numerics::robust::median;

/// Neighbouring times on each side that are judged together with one (ours).
const BESIDE: usize = 1;
/// Fewer pairs tell no scatter (ours).
const LEAST_PAIRS: usize = 4;
/// From so many times the variance that is usual in the shoot on, a time is taken as less steady: of
/// six pairs one of a thousand lies beyond 3.7 by chance (F distribution), and the usual one is itself
/// found from few (ours).
const FACTOR: f64 = 6.0;

/// One frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    /// Aperture and distinct time, by number.
    pub place: (usize, usize),
    /// log2 of its level, stops.
    pub level: f64,
    /// Standard deviation of its noise, stops.
    pub noise: f64,
}

/// What two frames of one exposure that follow each other differ by, stops, in the middle of all such pairs;
/// `None` of too few.
#[must_use]
pub fn step(frames: &[Shown]) -> Option<f64> {
    let same = frames.chunk_by(|a, b| a.place == b.place).flat_map(|same| same.windows(2));
    let steps: Vec<f64> = same.map(|two| (two[1].level - two[0].level).abs()).collect();
    (steps.len() >= LEAST_PAIRS).then(|| median(steps))?
}

/// What frames of each distinct time scatter beyond what is usual in the shoot, standard deviations in
/// stops, 0 where they do not; widened as Student's t asks for from so few pairs. Frames in the order
/// of capture.
#[must_use]
pub fn unsteady(frames: &[Shown], times: usize) -> Vec<f64> {
    // Half of the square of what two frames differ by, noise taken off, and the noise.
    let mut pairs: Vec<Vec<(f64, f64)>> = vec![Vec::new(); times];
    for two in frames.chunk_by(|a, b| a.place == b.place).flat_map(|same| same.windows(2)) {
        let of_time = pairs.get_mut(two[0].place.1);
        let noise = (two[0].noise.powi(2) + two[1].noise.powi(2)) / 2.0;
        let half = (two[1].level - two[0].level).powi(2) / 2.0;
        of_time.into_iter().for_each(|list| list.push((half, noise)));
    }
    let mean = |list: &[(f64, f64)]| {
        let n = list.len().max(1) as f64;
        let sum = list.iter().fold((0.0, 0.0), |s, p| (s.0 + p.0, s.1 + p.1));
        (sum.0 / n, sum.1 / n)
    };
    let each = pairs.iter().filter(|list| !list.is_empty()).map(|list| {
        let (variance, noise) = mean(list);
        (variance - noise).max(0.0)
    });
    let usual = median(each).unwrap_or(0.0);
    let of = |k: usize| {
        let near = pairs[k.saturating_sub(BESIDE)..(k + BESIDE + 1).min(times)].concat();
        let (variance, noise) = mean(&near);
        let expected = usual + noise;
        if near.len() < LEAST_PAIRS || variance < FACTOR * expected {
            return 0.0;
        }
        let widened = coverage_factor(near.len() as f64) / coverage_factor(f64::INFINITY);
        widened * (variance - expected).sqrt()
    };
    (0..times).map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two frames at each of nine times, four times over; the three shortest differ by so much.
    fn frames(apart: f64) -> Vec<Shown> {
        let mut all = Vec::new();
        for visit in 0..4 {
            for time in 0..9 {
                for k in 0..2 {
                    let by = if time < 3 { apart } else { 0.001 };
                    let level = if k == 0 { by / 2.0 } else { -by / 2.0 };
                    all.push(Shown { place: (visit, time), level, noise: 0.0005 });
                }
            }
        }
        all
    }

    #[test]
    fn times_that_scatter_more_than_others_are_told() {
        // Two frames 0.1 apart have a standard deviation of 0.0707; Student's t at 12 is 2.179 for 1.960.
        let found = unsteady(&frames(0.1), 9);
        assert!((found[1] - 0.0707 * 2.179 / 1.960).abs() < 0.001, "{found:?}");
        assert!(found[..3].iter().all(|s| *s > 0.05), "{found:?}");
        assert!(found[4..].iter().all(|s| *s == 0.0), "{found:?}");
    }

    #[test]
    fn what_the_light_does_from_frame_to_frame_is_the_middle_of_all_pairs() {
        // Three of nine times differ by more.
        assert!((step(&frames(0.1)).unwrap_or(0.0) - 0.001).abs() < 1e-9);
    }

    #[test]
    fn a_steady_shoot_has_none_and_few_pairs_tell_none() {
        assert!(unsteady(&frames(0.001), 9).iter().all(|s| *s == 0.0));
        let few: Vec<Shown> = frames(0.1).into_iter().take(2).collect();
        assert_eq!(step(&few), None);
        assert!(unsteady(&few, 9).iter().all(|s| *s == 0.0));
        assert_eq!(unsteady(&[], 2), [0.0, 0.0]);
    }
}
