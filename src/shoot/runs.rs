//! Runs: where the level of consecutive frames jumps, and which runs show the same state again.

use super::look::{Look, median};

/// The smallest jump that starts a new run, stops (ours).
const LEAST_JUMP: f64 = 0.1;
/// A jump is this many times the scatter of consecutive frames (ours).
const JUMP_SCATTERS: f64 = 4.0;
/// The light may drift by this much, stops per minute, between two runs that are still taken as
/// the same state (ours; half a stop over a shoot of six minutes).
const FASTEST_DRIFT: f64 = 0.09;
/// And by no more than this in all, stops.
const LARGEST_DRIFT: f64 = 0.6;
/// Runs of this many frames show that states were repeated.
const SERIES: usize = 3;
/// A lone frame that differs by less is a cloud and not a filter, stops (ours).
const CLOUD: f64 = 0.9;

/// A frame as runs see it: what was seen, when, and how far its dial time may mislead.
#[derive(Clone, Copy, Debug)]
pub struct Seen<'a> {
    /// First look.
    pub look: &'a Look,
    /// Middle of the exposure, minutes.
    pub minutes: f64,
    /// log2 of true over shown time, stops: what the level is off by if the dial tells the truth.
    pub dial_difference: f64,
    /// Whether something known starts a new run here (folder, label, rotation).
    pub starts_run: bool,
}

/// Distance of two coarse maps, stops: the median absolute difference, centre included, or half of
/// what a sixth of the frame exceeds, so that a filter that darkens one end only is seen too.
#[must_use]
pub fn distance(a: &Look, b: &Look) -> f64 {
    let mut apart: Vec<f64> = a.map.iter().zip(&b.map).map(|(x, y)| (x - y).abs()).collect();
    apart.push((a.centre - b.centre).abs());
    apart.retain(|d| d.is_finite());
    apart.sort_by(f64::total_cmp);
    let end = apart.get(apart.len() * 5 / 6).copied().unwrap_or(f64::INFINITY);
    median(apart).max(end / 2.0)
}

/// Splits frames in capture order into runs: indices per run.
#[must_use]
pub fn split(seen: &[Seen<'_>]) -> Vec<Vec<usize>> {
    let steps: Vec<f64> = seen.windows(2).map(|w| distance(w[0].look, w[1].look)).collect();
    let quiet: Vec<f64> = steps.iter().copied().filter(|s| *s < LEAST_JUMP).collect();
    let scatter = if quiet.is_empty() { 0.0 } else { median(quiet) };
    let mut runs: Vec<Vec<usize>> = Vec::new();
    for (i, frame) in seen.iter().enumerate() {
        let joins = i > 0 && !frame.starts_run && {
            let dial = (frame.dial_difference - seen[i - 1].dial_difference).abs();
            let noise = 3.0 * f64::hypot(frame.look.noise, seen[i - 1].look.noise);
            steps[i - 1] < (JUMP_SCATTERS * scatter).max(LEAST_JUMP) + dial + noise.min(0.3)
        };
        match runs.last_mut() {
            Some(run) if joins => run.push(i),
            _ => runs.push(vec![i]),
        }
    }
    runs
}

/// Median level of a run (stops, mean over the frame) and its mean time (minutes).
#[must_use]
pub fn level(seen: &[Seen<'_>], run: &[usize]) -> (f64, f64) {
    let centre = median(run.iter().map(|&i| seen[i].look.whole).collect());
    let minutes = run.iter().map(|&i| seen[i].minutes).sum::<f64>() / run.len() as f64;
    (centre, minutes)
}

/// Single frames between two runs of equal level: a cloud, a bump. Gives run numbers and by how
/// much each differs.
#[must_use]
pub fn lone_outliers(seen: &[Seen<'_>], runs: &[Vec<usize>]) -> Vec<(usize, f64)> {
    let same = |a: usize, b: usize| {
        let (x, y) = (level(seen, &runs[a]), level(seen, &runs[b]));
        let allowed = LEAST_JUMP + FASTEST_DRIFT * (x.1 - y.1).abs();
        (x.0 - y.0).abs() < allowed.min(2.0 * LEAST_JUMP)
    };
    let longest = runs.iter().map(Vec::len).max().unwrap_or(0);
    (1..runs.len().saturating_sub(1))
        .filter(|&r| runs[r].len() == 1 && same(r - 1, r + 1))
        .map(|r| {
            let around = f64::midpoint(level(seen, &runs[r - 1]).0, level(seen, &runs[r + 1]).0);
            (r, level(seen, &runs[r]).0 - around)
        })
        .filter(|&(r, stops)| {
            let single = runs[r - 1].len() + runs[r + 1].len() == 2;
            // Among threes a cloud in the middle one leaves three runs of one.
            !single || (longest >= SERIES && stops.abs() < CLOUD)
        })
        .collect()
}

/// Groups runs that show the same state, drift of the light allowed for: a group number per run,
/// numbered in order of first appearance, and the drift that was assumed, stops per minute.
#[must_use]
pub fn group(seen: &[Seen<'_>], runs: &[Vec<usize>]) -> (Vec<usize>, f64) {
    let levels: Vec<(f64, f64)> = runs.iter().map(|r| level(seen, r)).collect();
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
    let mut best: Option<(usize, Vec<usize>, f64)> = None;
    for slope in slopes {
        let groups = with_drift(seen, runs, &levels, slope);
        let count = groups.iter().max().map_or(0, |g| g + 1);
        if best.as_ref().is_none_or(|(fewest, _, _)| count < *fewest) {
            best = Some((count, groups, slope));
        }
    }
    best.map_or_else(|| (Vec::new(), 0.0), |(_, groups, slope)| (groups, slope))
}

fn with_drift(
    seen: &[Seen<'_>],
    runs: &[Vec<usize>],
    levels: &[(f64, f64)],
    slope: f64,
) -> Vec<usize> {
    let mut groups: Vec<usize> = Vec::new();
    let mut founders: Vec<usize> = Vec::new();
    for run in 0..runs.len() {
        let alike = founders.iter().enumerate().find(|&(group, &founder)| {
            // Neighbouring runs were told apart by a jump; no drift makes them one again.
            let neighbour = run > 0 && groups.get(run - 1) == Some(&group);
            let dial = dial_span(seen, &runs[founder], &runs[run]);
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

/// How far the two runs' dial times may mislead against each other.
fn dial_span(seen: &[Seen<'_>], a: &[usize], b: &[usize]) -> f64 {
    let of = |run: &[usize]| median(run.iter().map(|&i| seen[i].dial_difference).collect());
    (of(a) - of(b)).abs()
}
