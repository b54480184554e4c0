//! Two photographs beside each other: are they one view, and how far apart in time and light.

use crate::editing::series::PAUSE_SECONDS;

use super::{KnownBare, LEVEL_STOPS, Picture, exposure_value};
use crate::frame::Exposure;

/// Focal lengths within this factor are one.
const SAME_FOCAL: f64 = 1.05;
/// What remains of that where bare frames stand on both sides and the light between them is
/// interpolated (ours).
const BRACKETED_STOPS_PER_MINUTE: f64 = 0.05;

/// One photograph beside another of its scene.
#[derive(Clone, Copy, PartialEq)]
pub(super) struct Seen {
    pub(super) bare: usize,
    pub(super) known: KnownBare,
    /// Of the other frame after this one; negative before.
    pub(super) minutes: f64,
    /// By how much this photograph is darker, exposure allowed for.
    pub(super) stops: [f64; 3],
    pub(super) tolerance: f64,
}

impl Seen {
    /// The light at the photograph's own time, on a straight line between two bare frames.
    pub(super) fn interpolated(&self, after: &Self) -> Self {
        let (a, b) = (self.minutes.abs(), after.minutes.abs());
        let share = if a + b > 0.0 { a / (a + b) } else { 0.5 };
        let mix = |c: usize| self.stops[c] * (1.0 - share) + after.stops[c] * share;
        let nearer = if a <= b { self } else { after };
        let likely = matches!(self.known, KnownBare::Likely(_));
        let known = if likely { self.known } else { after.known };
        Self {
            stops: [mix(0), mix(1), mix(2)],
            tolerance: LEVEL_STOPS + BRACKETED_STOPS_PER_MINUTE * a.min(b),
            known,
            ..*nearer
        }
    }
}

/// log2(t ISO / N^2); `None` where one is unknown.
pub(super) fn exposed(exposure: &Exposure) -> Option<f64> {
    exposure_value(exposure).map(|ev| 100.0_f64.log2() - ev)
}

/// The scene's light, in stops on a scale of its own: level over exposure.
pub(super) fn light(picture: &Picture) -> Option<f64> {
    Some(picture.scene.as_ref()?.level()? - exposed(&picture.info.exposure)?)
}

/// Minutes from the middle of `b`'s exposure to the middle of `a`'s.
pub(super) fn minutes(a: &Picture, b: &Picture) -> Option<f64> {
    let start = a.info.capture.at?.duration_since(b.info.capture.at?).as_secs_f64();
    let half = |p: &Picture| p.info.exposure.time.map_or(0.0, |t| t.get() / 2.0);
    Some((start + half(a) - half(b)) / 60.0)
}

/// Seconds between the end of one exposure and the start of the other.
fn pause_s(a: &Picture, b: &Picture) -> Option<f64> {
    let (first, second) = if a.info.capture.at? <= b.info.capture.at? { (a, b) } else { (b, a) };
    let start = second.info.capture.at?.duration_since(first.info.capture.at?).as_secs_f64();
    Some(start - first.info.exposure.time?.get())
}

/// One after the other within seconds, as in a panorama: no time to change a filter.
pub(super) fn same_series(a: &Picture, b: &Picture) -> bool {
    pause_s(a, b).is_some_and(|pause| pause < PAUSE_SECONDS)
}

pub(super) fn same_exposure(a: &Picture, b: &Picture) -> bool {
    exposed(&a.info.exposure).is_some() && a.info.exposure == b.info.exposure
}

pub(super) fn same_body(pictures: &[Picture], i: usize, j: usize) -> bool {
    let (a, b) = (&pictures[i].info.camera, &pictures[j].info.camera);
    let serial = a.serial.as_ref().zip(b.serial.as_ref()).is_none_or(|(a, b)| a == b);
    a.make == b.make && a.model == b.model && serial
}

pub(super) fn same_view(pictures: &[Picture], i: usize, j: usize) -> bool {
    let (a, b) = (&pictures[i].info, &pictures[j].info);
    let lens = a.camera.lens.as_ref().zip(b.camera.lens.as_ref()).is_none_or(|(a, b)| a == b);
    let focal = a.camera.focal_length.zip(b.camera.focal_length).is_none_or(|(a, b)| {
        let (a, b) = (a.get(), b.get());
        a <= 0.0 || b <= 0.0 || (a / b).max(b / a) <= SAME_FOCAL
    });
    same_body(pictures, i, j) && lens && focal && a.orientation == b.orientation
}
