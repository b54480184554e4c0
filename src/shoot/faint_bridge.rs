//! Frames of a bridge that are nearly as dark as black: at a shorter time than its others they tell how far
//! the black level is off. A plan's document names them; where none lies beside the frames they are known
//! by what stands around them.

use super::faults::{f_number_of, iso_of, roles};
use super::frames::Observed;
use super::runs::{LEAST_JUMP, middle};
use super::verdict::Judgement;
use super::verdicts::{Judgements, Verdicts};

/// So many frames agree at least: one by itself may be of a cloud, or of anything else (ours).
const LEAST_FRAMES: usize = 2;
/// They lie so many standard uncertainties from the bridge at most; black's own doubt is in those.
const SIGMAS: f64 = 3.0;

/// Those of `faint` that are of a bridge: taken just before or just after frames of it, at a time
/// and ISO that bare frames have too, and no nearer to any state of the filter.
#[must_use]
pub fn told(
    frames: &[Observed],
    verdicts: &Verdicts,
    within: &[usize],
    faint: &[usize],
) -> Judgements {
    let bare = verdicts.on_side(within, true);
    let mut found = Judgements::new();
    for run in runs(frames, within, faint) {
        let mut bridge = beside(verdicts, within, &run);
        bridge.retain(|&i| setting(&frames[i]) == setting(&frames[run[0]]));
        if run.len() >= LEAST_FRAMES
            && bare.iter().any(|&i| timed(&frames[i]) == timed(&frames[run[0]]))
            && agree(frames, &run)
            && is_of(frames, verdicts, within, &run, &bridge)
        {
            found.extend(run.into_iter().map(|i| (i, Judgement::Bridge)));
        }
    }
    found
}

/// ISO and aperture.
fn setting(frame: &Observed) -> (i64, Option<i64>) {
    (iso_of(frame), f_number_of(frame))
}

/// Time and ISO: a bridge may be an aperture of its own.
fn timed(frame: &Observed) -> (Option<u64>, i64) {
    let time = frame.exposure.as_ref().map(|e| e.recorded.get().to_bits());
    (time, iso_of(frame))
}

/// Frames that follow each other among all frames and were exposed alike.
fn runs(frames: &[Observed], within: &[usize], faint: &[usize]) -> Vec<Vec<usize>> {
    let mut runs: Vec<Vec<usize>> = Vec::new();
    let mut open = false;
    for &i in within {
        if !faint.contains(&i) {
            open = false;
            continue;
        }
        let alike = |run: &&mut Vec<usize>| {
            let first = &frames[run[0]];
            open && (timed(first), setting(first)) == (timed(&frames[i]), setting(&frames[i]))
        };
        match runs.last_mut().filter(alike) {
            Some(run) => run.push(i),
            None => runs.push(vec![i]),
        }
        open = true;
    }
    runs
}

/// The frames of a bridge that stand next to a run.
fn beside(verdicts: &Verdicts, within: &[usize], run: &[usize]) -> Vec<usize> {
    let is_bridge = |i: &&usize| *verdicts.judgement(**i) == Judgement::Bridge;
    let (Some(first), Some(last)) = (run.first(), run.last()) else { return Vec::new() };
    let before = within.iter().rev().skip_while(|i| *i >= first).take_while(is_bridge);
    let after = within.iter().skip_while(|i| *i <= last).take_while(is_bridge);
    before.chain(after).copied().collect()
}

/// Whether frames show one light.
fn agree(frames: &[Observed], run: &[usize]) -> bool {
    let level = middle(frames, run);
    let is_near = |&i: &usize| {
        let look = &frames[i].look;
        (look.whole - level).abs() < LEAST_JUMP.max(look.noise)
    };
    run.iter().all(is_near)
}

/// Whether a run shows what a bridge does, and rather that than any state of the filter.
fn is_of(
    frames: &[Observed],
    verdicts: &Verdicts,
    within: &[usize],
    run: &[usize],
    bridge: &[usize],
) -> bool {
    let level = middle(frames, run);
    let far = |of: &[usize]| (middle(frames, of) - level).abs();
    let noise = run.iter().map(|&i| frames[i].look.noise).fold(0.0, f64::max);
    let of_states = roles(verdicts, within).into_iter().map(|role| {
        let of_role: Vec<usize> = verdicts.in_role(within, role).collect();
        far(&of_role)
    });
    let nearest = of_states.fold(f64::INFINITY, f64::min);
    !bridge.is_empty() && far(bridge) < LEAST_JUMP + SIGMAS * noise && far(bridge) < nearest
}
