//! Frames that are not what they were named, or taken for: what they are instead.

use super::faults::{f_number_of, iso_of, roles};
use super::frames::Observed;
use super::verdict::Judgement;
use super::verdicts::{Judgements, Role, Verdicts};
use crate::caution::{Caution, LevelDoubt};
use crate::numerics::robust::{median, most_frequent};

/// Frames show the same light to this, stops (ours: what light does between two runs).
const ALIKE: f64 = 0.35;
/// A frame is of another state from this far off its own, stops (ours).
const FAR: f64 = 0.5;
/// What leaks past a card leaks past the filter too, so a leak frame is darker than the filter's by this
/// at least, stops (ours: noise, and light that drifts).
const LEAK_BELOW: f64 = 0.1;

/// Frames that stand out from equal ones, by a better reason where there is one: another aperture or ISO
/// than all others, or the light of another state.
pub fn told(frames: &[Observed], verdicts: &Verdicts, within: &[usize]) -> Judgements {
    let bare: Vec<&Observed> = verdicts.in_role(within, Role::Bare).map(|i| &frames[i]).collect();
    let usual_iso = most_frequent(bare.iter().map(|f| iso_of(f)), |a, b| a == b);
    let usual_f = most_frequent(bare.iter().filter_map(|f| f_number_of(f)), |a, b| a == b);
    let good = verdicts.good(within);
    let is_own = |i: usize, of: &dyn Fn(&Observed) -> Option<i64>, usual: Option<i64>| {
        let own = of(&frames[i]);
        own.is_some() && own != usual && good.iter().all(|&other| of(&frames[other]) != own)
    };
    let iso = |frame: &Observed| Some(iso_of(frame)).filter(|iso| *iso > 0);
    let reason = |&i: &usize| {
        let Judgement::Outlier { stops } = *verdicts.judgement(i) else { return None };
        if is_own(i, &f_number_of, usual_f) {
            let f_number = f_number_of(&frames[i])? as f64 / 100.0;
            return Some((i, Judgement::OtherAperture { f_number }));
        }
        if is_own(i, &iso, usual_iso) {
            return Some((i, Judgement::OtherIso { iso: iso_of(&frames[i]) as f64 }));
        }
        let as_bare = looks_bare(frames, verdicts, within, i).filter(|_| stops.abs() > FAR)?;
        Some((i, Judgement::OtherState { stops, as_bare }))
    };
    within.iter().filter_map(reason).collect()
}

/// Of a frame that shows what another state than its own does, whether that is the bare one.
fn looks_bare(
    frames: &[Observed],
    verdicts: &Verdicts,
    within: &[usize],
    frame: usize,
) -> Option<bool> {
    let own = verdicts.place_of(frame).role?;
    let apart = |role: &Role| {
        let middle = light(frames, verdicts, within, *role)?;
        Some((frames[frame].look.centre - middle).abs()).filter(|apart| *apart < ALIKE)
    };
    let others = roles(verdicts, within).into_iter().filter(|role| *role != own);
    let like = others.filter_map(|role| Some((apart(&role)?, role)));
    let (_, role) = like.min_by(|a, b| a.0.total_cmp(&b.0))?;
    Some(role == Role::Bare)
}

/// Middle of the good frames in one role, stops of light.
fn light(frames: &[Observed], verdicts: &Verdicts, within: &[usize], role: Role) -> Option<f64> {
    median(verdicts.in_role(within, role).map(|i| frames[i].look.centre))
}

/// Frames named as made with an opaque card that are as bright as what goes through the filter, or
/// brighter: taken off, they would leave nothing of it.
pub fn no_leaks(
    frames: &[Observed],
    verdicts: &Verdicts,
    within: &[usize],
) -> (Judgements, Option<Caution>) {
    let states = roles(verdicts, within).into_iter().filter(|role| *role != Role::Bare);
    let weakest = states
        .filter_map(|role| light(frames, verdicts, within, role))
        .reduce(f64::min)
        .unwrap_or(f64::INFINITY);
    let is_bright = |i: &&usize| {
        *verdicts.judgement(**i) == Judgement::Leak
            && frames[**i].exposure.is_some()
            && frames[**i].look.centre > weakest - LEAK_BELOW
    };
    let bright: Vec<usize> = within.iter().filter(is_bright).copied().collect();
    let near_bare =
        light(frames, verdicts, within, Role::Bare).map_or(f64::INFINITY, |b| b - ALIKE);
    let as_bare = bright.iter().any(|&i| frames[i].look.centre > near_bare);
    let files: Vec<String> = bright.iter().map(|&i| frames[i].file().to_owned()).collect();
    let doubt =
        (!files.is_empty()).then_some(Caution::Level(LevelDoubt::NoLeak { files, as_bare }));
    (bright.into_iter().map(|i| (i, Judgement::NoLeak)).collect(), doubt)
}
