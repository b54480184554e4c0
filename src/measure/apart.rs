//! Frames that were taken alike and do not look alike: which hang apart, by their level or by how the
//! light lies across them.

mod focus;
mod one_state;
mod unsteady;
mod wall;

use super::readings::Used;
use crate::caution::{ApartDoubt, Caution};
use crate::numerics::robust::median;
use crate::profile::{FrameState, Kind};
use crate::quantity::Stops;

use crate::shoot::look::COARSE;
use crate::shoot::{Judged, Shoot};

/// Levels jump from this on, stops (ours), and patterns.
const LEAST_JUMP: f64 = 0.05;
const LEAST_CHANGE: f64 = 0.015;
/// A graduation is a pattern, and spoilt by bare frames that differ by more than this in theirs, stops
/// (ours): its filter set low may stand in some of them.
const HARMS_GRADUATION: f64 = 0.05;
/// A jump is so many times the usual step from frame to frame (ours).
const USUAL_STEPS: f64 = 4.0;
/// Scatter of a frame in steady light, stops, as good as known from so many frames (ours).
const USUAL_SCATTER: f64 = 0.006;
const USUAL_FRAMES: f64 = 4.0;
/// Noise of the patterns is allowed for by so many standard deviations.
const NOISE_SIGMAS: f64 = 3.0;
/// Frames through the filter go with the bare ones that they differ from by less than this share of what
/// they differ from others (ours).
const CLEARLY_NEARER: f64 = 0.5;

/// Cautions that name the frames that hang apart.
#[must_use]
pub fn cautions(shoot: &Shoot, used: &[Used<'_>]) -> Vec<Caution> {
    let kind = shoot.kind;
    let contradicted = one_state::contradicted(shoot, used);
    if !contradicted.is_empty() {
        // Beside a wrong name nothing else is to be told apart.
        return contradicted.into_iter().map(Caution::Apart).collect();
    }
    let sets = alike(kind, used);
    let mut found: Vec<ApartDoubt> = Vec::new();
    let usual = usual_step(&sets, |a, b| (level(a) - level(b)).abs());
    let jump = LEAST_JUMP.max(USUAL_STEPS * usual);
    for set in &sets {
        found.extend(levels(set, jump));
    }
    let bare: Vec<&Judged> =
        used.iter().map(|u| u.frame).filter(|f| f.state == FrameState::Bare).collect();
    let usual = usual_step(&sets, |a, b| spread(&change(&a.look.map, &b.look.map)));
    let change = LEAST_CHANGE.max(USUAL_STEPS * usual);
    found.extend(patterns(kind, &bare, &through(used), change));
    if matches!(kind, Kind::Solid | Kind::Stack) && !found.iter().any(is_of_pattern) {
        found.extend(wall::shifted(&bare, &through(used)));
        found.extend(focus::refocused(used));
    }
    if !matches!(kind, Kind::Variable | Kind::Polariser) {
        found.extend(unsteady::through_filter(&sets));
    }
    found.into_iter().map(Caution::Apart).collect()
}

fn is_of_pattern(doubt: &ApartDoubt) -> bool {
    matches!(doubt, ApartDoubt::Patterns { .. })
}

/// Variance of a frame in steady light, square stops, from the sum of so many squares and what is usual;
/// and its degrees of freedom.
pub(super) fn steady_variance(squares: f64, count: usize) -> (f64, f64) {
    let degrees = USUAL_FRAMES + count as f64;
    ((USUAL_FRAMES * USUAL_SCATTER * USUAL_SCATTER + squares) / degrees, degrees)
}

/// Level of a frame, stops of light per exposure.
fn level(frame: &Judged) -> f64 {
    frame.look.centre
}

/// Frames of one state at the same settings of the camera, in capture order; of a ring, which is never
/// set twice alike, the bare ones.
fn alike<'a>(kind: Kind, used: &[Used<'a>]) -> Vec<Vec<&'a Judged>> {
    let turned = matches!(kind, Kind::Variable | Kind::Polariser);
    let same = |a: &Judged, b: &Judged| {
        let of = |f: &Judged| f.exposure.as_ref().map(|e| (e.recorded, e.iso, e.f_number));
        (a.state, a.setting) == (b.state, b.setting) && of(a) == of(b)
    };
    let mut sets: Vec<Vec<&Judged>> = Vec::new();
    for u in used.iter().filter(|u| !(turned && u.frame.state == FrameState::Setting)) {
        match sets.iter_mut().find(|set| same(set[0], u.frame)) {
            Some(set) => set.push(u.frame),
            None => sets.push(vec![u.frame]),
        }
    }
    sets
}

/// Frames through the filter.
fn through<'a>(used: &[Used<'a>]) -> Vec<&'a Judged> {
    used.iter().map(|u| u.frame).filter(|f| f.state == FrameState::Setting).collect()
}

/// What frames usually differ by from those before them.
fn usual_step(sets: &[Vec<&Judged>], differ: impl Fn(&Judged, &Judged) -> f64) -> f64 {
    let steps = sets.iter().flat_map(|set| set.windows(2).map(|pair| differ(pair[0], pair[1])));
    median(steps.filter(|step| step.is_finite())).unwrap_or(0.0)
}

/// Frames that jumps of more than `jump` stops part from most of their set.
fn levels(set: &[&Judged], jump: f64) -> Option<ApartDoubt> {
    let parts = parted(set, |a, b| (level(a) - level(b)).abs() > jump);
    let middle = |part: &[&Judged]| median(part.iter().map(|f| level(f))).unwrap_or(f64::NAN);
    let near = |a: &[&Judged], b: &[&Judged]| (middle(a) - middle(b)).abs() <= jump;
    let (apart, others) = against_most(&parts, near)?;
    let by = Stops::new(middle(&apart) - middle(&others));
    Some(ApartDoubt::Levels { apart: files(&apart), others: files(&others), by })
}

/// Bare frames over which the light is spread otherwise than over most, and which of both the frames
/// through the filter go with.
fn patterns(kind: Kind, bare: &[&Judged], through: &[&Judged], least: f64) -> Option<ApartDoubt> {
    let noise = |frame: &Judged| frame.look.noise;
    let by = |a: &[&Judged], b: &[&Judged]| spread(&change(&mean_pattern(a), &mean_pattern(b)));
    let differ = |a: &[&Judged], b: &[&Judged]| {
        by(a, b) > least.max(NOISE_SIGMAS * noise(a[0]).hypot(noise(b[0])))
    };
    let parts = parted(bare, |a, b| differ(&[a], &[b]));
    let (apart, others) = against_most(&parts, |a, b| !differ(a, b))?;
    let (to_apart, to_others) = (by(through, &apart), by(through, &others));
    let nearer = to_apart.min(to_others) < CLEARLY_NEARER * to_apart.max(to_others);
    let through = nearer.then(|| (files(through), to_apart < to_others));
    let by = Stops::new(by(&apart, &others));
    let is_measured = kind == Kind::Graduated && by.get() > HARMS_GRADUATION;
    let (apart, others) = (files(&apart), files(&others));
    Some(ApartDoubt::Patterns { apart, others, by, through, is_measured })
}

/// Consecutive frames, parted wherever two of them differ.
fn parted<'a>(
    set: &[&'a Judged],
    differ: impl Fn(&Judged, &Judged) -> bool,
) -> Vec<Vec<&'a Judged>> {
    set.chunk_by(|a, b| !differ(a, b)).map(<[&Judged]>::to_vec).collect()
}

/// Frames of the parts that are unlike the most common one, and those of the parts that are like it;
/// `None` where all are.
fn against_most<'a>(
    parts: &[Vec<&'a Judged>],
    near: impl Fn(&[&Judged], &[&Judged]) -> bool,
) -> Option<(Vec<&'a Judged>, Vec<&'a Judged>)> {
    let like = |part: &Vec<&Judged>| -> usize {
        parts.iter().filter(|other| near(part, other)).map(Vec::len).sum()
    };
    // The first of those that are equally common.
    let most = parts.iter().rev().max_by_key(|part| like(part))?;
    let (others, apart): (Vec<_>, Vec<_>) =
        parts.iter().cloned().partition(|part| near(most, part));
    (!apart.is_empty()).then(|| (apart.concat(), others.concat()))
}

fn files(frames: &[&Judged]) -> Vec<String> {
    frames.iter().map(|f| f.file().to_owned()).collect()
}

/// Mean of the coarse maps, stops, each brought to its own middle.
fn mean_pattern(frames: &[&Judged]) -> Vec<f64> {
    let middles: Vec<f64> = frames.iter().map(|f| middle(&f.look.map)).collect();
    let mean = |i: usize| {
        let own = frames.iter().zip(&middles).map(|(f, m)| f.look.map[i] - m);
        own.sum::<f64>() / frames.len().max(1) as f64
    };
    (0..COARSE * COARSE).map(mean).collect()
}

fn middle(map: &[f64]) -> f64 {
    median(map.iter().copied().filter(|v| v.is_finite())).unwrap_or(f64::NAN)
}

/// What changed from one pattern to another, stops.
fn change(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| b - a).collect()
}

/// Typical deviation of known places from their mean, stops.
fn spread(change: &[f64]) -> f64 {
    let known: Vec<f64> = change.iter().copied().filter(|v| v.is_finite()).collect();
    let n = known.len() as f64;
    let mean = known.iter().sum::<f64>() / n;
    (known.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n).sqrt()
}
