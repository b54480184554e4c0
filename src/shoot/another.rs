//! Frames that belong to no state but agree among themselves, as those of another filter would.

use super::evidence::{FOREIGN, LEAST_APART, WHOLE_RUN, series};
use super::frames::Observed;
use super::hypotheses::{Reading, Shown};
use super::kalman::Level;
use super::verdicts::Role;
use super::wish::Wish;
use crate::caution::{ApartDoubt, Caution};
use crate::numerics::robust::median;
use crate::quantity::Stops;

/// A cloud that darkens a run lets it waver by more than this, stops (ours).
const STEADY: f64 = 0.03;
/// The first of two greens among the planes.
const GREEN: usize = 1;
/// What is metered comes as near to the level of the bare frames, stops (ours).
const METERED: f64 = 1.0;
/// Frames of one thing agree to this, stops (ours: what light does between two runs).
const AGREE: f64 = 0.3;

/// A caution where there are such frames: at least as many as a run, or as one state has, or metered for,
/// so far from the bare light and from every state as no cloud over frames that the camera was set alike
/// for.
pub fn another_level(
    reading: &Reading,
    frames: &[Observed],
    good: &[usize],
    wish: &Wish,
) -> Option<Caution> {
    if wish.names_marks() {
        return None;
    }
    let levels = &series(frames, good, wish);
    let shown = good.iter().map(|&i| frames[i].look.levels[GREEN].log2()).collect();
    let left = LeftOver { reading, levels, shown };
    let like = left.frames()?;
    // What is measured is the centre.
    let beside = |at: usize| frames[good[at]].look.centre - frames[good[at]].look.whole;
    let middle = |of: &[usize]| median(of.iter().map(|&at| beside(at))).unwrap_or(0.0);
    let in_centre = left.stops(like[0]) + middle(&like) - middle(&left.of(Role::Bare));
    let name = |&at: &usize| frames[good[at]].file();
    let bare: Vec<&str> = left.of(Role::Bare).iter().map(name).collect();
    let others: Vec<&str> = like.iter().map(name).collect();
    Some(Caution::Apart(ApartDoubt::AnotherLevel {
        below_bare: Stops::new(-in_centre),
        command: wish.another_by_name(&bare, &others),
        files: others.into_iter().map(str::to_owned).collect(),
    }))
}

/// Good frames, by their places, under a reading that leaves some of them out.
struct LeftOver<'a> {
    reading: &'a Reading,
    levels: &'a [Level],
    /// What the camera shows, log2 of counts above black.
    shown: Vec<f64>,
}

impl LeftOver<'_> {
    /// The most that agree and may be another filter's.
    fn frames(&self) -> Option<Vec<usize>> {
        let states: Vec<Role> = (0..self.reading.strengths.len()).map(Role::Setting).collect();
        let enough = states.iter().map(|r| self.of(*r).len()).min()?.clamp(1, WHOLE_RUN);
        let is_another = |like: &Vec<usize>| {
            (like.len() >= enough || self.is_metered_for(like))
                && like.iter().all(|&at| self.stops(at) < -LEAST_APART)
                && self.are_far_from(like, Role::Bare)
                && states.iter().all(|role| self.are_far_from(like, *role))
        };
        let odd = self.odd();
        odd.iter().map(|&at| self.agreeing(&odd, at)).filter(is_another).max_by_key(Vec::len)
    }
    /// Frames that belong to no state.
    fn odd(&self) -> Vec<usize> {
        let frames = self.reading.frames.iter().enumerate();
        frames.filter(|(_, shown)| matches!(shown, Shown::Odd(..))).map(|(at, _)| at).collect()
    }
    fn agreeing(&self, odd: &[usize], with: usize) -> Vec<usize> {
        let agrees = |at: &usize| (self.stops(*at) - self.stops(with)).abs() < AGREE;
        odd.iter().copied().filter(agrees).collect()
    }
    fn of(&self, role: Role) -> Vec<usize> {
        let frames = self.reading.frames.iter().enumerate();
        frames.filter(|(_, shown)| **shown == Shown::Role(role)).map(|(at, _)| at).collect()
    }
    /// Stops of a frame against the bare light.
    fn stops(&self, at: usize) -> f64 {
        self.reading.stops_against_bare(&self.reading.frames[at])
    }
    /// What wavers at settings that this role's frames have may be the same under a cloud.
    fn are_far_from(&self, like: &[usize], role: Role) -> bool {
        let exposure = |at: usize| self.levels[at].exposure;
        let is_set_alike =
            self.of(role).iter().any(|&at| like.iter().any(|&k| exposure(k) == exposure(at)));
        let least = if is_set_alike && self.wavers(like) { FOREIGN } else { LEAST_APART };
        let its = self.reading.stops_against_bare(&Shown::Role(role));
        like.iter().all(|&at| (self.stops(at) - its).abs() > least)
    }
    /// The camera was set for these frames alone, and brought them about to the level of the bare ones: so
    /// is something shot that was meant, though but once.
    fn is_metered_for(&self, like: &[usize]) -> bool {
        let exposure = |at: usize| self.levels[at].exposure;
        let is_own = |at: usize| {
            (0..self.levels.len()).all(|k| like.contains(&k) || exposure(k) != exposure(at))
        };
        let bare = self.of(Role::Bare);
        let about_as_light =
            |at: usize| bare.iter().any(|&k| (self.shown[at] - self.shown[k]).abs() < METERED);
        let is_foreign = |at: usize| {
            self.reading.frames.iter().all(|shown| {
                let its = self.reading.stops_against_bare(shown);
                matches!(shown, Shown::Odd(..)) || (self.stops(at) - its).abs() > FOREIGN
            })
        };
        like.iter().all(|&at| is_own(at) && about_as_light(at) && is_foreign(at))
    }
    /// A single frame may be under a cloud, too.
    fn wavers(&self, like: &[usize]) -> bool {
        let stops = || like.iter().map(|&at| self.levels[at].stops);
        let (low, high) =
            (stops().fold(f64::INFINITY, f64::min), stops().fold(f64::NEG_INFINITY, f64::max));
        like.len() < 2 || high - low > STEADY
    }
}
