//! Frames that were made to check the light or the holder, and habits of the camera that frames
//! give away.

use super::fit::Fit;
use super::readings::Used;
use crate::caution::{Caution, LevelDoubt};
use crate::numerics::robust::median;
use crate::profile::FrameState;
use crate::quantity::Stops;
use crate::shoot::verdict::Judgement;
use crate::shoot::{Judged, Label, Shoot};

/// A turn of the whole filter that changes the level by more than this shows polarised light.
const POLARISED: f64 = 0.05;
/// A cloth that changes it by more than this shows light past the filter.
const PAST: f64 = 0.03;
/// From here a camera takes a dark frame of its own, seconds (common practice, no source).
const LONG_S: f64 = 1.0;
/// A camera needs about this long to write a frame, seconds (ours).
const WRITING_S: f64 = 5.0;
/// The pause after a frame of so many seconds tells a busy camera from a person who waits (ours: people
/// wait for some seconds after each frame).
const TELLING_S: f64 = WRITING_S;
/// Below this share of full scale a dark frame of the camera's own matters (ours).
const LOW_LEVEL: f64 = 0.03;

/// Cautions from check frames, rotations and gaps.
#[must_use]
pub fn cautions(shoot: &Shoot, used: &[Used<'_>], fit: &Fit) -> Vec<Caution> {
    let mut found = Vec::new();
    let worst = |changes: Vec<f64>| {
        changes.into_iter().filter(|c| c.is_finite()).max_by(|a, b| a.abs().total_cmp(&b.abs()))
    };
    let turned = worst(changes(shoot, used, fit, |l| match l {
        Label::LightCheck(mark) => Some(mark),
        _ => None,
    }));
    let rotated = worst(rotations(used, fit));
    let polarised = turned.into_iter().chain(rotated).fold(0.0, |a: f64, b| a.max(b.abs()));
    if polarised > POLARISED {
        found.push(Caution::LightPolarised { change: Stops::new(polarised) });
    }
    let cloth = worst(changes(shoot, used, fit, |l| match l {
        Label::Cloth(mark) => Some(mark),
        _ => None,
    }));
    if let Some(change) = cloth.filter(|c| c.abs() > PAST) {
        let change = Stops::new(change.abs());
        found.push(Caution::Level(LevelDoubt::LightPastFilter { change }));
    }
    if noise_reduction(shoot, used) {
        found.push(Caution::NoiseReductionSuspected);
    }
    found
}

/// Level of a frame, stops, with what the light did taken out.
fn level(frame: &Judged, fit: &Fit) -> f64 {
    frame.look.centre - fit.light_at(frame.minutes)
}

/// By how many stops each check frame differs from the same state without the check.
fn changes(
    shoot: &Shoot,
    used: &[Used<'_>],
    fit: &Fit,
    mark_of: impl Fn(&Label) -> Option<&Option<String>>,
) -> Vec<f64> {
    let checks = shoot.frames.iter().filter(|f| f.judgement == Judgement::Check);
    checks
        .filter_map(|f| {
            let mark = mark_of(f.label.as_ref()?)?;
            let same_mark = |s: usize| {
                mark.is_none() || shoot.settings.len() == 1 || shoot.settings[s].mark == *mark
            };
            let alike = used.iter().filter(|u| u.frame.setting.is_some_and(same_mark));
            let reference = median(alike.map(|u| level(u.frame, fit))).unwrap_or(f64::NAN);
            Some(level(f, fit) - reference)
        })
        .collect()
}

/// How far the rotations of one setting lie apart.
fn rotations(used: &[Used<'_>], fit: &Fit) -> Vec<f64> {
    let settings = fit.settings.len();
    (0..settings)
        .map(|setting| {
            let mut turns: Vec<(f64, Vec<f64>)> = Vec::new();
            for u in used.iter().filter(|u| u.frame.setting == Some(setting)) {
                let Some(rotation) = u.frame.rotation else { continue };
                let found = turns.iter_mut().find(|(r, _)| (*r - rotation.get()).abs() < 1.0);
                match found {
                    Some((_, levels)) => levels.push(level(u.frame, fit)),
                    None => turns.push((rotation.get(), vec![level(u.frame, fit)])),
                }
            }
            let levels = turns
                .into_iter()
                .map(|(_, l)| median(l).unwrap_or(f64::NAN))
                .filter(|l| l.is_finite());
            let (low, high) =
                levels.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), l| (a.min(l), b.max(l)));
            if high > low { high - low } else { 0.0 }
        })
        .collect()
}

/// Whether the camera subtracts dark frames of its own, told by the file or by a gap of its own
/// length after each long frame, and levels are so low that it matters.
fn noise_reduction(shoot: &Shoot, used: &[Used<'_>]) -> bool {
    let time = |f: &Judged| f.exposure.as_ref().map_or(0.0, |e| e.true_time.get());
    let range = |u: &Used<'_>| f64::from(u.frame.summary.levels.white).max(1.0);
    let low = used.iter().any(|u| {
        u.frame.state == FrameState::Setting
            && time(u.frame) >= LONG_S
            && u.centre[1].level < LOW_LEVEL * range(u)
    });
    let told = used.iter().any(|u| u.frame.summary.info.noise_reduction == Some(true));
    low && (told || (shoot.timed && gaps_of_own_length(shoot, time)))
}

fn gaps_of_own_length(shoot: &Shoot, time: impl Fn(&Judged) -> f64) -> bool {
    let gaps: Vec<(f64, f64)> = shoot
        .frames
        .windows(2)
        .filter(|w| time(&w[0]) >= TELLING_S && w[0].is_good())
        .map(|w| {
            let end = w[0].minutes * 60.0 + time(&w[0]) / 2.0;
            (time(&w[0]), w[1].minutes * 60.0 - time(&w[1]) / 2.0 - end)
        })
        .collect();
    let busy = |&(time, gap): &(f64, f64)| gap > 0.9 * time;
    // A pause of the photographer's own may be as long once, not after every frame.
    let near = gaps.iter().filter(|(time, gap)| *gap < 1.3 * time + WRITING_S).count();
    gaps.len() > 1 && gaps.iter().all(busy) && 2 * near > gaps.len()
}
