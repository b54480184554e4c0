//! Runs: where the level of consecutive frames jumps.

use super::frames::Observed;
use super::look::Look;
use crate::numerics::robust::median;

/// The smallest jump that starts a new run, stops (ours).
pub const LEAST_JUMP: f64 = 0.1;
/// A jump is this many times the scatter of consecutive frames (ours).
const JUMP_SCATTERS: f64 = 4.0;
/// Noise of the maps is allowed for by this many standard deviations, and by so many stops at most
/// (ours).
const NOISE_SIGMAS: f64 = 3.0;
const MOST_NOISE: f64 = 0.3;
/// A block of a frame clear of noise is known to this, stops (ours).
const CLEAR_STOPS: f64 = 0.03;

/// Indices of frames, run by run.
pub type Runs = Vec<Vec<usize>>;

/// Distance of two coarse maps, stops: the median absolute difference, centre included, or half of
/// what a sixth of the frame exceeds, so that a filter that darkens one end only is seen too.
#[must_use]
pub fn distance(a: &Look, b: &Look) -> f64 {
    let mut apart: Vec<f64> = a.map.iter().zip(&b.map).map(|(x, y)| (x - y).abs()).collect();
    apart.push((a.centre - b.centre).abs());
    apart.retain(|d| d.is_finite());
    apart.sort_by(f64::total_cmp);
    let end = apart.get(apart.len() * 5 / 6).copied().unwrap_or(f64::INFINITY);
    median(apart).unwrap_or(f64::NAN).max(end / 2.0)
}

/// Distance of two patterns whatever their levels, stops: what a sixth of the blocks exceeds.
#[must_use]
pub fn shape_distance(a: &Look, b: &Look) -> f64 {
    let pairs = a.map.iter().zip(&b.map).map(|(x, y)| x - y);
    let apart: Vec<f64> = pairs.filter(|d| d.is_finite()).collect();
    let level = median(apart.clone()).unwrap_or(f64::NAN);
    let mut apart: Vec<f64> = apart.into_iter().map(|d| (d - level).abs()).collect();
    apart.sort_by(f64::total_cmp);
    apart.get(apart.len() * 5 / 6).copied().unwrap_or(0.0)
}

/// Splits frames in capture order into runs. A frame joins the one before, and the last one before
/// that is clear of noise: a nearly black frame in between must not tie unlike ones together.
#[must_use]
pub fn split(frames: &[Observed], good: &[usize]) -> Runs {
    split_from(frames, good, LEAST_JUMP)
}

/// The same where a jump of so many stops starts a new run, beyond what frames scatter.
#[must_use]
pub fn split_from(frames: &[Observed], good: &[usize], least_jump: f64) -> Runs {
    let steps = good
        .windows(2)
        .map(|w| distance(&frames[w[0]].look, &frames[w[1]].look))
        .collect::<Vec<_>>();
    let quiet: Vec<f64> = steps.iter().copied().filter(|s| *s < LEAST_JUMP).collect();
    let least = least_jump.max(JUMP_SCATTERS * median(quiet).unwrap_or(0.0));
    let alike = |a: &Observed, b: &Observed| {
        let dial = (b.dial_difference() - a.dial_difference()).abs();
        let noise = NOISE_SIGMAS * f64::hypot(b.look.noise, a.look.noise);
        distance(&a.look, &b.look) < least + dial + noise.min(MOST_NOISE)
    };
    let is_clear = |i: &&usize| frames[**i].look.noise < CLEAR_STOPS;
    let mut runs: Runs = Vec::new();
    for &i in good {
        let joins = runs.last().is_some_and(|run: &Vec<usize>| {
            let before = run.last().into_iter().chain(run.iter().rfind(is_clear));
            before.into_iter().all(|&b| alike(&frames[b], &frames[i]))
        });
        match runs.last_mut() {
            Some(run) if joins => run.push(i),
            _ => runs.push(vec![i]),
        }
    }
    runs
}

/// Median level of frames, stops.
#[must_use]
pub fn middle(frames: &[Observed], of: &[usize]) -> f64 {
    median(of.iter().map(|&i| frames[i].look.whole)).unwrap_or(f64::NAN)
}
