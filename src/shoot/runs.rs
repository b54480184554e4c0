//! Runs: where the level of consecutive frames jumps, and which runs show the same state again.

use super::frames::Observed;
use super::look::Look;
use super::verdict::Judgement;
use super::verdicts::Judgements;
use crate::numerics::robust::median;

/// The smallest jump that starts a new run, stops (ours).
const LEAST_JUMP: f64 = 0.1;
/// A jump is this many times the scatter of consecutive frames (ours).
const JUMP_SCATTERS: f64 = 4.0;
/// Noise of the maps is allowed for by this many standard deviations, and by so many stops at most
/// (ours).
const NOISE_SIGMAS: f64 = 3.0;
const MOST_NOISE: f64 = 0.3;
/// The light may drift by this much, stops per minute, between two runs that are still taken as
/// the same state (ours; half a stop over a shoot of six minutes).
const FASTEST_DRIFT: f64 = 0.09;
/// And by no more than this in all, stops.
const LARGEST_DRIFT: f64 = 0.6;
/// Runs of this many frames show that states were repeated.
const SERIES: usize = 3;
/// A lone frame that differs by less is a cloud and not a filter, stops (ours).
const CLOUD: f64 = 0.9;

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

/// Splits frames in capture order into runs.
#[must_use]
pub fn split(frames: &[Observed], good: &[usize]) -> Runs {
    let pair = |w: &[usize]| (&frames[w[0]], &frames[w[1]]);
    let steps: Vec<f64> =
        good.windows(2).map(pair).map(|(a, b)| distance(&a.look, &b.look)).collect();
    let quiet: Vec<f64> = steps.iter().copied().filter(|s| *s < LEAST_JUMP).collect();
    let scatter = if quiet.is_empty() { 0.0 } else { median(quiet).unwrap_or(f64::NAN) };
    let least = (JUMP_SCATTERS * scatter).max(LEAST_JUMP);
    let joins = good.windows(2).map(pair).zip(&steps).map(|((a, b), step)| {
        let dial = (b.dial_difference() - a.dial_difference()).abs();
        let noise = NOISE_SIGMAS * f64::hypot(b.look.noise, a.look.noise);
        *step < least + dial + noise.min(MOST_NOISE)
    });
    let mut runs: Runs = Vec::new();
    for (&i, joins) in good.iter().zip([false].into_iter().chain(joins)) {
        match runs.last_mut() {
            Some(run) if joins => run.push(i),
            _ => runs.push(vec![i]),
        }
    }
    runs
}

/// Median level of a run (stops, mean over the frame) and its mean time (minutes).
fn level(frames: &[Observed], run: &[usize]) -> (f64, f64) {
    let minutes = run.iter().map(|&i| frames[i].minutes).sum::<f64>() / run.len() as f64;
    (middle(frames, run), minutes)
}

/// Median level of frames, stops.
#[must_use]
pub fn middle(frames: &[Observed], of: &[usize]) -> f64 {
    median(of.iter().map(|&i| frames[i].look.whole)).unwrap_or(f64::NAN)
}

/// Single frames between two runs of equal level: a cloud, a bump. What lay on both sides of one may
/// be one run then, and show the next.
#[must_use]
pub fn lone_frames(frames: &[Observed], good: &[usize]) -> Judgements {
    let mut left = good.to_vec();
    let mut found = Judgements::new();
    loop {
        let lone = lone_in(frames, &split(frames, &left));
        if lone.is_empty() {
            return found;
        }
        left.retain(|i| lone.iter().all(|(l, _)| l != i));
        found.extend(lone.into_iter().map(|(i, stops)| (i, Judgement::Outlier { stops })));
    }
}

fn lone_in(frames: &[Observed], runs: &Runs) -> Vec<(usize, f64)> {
    let same = |a: usize, b: usize| {
        let (x, y) = (level(frames, &runs[a]), level(frames, &runs[b]));
        let allowed = LEAST_JUMP + FASTEST_DRIFT * (x.1 - y.1).abs();
        (x.0 - y.0).abs() < allowed.min(2.0 * LEAST_JUMP)
    };
    let longest = runs.iter().map(Vec::len).max().unwrap_or(0);
    (1..runs.len().saturating_sub(1))
        .filter(|&r| runs[r].len() == 1 && same(r - 1, r + 1))
        .map(|r| {
            let sides = (middle(frames, &runs[r - 1]), middle(frames, &runs[r + 1]));
            (r, middle(frames, &runs[r]) - f64::midpoint(sides.0, sides.1))
        })
        .filter(|&(r, stops)| {
            let single = runs[r - 1].len() + runs[r + 1].len() == 2;
            // Among threes a cloud in the middle one leaves three runs of one.
            !single || (longest >= SERIES && stops.abs() < CLOUD)
        })
        .map(|(r, stops)| (runs[r][0], stops))
        .collect()
}

/// Single frames at the edge of a run, less than a filter's strength away from it: clouds too.
#[must_use]
pub fn clouds_at_edges(frames: &[Observed], good: &[usize]) -> Judgements {
    let mut runs = split(frames, good);
    let mut found = Judgements::new();
    let longest = runs.iter().map(Vec::len).max().unwrap_or(0);
    if longest < 2 || runs.iter().filter(|r| r.len() > 1).count() < 2 {
        return found;
    }
    let mut at = 0;
    while at < runs.len() {
        let own = middle(frames, &runs[at]);
        let near = [at.checked_sub(1), Some(at + 1)]
            .into_iter()
            .flatten()
            .filter_map(|n| runs.get(n).filter(|r| r.len() > 1))
            .map(|r| own - middle(frames, r))
            .min_by(|a, b| a.abs().total_cmp(&b.abs()));
        match near {
            Some(stops) if runs[at].len() == 1 && stops.abs() < CLOUD => {
                found.push((runs.remove(at)[0], Judgement::Outlier { stops }));
            }
            _ => at += 1,
        }
    }
    found
}

/// Groups runs that show the same state, drift of the light allowed for: a group number per run,
/// numbered in order of first appearance, with the drift that needs fewest groups.
#[must_use]
pub fn group(frames: &[Observed], runs: &Runs) -> Vec<usize> {
    let levels: Vec<(f64, f64)> = runs.iter().map(|r| level(frames, r)).collect();
    let mut slopes = vec![0.0];
    for a in 0..runs.len() {
        for b in a + 2..runs.len() {
            let (change, time) = (levels[b].0 - levels[a].0, levels[b].1 - levels[a].1);
            if time > 0.0 && change.abs() < LARGEST_DRIFT && (change / time).abs() < FASTEST_DRIFT {
                slopes.push(change / time);
            }
        }
    }
    slopes.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
    let of = |run: &[usize]| {
        median(run.iter().map(|&i| frames[i].dial_difference())).unwrap_or(f64::NAN)
    };
    let dials: Vec<f64> = runs.iter().map(|r| of(r)).collect();
    let mut best: Option<(usize, Vec<usize>)> = None;
    for slope in slopes {
        let groups = with_drift(&levels, &dials, slope);
        let count = groups.iter().max().map_or(0, |g| g + 1);
        if best.as_ref().is_none_or(|(fewest, _)| count < *fewest) {
            best = Some((count, groups));
        }
    }
    best.map_or_else(Vec::new, |(_, groups)| groups)
}

fn with_drift(levels: &[(f64, f64)], dials: &[f64], slope: f64) -> Vec<usize> {
    let mut groups: Vec<usize> = Vec::new();
    let mut founders: Vec<usize> = Vec::new();
    for run in 0..levels.len() {
        let alike = founders.iter().enumerate().find(|&(group, &founder)| {
            // Neighbouring runs were told apart by a jump; no drift makes them one again.
            let neighbour = run > 0 && groups.get(run - 1) == Some(&group);
            // How far the two runs' dial times may mislead against each other.
            let dial = (dials[founder] - dials[run]).abs();
            let expected = slope * (levels[run].1 - levels[founder].1);
            let apart = (levels[run].0 - levels[founder].0 - expected).abs();
            !neighbour && apart < LEAST_JUMP + dial
        });
        let group = match alike {
            Some((group, _)) => group,
            None => {
                founders.push(run);
                founders.len() - 1
            }
        };
        groups.push(group);
    }
    groups
}
