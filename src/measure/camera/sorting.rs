//! Second thoughts about frames of a wall, which one frame alone does not allow: which are of a capped
//! lens after all, which may be of the wall though they look dark, which the sensor may have cut.

use super::lamps::OfLamps;
use crate::levels::from_14_bit;
use crate::numerics::robust::median;
use crate::shoot::frames::Observed;

/// A frame that is as dark as black, where the wall should have given fewer counts than this at 14
/// bit, may be of the wall (ours).
const DIM_COUNTS: f64 = 40.0;
/// A frame of the wall with fewer counts than this, at 14 bit, is mostly what black is off by (ours: eight times
/// the doubt of a file's own).
const BURIED_COUNTS: f64 = 4.0;
/// A frame fainter than this, counts at 14 bit, where the wall in its dimmest light would have given so
/// many times more, is of a capped lens: black differs from the files' or has crept up (ours).
const FAINT_COUNTS: f64 = 64.0;
const CAPPED: f64 = 16.0;
/// Above this share of the level at which other frames clip, noise and shading may be cut (ours).
const NEAR_TOP: f64 = 0.93;
/// Clipped frames that are full over this share of the centre tell that level, percent.
const FULL_PERCENT: f64 = 90.0;

/// What a frame is.
pub(super) enum Sort {
    Wall,
    Dark,
    /// Of two lamps, each alone, both, or none.
    OfLamps,
    Out(String),
}

impl Sort {
    pub(super) fn is_wall(&self) -> bool {
        matches!(self, Self::Wall)
    }
}

/// Judges all frames together.
pub(super) fn settle(observed: &[Observed], kinds: &mut [Sort]) {
    capped(observed, kinds);
    doubt_dark(observed, kinds);
    cut(observed, kinds);
}

fn rate(o: &Observed) -> Option<f64> {
    Some(o.look.levels[1] / o.exposure.as_ref()?.true_time.get())
}

/// Frames of two lamps, and what stands among them and does not go with them: it is of no light level.
pub(super) fn sort_lamps(lamps: &[OfLamps], kinds: &mut [Sort]) {
    const AMONG: &str = "among frames of two lamps, with which it does not add up";
    for lamps in lamps {
        let (first, last) = (lamps.frames().min(), lamps.frames().max());
        let (Some(first), Some(last)) = (first, last) else { continue };
        let walls = kinds[first..=last].iter_mut().filter(|kind| kind.is_wall());
        walls.for_each(|kind| *kind = Sort::Out(AMONG.to_owned()));
    }
    let unlit = "of two lamps, and no frame at its time shows the wall with both covered";
    for lamps in lamps {
        let is_told = !lamps.unlit.is_empty();
        let sort = || if is_told { Sort::OfLamps } else { Sort::Out(unlit.to_owned()) };
        lamps.frames().for_each(|n| kinds[n] = sort());
    }
}

/// Faint frames where the dimmest light of the wall would have given far more.
fn capped(observed: &[Observed], kinds: &mut [Sort]) {
    let faint = |o: &Observed| o.look.levels[1].abs() < from_14_bit(FAINT_COUNTS, &o.summary);
    let bright = observed.iter().zip(&*kinds).filter(|(o, k)| k.is_wall() && !faint(o));
    let dimmest = bright.filter_map(|(o, _)| rate(o)).fold(f64::INFINITY, f64::min);
    if !dimmest.is_finite() {
        return;
    }
    for (o, kind) in observed.iter().zip(kinds) {
        let Some(exposure) = &o.exposure else { continue };
        let expected = dimmest * exposure.true_time.get();
        let least = o.look.levels[1].abs().max(from_14_bit(1.0, &o.summary));
        let doubted = kind.is_wall() || o.look.below_black;
        if doubted && faint(o) && expected > CAPPED * least {
            *kind = Sort::Dark;
        }
    }
}

/// Frames as dark as black that the wall itself may have made so are neither, nor are those of which black
/// makes most.
fn doubt_dark(observed: &[Observed], kinds: &mut [Sort]) {
    const WHY: &str = "too dark to tell the wall from black";
    for (o, kind) in observed.iter().zip(&mut *kinds) {
        if kind.is_wall() && o.look.levels[1] < from_14_bit(BURIED_COUNTS, &o.summary) {
            *kind = Sort::Out(WHY.to_owned());
        }
    }
    let walls: Vec<usize> = (0..kinds.len()).filter(|&i| kinds[i].is_wall()).collect();
    for i in 0..kinds.len() {
        let (Sort::Dark, Some(exposure)) = (&kinds[i], &observed[i].exposure) else { continue };
        let nearest = walls.iter().min_by_key(|w| w.abs_diff(i));
        let expected =
            nearest.and_then(|&w| rate(&observed[w])).map(|r| r * exposure.true_time.get());
        let least = from_14_bit(DIM_COUNTS, &observed[i].summary);
        if expected.is_some_and(|counts| counts < least) {
            kinds[i] = Sort::Out(WHY.to_owned());
        }
    }
}

/// A sensor that saturates below the white level shows it in frames that it fills; of those just below
/// nothing tells but the others.
fn cut(observed: &[Observed], kinds: &mut [Sort]) {
    let full = observed
        .iter()
        .filter(|o| o.look.clipped[1] && o.look.clipped_percent.get() > FULL_PERCENT);
    let Some(top) = median(full.map(|o| o.look.levels[1])) else { return };
    for (o, kind) in observed.iter().zip(kinds) {
        if kind.is_wall() && o.look.levels[1] > NEAR_TOP * top {
            let why = "so near the level at which this sensor clips that it may be cut";
            *kind = Sort::Out(format!("{why}: expose it less"));
        }
    }
}
