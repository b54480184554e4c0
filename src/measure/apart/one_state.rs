//! Frames that were taken as of one state and show lights too far apart for it: one was named wrongly, or
//! the marks were named in the wrong order.

use super::{files, level};
use crate::caution::{ApartDoubt, Shows};
use crate::measure::readings::Used;
use crate::numerics::robust::median;
use crate::profile::{FrameState, Kind};
use crate::quantity::Stops;
use crate::shoot::{Judged, Shoot};
use std::f64::consts::LN_2;

/// Frames of one state lie apart by no more than this, with what the bare frames show of the light taken
/// out, stops (ours).
const APART: f64 = 0.5;
/// The same of bare frames, whose light nothing else shows: up to a stop of change bare is bare (ours).
const BARE_APART: f64 = 1.0;
/// The same of frames that lie before or behind all bare ones, whose light is not known (ours: what an
/// evening does within a shoot, and a sun that comes out).
const UNSEEN_APART: f64 = 2.5;
/// A hand sets a ring within this, degrees (ours): near crossing that is more than [`APART`].
const BY_HAND_DEGREES: f64 = 2.0;
/// Two sheets take one stop of unpolarised light when parallel.
const PARALLEL: f64 = 1.0;
/// Frames show the same light to this, stops (ours: what light does between two runs).
const ALIKE: f64 = 0.35;
/// And lie nearer to it than this share of what parts them from their own (ours).
const CLEARLY_NEARER: f64 = 0.5;

/// Doubts that name the frames.
#[must_use]
pub fn contradicted(shoot: &Shoot, used: &[Used<'_>]) -> Vec<ApartDoubt> {
    let of = |setting: Option<usize>| -> Vec<&Judged> {
        let state = if setting.is_some() { FrameState::Setting } else { FrameState::Bare };
        let frames = used.iter().map(|u| u.frame);
        frames.filter(|f| f.state == state && f.setting == setting).collect()
    };
    let bare = Camps::of(&of(None), level, |_| BARE_APART, 1.0);
    let Some(bare) = bare else { return Vec::new() };
    let light = BareLight::of(bare.main());
    let seen = |frame: &Judged| level(frame) - light.at(frame.minutes);
    let turned = matches!(shoot.kind, Kind::Variable | Kind::Polariser);
    let several = shoot.settings.len() > 1;
    // A polariser's rotations take what the light's polarisation lets them.
    let rotates = shoot.kind == Kind::Polariser && !several;
    let mut states = vec![(Shows::Bare, bare.seen_by(seen))];
    for (number, setting) in shoot.settings.iter().enumerate().filter(|_| !rotates) {
        let frames = of(Some(number));
        let is_seen = frames.iter().all(|frame| light.covers(frame.minutes));
        let apart = if is_seen { APART } else { UNSEEN_APART };
        let most = |below: f64| if turned { apart.max(by_hand(below)) } else { apart };
        let Some(state) = Camps::of(&frames, seen, most, -1.0) else { continue };
        let mark = setting.mark.clone().unwrap_or_else(|| (number + 1).to_string());
        states.push((if several { Shows::Mark(mark) } else { Shows::Filter }, state));
    }
    let doubts = |(taken, state): &(Shows, Camps<'_>)| -> Vec<ApartDoubt> {
        let main = state.main();
        let doubt = |apart: &Camp<'_>| ApartDoubt::NotOneState {
            apart: files(&apart.frames),
            others: files(&main.frames),
            by: Stops::new(apart.middle - main.middle),
            taken: taken.clone(),
            like: like(&states, taken, apart, main),
        };
        state.groups[1..].iter().map(doubt).collect()
    };
    states.iter().flat_map(doubts).collect()
}

/// What a hand's degrees make of a strength, stops: two sheets pass cos^2 of the angle between their axes
/// (Malus' law, Hecht, Optics, from memory), and its logarithm falls by 2 tan of it.
fn by_hand(below_bare: f64) -> f64 {
    let tangent = ((below_bare - PARALLEL).exp2() - 1.0).max(0.0).sqrt();
    2.0 / LN_2 * tangent * BY_HAND_DEGREES.to_radians()
}

/// Which state else shows the light of these frames.
fn like(
    states: &[(Shows, Camps<'_>)],
    taken: &Shows,
    apart: &Camp<'_>,
    main: &Camp<'_>,
) -> Option<Shows> {
    let far = CLEARLY_NEARER * (apart.middle - main.middle).abs();
    let others = states.iter().filter(|(shows, _)| shows != taken);
    let near = others.map(|(shows, state)| ((apart.middle - state.main().middle).abs(), shows));
    let nearest = near.min_by(|a, b| a.0.total_cmp(&b.0));
    nearest.filter(|(by, _)| *by < ALIKE && *by < far).map(|(_, shows)| shows.clone())
}

/// Frames that show about the same light.
struct Camp<'a> {
    frames: Vec<&'a Judged>,
    /// Middle of their light, stops.
    middle: f64,
}

/// Frames that were taken as of one state, in groups; the first is the largest.
struct Camps<'a> {
    groups: Vec<Camp<'a>>,
}

impl<'a> Camps<'a> {
    /// `None` without a frame. Of groups that are equally large the first is the brighter one where `way` is
    /// positive, else the darker.
    fn of(
        frames: &[&'a Judged],
        light: impl Fn(&Judged) -> f64,
        most: impl Fn(f64) -> f64,
        way: f64,
    ) -> Option<Self> {
        let mut known: Vec<(f64, &Judged)> = frames.iter().map(|f| (light(f), *f)).collect();
        known.retain(|(light, _)| light.is_finite());
        known.sort_by(|a, b| a.0.total_cmp(&b.0));
        let is_near = |a: &(f64, &Judged), b: &(f64, &Judged)| b.0 - a.0 <= most(-b.0);
        let group = |part: &[(f64, &'a Judged)]| {
            let middle = median(part.iter().map(|(light, _)| *light)).unwrap_or(f64::NAN);
            let mut frames: Vec<&Judged> = part.iter().map(|(_, frame)| *frame).collect();
            frames.sort_by(|a, b| a.minutes.total_cmp(&b.minutes));
            Camp { frames, middle }
        };
        let mut groups: Vec<Camp<'_>> = known.chunk_by(is_near).map(group).collect();
        groups.sort_by(|a, b| {
            let by_size = b.frames.len().cmp(&a.frames.len());
            by_size.then((way * b.middle).total_cmp(&(way * a.middle)))
        });
        (!groups.is_empty()).then_some(Self { groups })
    }
    fn main(&self) -> &Camp<'a> {
        &self.groups[0]
    }
    /// The same groups in another light.
    fn seen_by(&self, light: impl Fn(&Judged) -> f64) -> Self {
        let seen = |group: &Camp<'a>| Camp {
            frames: group.frames.clone(),
            middle: median(group.frames.iter().map(|f| light(f))).unwrap_or(f64::NAN),
        };
        Self { groups: self.groups.iter().map(seen).collect() }
    }
}

/// The bare light over the shoot, as runs of bare frames show it.
struct BareLight(Vec<(f64, f64)>);

impl BareLight {
    fn of(bare: &Camp<'_>) -> Self {
        let runs = bare.frames.chunk_by(|a, b| a.run == b.run);
        let middle = |run: &[&Judged]| {
            let minutes = run.iter().map(|f| f.minutes).sum::<f64>() / run.len() as f64;
            Some((minutes, median(run.iter().map(|f| level(f)))?))
        };
        Self(runs.filter_map(middle).collect())
    }
    /// Whether bare frames were taken before and after this minute.
    fn covers(&self, minutes: f64) -> bool {
        let ends = self.0.first().zip(self.0.last());
        ends.is_some_and(|((first, _), (last, _))| (*first..=*last).contains(&minutes))
    }
    /// On a straight line between runs, and as in the nearest one beyond them.
    fn at(&self, minutes: f64) -> f64 {
        let after = self.0.partition_point(|(m, _)| *m < minutes);
        let known = |at: usize| self.0.get(at).copied();
        match (after.checked_sub(1).and_then(known), known(after)) {
            (Some((m0, l0)), Some((m1, l1))) if m1 > m0 => {
                l0 + (l1 - l0) * (minutes - m0) / (m1 - m0)
            }
            (Some((_, light)), _) | (None, Some((_, light))) => light,
            (None, None) => f64::NAN,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numerical derivative of -log2 cos^2 at the angle that takes the strength.
    #[test]
    fn two_degrees_of_a_hand_weigh_more_near_crossing() {
        let takes = |degrees: f64| -2.0 * degrees.to_radians().cos().log2();
        for degrees in [20.0, 60.0, 80.0] {
            let slope = (takes(degrees + 1e-4) - takes(degrees - 1e-4)) / 2e-4;
            let by_hand = by_hand(PARALLEL + takes(degrees));
            assert!((by_hand - 2.0 * slope).abs() < 1e-6, "{degrees}: {by_hand}");
        }
    }
}
