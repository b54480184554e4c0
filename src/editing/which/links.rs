//! How photographs hang together: each hangs on an earlier one of its scene, or of its quick series,
//! or stands at the head of a scene of its own.

use super::{Picture, exposure_value};
use crate::editing::scene::SceneDifference;
use crate::frame::Exposure;

/// How far apart two frames of one scene may be in time to be compared, in minutes.
const SAME_SCENE_MINUTES: f64 = 30.0;
/// How many earlier frames are looked at for one of the same scene.
const LOOK_BACK: usize = 12;
/// A pair at least so likely of one scene is taken without looking farther back (ours).
const ENOUGH: f64 = 0.95;
/// Less than this is no scene in common (ours).
const LEAST: f64 = 0.5;
/// Within so many seconds of a pause nobody changes a filter that is screwed on (ours).
pub(super) const QUICK_SECONDS: f64 = 4.0;
/// Within these it is seldom.
pub(super) const SOON_SECONDS: f64 = 10.0;
/// Focal lengths within this factor are one.
const SAME_FOCAL: f64 = 1.05;
/// The raw level of a well exposed mean tone lies so many stops below full scale (ISO 12232, with
/// half a stop of room above white; cameras differ by half a stop).
const BELOW_FULL_SCALE: f64 = 3.0;
/// What is clipped or dark lies so far beyond what it shows, in stops (ours).
const BOUND_STOPS: f64 = 1.0;

/// On what a photograph hangs.
#[derive(Clone, Debug)]
pub(super) enum Tie {
    /// An earlier frame of the same scene, and how the two differ, exposure allowed for.
    Scene { on: usize, difference: SceneDifference },
    /// The frame before in a quick series that shows another view.
    Series { on: usize },
    /// Nothing: the first of its scene.
    Head,
}

/// One photograph in its place.
#[derive(Clone, Debug)]
pub(super) struct Placed {
    /// Index into the pictures.
    pub picture: usize,
    /// On what it hangs; indices into the placed photographs.
    pub tie: Tie,
    /// Minutes since that.
    pub minutes: f64,
    /// Seconds between the end of the exposure before, whatever it shows, and the start of this.
    pub since: f64,
    /// The light that reached the sensor, as the exposure value at ISO 100 of a scene that would
    /// have given it without a filter.
    pub light: Option<f64>,
    /// How far that may be off since some of the photograph is clipped or dark, in stops.
    pub bound: f64,
}

impl Placed {
    /// Index of the placed photograph that it hangs on.
    pub fn on(&self) -> Option<usize> {
        match self.tie {
            Tie::Scene { on, .. } | Tie::Series { on } => Some(on),
            Tie::Head => None,
        }
    }
}

/// All photographs in the order in which they were taken, those without a time last.
pub(super) fn placed(pictures: &[Picture]) -> Vec<Placed> {
    let mut order: Vec<usize> = (0..pictures.len()).collect();
    let key = |i: usize| {
        let info = &pictures[i].info;
        (info.capture.at.is_none(), info.capture.at, info.file.as_str())
    };
    order.sort_by(|&a, &b| key(a).cmp(&key(b)));
    (0..order.len()).map(|at| place(pictures, &order, at)).collect()
}

fn place(pictures: &[Picture], order: &[usize], at: usize) -> Placed {
    let here = &pictures[order[at]];
    let tie = tie(pictures, order, at);
    let on = match &tie {
        Tie::Scene { on, .. } | Tie::Series { on } => Some(*on),
        // Light changes between scenes too.
        Tie::Head => at.checked_sub(1),
    };
    let before = on.map(|on| &pictures[order[on]]);
    Placed {
        picture: order[at],
        tie,
        minutes: before.and_then(|b| minutes(b, here)).unwrap_or(0.0).max(0.0),
        since: at
            .checked_sub(1)
            .and_then(|last| pause(&pictures[order[last]], here))
            .unwrap_or(f64::INFINITY),
        light: light(here),
        bound: BOUND_STOPS * here.scene.as_ref().map_or(0.0, |s| s.hidden),
    }
}

fn tie(pictures: &[Picture], order: &[usize], at: usize) -> Tie {
    let here = &pictures[order[at]];
    let mut best: Option<(usize, SceneDifference)> = None;
    for on in (at.saturating_sub(LOOK_BACK)..at).rev() {
        let before = &pictures[order[on]];
        let near = minutes(before, here).is_some_and(|m| m <= SAME_SCENE_MINUTES);
        if !near || !same_view(before, here) {
            continue;
        }
        let Some(found) = difference(before, here) else { continue };
        let better = best.as_ref().is_none_or(|(_, known)| found.same > known.same);
        if better {
            let enough = found.same >= ENOUGH;
            best = Some((on, found));
            if enough {
                break;
            }
        }
    }
    if let Some((on, difference)) = best.filter(|(_, d)| d.same >= LEAST) {
        return Tie::Scene { on, difference };
    }
    // A picture without a light of its own stands between no two frames.
    let seen = |on: &usize| pictures[order[*on]].scene.is_some();
    let Some(on) = (0..at).rev().find(seen).or(at.checked_sub(1)) else { return Tie::Head };
    let before = &pictures[order[on]];
    if !pause(before, here).is_some_and(|p| p < SOON_SECONDS) || !same_body(before, here) {
        return Tie::Head;
    }
    let turned = before.scene.as_ref().zip(here.scene.as_ref());
    match turned.and_then(|(a, b)| exposed_alike(a.overlap(b)?, before, here)) {
        Some(difference) if difference.same >= LEAST => Tie::Scene { on, difference },
        _ => Tie::Series { on },
    }
}

fn difference(before: &Picture, here: &Picture) -> Option<SceneDifference> {
    let found = before.scene.as_ref()?.difference(here.scene.as_ref()?)?;
    exposed_alike(found, before, here)
}

/// The same difference as if both had been exposed alike.
fn exposed_alike(
    found: SceneDifference,
    before: &Picture,
    here: &Picture,
) -> Option<SceneDifference> {
    let exposed = exposed(&here.info.exposure)? - exposed(&before.info.exposure)?;
    Some(SceneDifference { stops: found.stops - exposed, ..found })
}

fn light(picture: &Picture) -> Option<f64> {
    let scene = picture.scene.as_ref().filter(|s| !s.is_blind())?;
    let below = scene.full_scale - scene.level;
    Some(exposure_value(&picture.info.exposure)? + BELOW_FULL_SCALE - below)
}

/// log2(t ISO / N^2); `None` where one is unknown.
fn exposed(exposure: &Exposure) -> Option<f64> {
    let (n, t, iso) = (exposure.f_number?.get(), exposure.time?.get(), exposure.iso?.get());
    (n > 0.0 && t > 0.0 && iso > 0.0).then(|| (t * iso / (n * n)).log2())
}

/// Minutes from the middle of one exposure to that of the other.
pub(super) fn minutes(a: &Picture, b: &Picture) -> Option<f64> {
    let middle = |p: &Picture| p.info.exposure.time.map_or(0.0, |t| t.get() / 2.0);
    let start = b.info.capture.at?.duration_since(a.info.capture.at?).as_secs_f64();
    Some((start + middle(b) - middle(a)) / 60.0)
}

/// Seconds between the end of one exposure and the start of the next.
fn pause(a: &Picture, b: &Picture) -> Option<f64> {
    let start = b.info.capture.at?.duration_since(a.info.capture.at?).as_secs_f64();
    Some(start - a.info.exposure.time?.get())
}

fn same_body(a: &Picture, b: &Picture) -> bool {
    let (a, b) = (&a.info.camera, &b.info.camera);
    let serial = a.serial.as_ref().zip(b.serial.as_ref()).is_none_or(|(a, b)| a == b);
    a.make == b.make && a.model == b.model && serial
}

fn same_view(a: &Picture, b: &Picture) -> bool {
    let (one, two) = (&a.info, &b.info);
    let lens = one.camera.lens.as_ref().zip(two.camera.lens.as_ref()).is_none_or(|(a, b)| a == b);
    let focal = one.camera.focal_length.zip(two.camera.focal_length).is_none_or(|(a, b)| {
        let (a, b) = (a.get(), b.get());
        a <= 0.0 || b <= 0.0 || (a / b).max(b / a) <= SAME_FOCAL
    });
    same_body(a, b) && lens && focal && one.orientation == two.orientation
}
