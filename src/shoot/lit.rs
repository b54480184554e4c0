//! What the lit part of a frame tells that was left out because something stood in the way of the rest:
//! what covers a part takes light there, and gives the rest none.

use super::evidence::{Contradiction, FOREIGN};
use super::faults::{f_number_of, iso_of, roles};
use super::frames::Observed;
use super::runs::LEAST_JUMP;
use super::verdict::Judgement;
use super::verdicts::Verdicts;
use crate::numerics::robust::{median, quantile};

/// Of the blocks of a frame so many lie below these marks: what is covered, then from where to where the
/// lit ones are looked at, with their middle (ours: a soft edge half across leaves a tenth at least).
const COVERED: f64 = 0.1;
const LIT: [f64; 3] = [0.9, 0.95, 0.98];
/// A covered part is darker than the lit one by this, stops (ours).
const LEAST_COVER: f64 = 0.2;
/// Lit blocks agree to this, stops (ours): the soft edge of a shadow reaches far.
const EVEN: f64 = 0.15;
/// What a block shows that is as dark as black, stops: it is covered.
const BLACK: f64 = -40.0;
/// So many of the nearest frames tell what a block usually shows (ours).
const ENOUGH: usize = 24;
/// A block is known to this at least, stops (ours).
const CLEAR_STOPS: f64 = 0.03;

/// Takes up, beside what contradicts frames in use, frames whose lit part is brighter than those: the light
/// was there, and a cloud over the ones in use. `within` are the frames of a shoot of one state.
pub fn told(
    frames: &[Observed],
    verdicts: &Verdicts,
    within: &[usize],
    known: &mut Vec<Contradiction>,
) {
    let states: Vec<Vec<usize>> = roles(verdicts, within)
        .into_iter()
        .map(|role| verdicts.in_role(within, role).collect())
        .collect();
    for &i in within {
        let of = |state: &Vec<usize>| {
            lit(frames, verdicts.judgement(i), i, state).map(|stops| (stops, state.clone()))
        };
        let nearest = states.iter().filter_map(of).min_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
        let Some((stops, state)) = nearest else { continue };
        let dial = |i: usize| frames[i].dial_difference();
        let by_dial = state.first().map_or(0.0, |&j| (dial(j) - dial(i)).abs());
        if stops > LEAST_JUMP + by_dial && stops < FOREIGN {
            Contradiction::add(known, &state, (i, stops));
        }
    }
}

/// By how much the lit part of a frame is brighter than the same part of others, stops; `None` where it has
/// none, or was exposed otherwise.
fn lit(frames: &[Observed], judgement: &Judgement, i: usize, others: &[usize]) -> Option<f64> {
    let left_out = matches!(
        judgement,
        Judgement::Damaged | Judgement::OtherLevel { .. } | Judgement::Outlier { .. }
    );
    if !left_out {
        return None;
    }
    let own = &frames[i];
    let exposed = |f: &Observed| (iso_of(f), f_number_of(f));
    let mut near: Vec<usize> =
        others.iter().copied().filter(|&j| exposed(&frames[j]) == exposed(own)).collect();
    near.sort_by_key(|j| j.abs_diff(i));
    let alike: Vec<&Observed> = near.iter().take(ENOUGH).map(|&j| &frames[j]).collect();
    let known = |k: usize| own.look.map[k].is_finite().then(|| own.look.map[k]);
    let apart = |k: usize| {
        let usual = median(alike.iter().filter_map(|f| f.look.map.get(k).copied()))?;
        Some(known(k).unwrap_or(BLACK) - usual)
    };
    let apart: Vec<f64> = (0..own.look.map.len()).filter_map(apart).collect();
    let at = |share: f64| quantile(apart.iter().copied(), share);
    let [low, middle, high] = LIT.map(at);
    let (low, middle, high, covered) = (low?, middle?, high?, at(COVERED)?);
    let is_covered = covered < middle - LEAST_COVER || *judgement == Judgement::Damaged;
    let is_told = high - low < EVEN && noise_of_lit(own) < CLEAR_STOPS;
    (is_covered && is_told).then_some(middle)
}

/// Standard uncertainty of a lit block, stops; that of a look is of a middling one.
fn noise_of_lit(frame: &Observed) -> f64 {
    let level = |share: f64| quantile(frame.look.map.iter().copied(), share);
    let brighter = level(LIT[1]).zip(level(0.5)).map_or(0.0, |(lit, middling)| lit - middling);
    frame.look.noise * (-brighter).exp2()
}
