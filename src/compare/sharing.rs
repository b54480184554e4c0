//! What two measurements share and what they do not: it decides what a difference means.

use crate::profile::{FrameState, Profile};
use std::collections::BTreeSet;

/// How two profiles stand in one respect.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sameness {
    /// Alike in both.
    Same,
    /// Not alike.
    Differs,
    /// Not known in one of them.
    Unknown,
}

/// One respect.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shared {
    /// Of what.
    pub what: &'static str,
    /// In the first profile.
    pub first: String,
    /// In the second profile.
    pub second: String,
    /// Whether they are alike.
    pub sameness: Sameness,
    /// What that does to a difference.
    pub meaning: &'static str,
}

/// Colour temperatures this close, as a ratio, count as one light.
const SAME_LIGHT: f64 = 0.05;

/// All respects that matter.
pub(super) fn shared(first: &Profile, second: &Profile) -> Vec<Shared> {
    vec![
        frames(first, second),
        bodies(first, second),
        lenses(first, second),
        dial_times(first, second),
        lights(first, second),
    ]
}

fn row(
    what: &'static str,
    values: [Option<String>; 2],
    same: Option<bool>,
    meanings: [&'static str; 3],
) -> Shared {
    let [alike, apart, unknown] = meanings;
    let (sameness, meaning) = match same {
        Some(true) => (Sameness::Same, alike),
        Some(false) => (Sameness::Differs, apart),
        None => (Sameness::Unknown, unknown),
    };
    let [first, second] = values.map(|v| v.unwrap_or_else(|| "unknown".to_owned()));
    Shared { what, first, second, sameness, meaning }
}

fn frames(first: &Profile, second: &Profile) -> Shared {
    let used = |profile: &Profile| -> BTreeSet<String> {
        let frames = profile.frames.iter().filter(|f| f.state != FrameState::LeftOut);
        frames.map(|f| f.sha256.clone()).filter(|hash| !hash.is_empty()).collect()
    };
    let (a, b) = (used(first), used(second));
    let common = a.intersection(&b).count();
    row(
        "frames",
        [Some(format!("{} used", a.len())), Some(format!("{} used, {common} in common", b.len()))],
        (!a.is_empty() && !b.is_empty()).then_some(common > 0),
        [
            "the measurements are not independent: what these frames got wrong is wrong in both",
            "each measurement has noise and a drift of the light of its own",
            "whether the measurements are independent is not known",
        ],
    )
}

/// Make and model of the camera, where the model is known.
pub(super) fn model(profile: &Profile) -> Option<String> {
    let camera = &profile.camera;
    let model = camera.model.clone()?;
    Some(camera.make.iter().cloned().chain([model]).collect::<Vec<_>>().join(" "))
}

fn one_body(first: &Profile, second: &Profile) -> Option<bool> {
    let camera = |p: &Profile| (p.camera.make.clone(), p.camera.model.clone());
    match (&first.camera.serial, &second.camera.serial) {
        _ if first.camera.model.is_none() || second.camera.model.is_none() => None,
        _ if camera(first) != camera(second) => Some(false),
        (Some(a), Some(b)) => Some(a == b),
        _ => None,
    }
}

fn bodies(first: &Profile, second: &Profile) -> Shared {
    let name = |p: &Profile| {
        let parts = [p.camera.model.clone(), p.camera.serial.clone()];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        (!parts.is_empty()).then(|| parts.join(", "))
    };
    row(
        "camera",
        [name(first), name(second)],
        one_body(first, second),
        [
            "its colours and its black level are shared and cancel in the difference",
            "another camera sees other colours: channels, gains and mired may differ without any \
             difference of the filter",
            "whether it is one body is not known",
        ],
    )
}

fn lenses(first: &Profile, second: &Profile) -> Shared {
    let name = |p: &Profile| {
        let focal = p.camera.focal_length_mm.map(|f| format!("{:.0} mm", f.get()));
        let parts: Vec<String> = [p.camera.lens.clone(), focal].into_iter().flatten().collect();
        (!parts.is_empty()).then(|| parts.join(" at "))
    };
    let (a, b) = (name(first), name(second));
    let same = a.as_ref().zip(b.as_ref()).map(|(a, b)| a == b);
    row(
        "lens",
        [a, b],
        same,
        [
            "maps can be compared cell by cell",
            "maps differ by the field of view already: compare them at one focal length",
            "maps can be compared only if the focal length was the same",
        ],
    )
}

fn dial_times(first: &Profile, second: &Profile) -> Shared {
    let times = |p: &Profile| -> BTreeSet<String> {
        let used =
            p.frames.iter().filter(|f| matches!(f.state, FrameState::Bare | FrameState::Setting));
        used.filter_map(|f| f.dial_time.clone()).collect()
    };
    let (a, b) = (times(first), times(second));
    let text = |set: &BTreeSet<String>| {
        (!set.is_empty()).then(|| set.iter().cloned().collect::<Vec<_>>().join(", "))
    };
    let same = (!a.is_empty() && !b.is_empty()).then_some(a == b);
    let alike = match one_body(first, second) {
        Some(true) => {
            "most of the shutter's error is in both and cancels: the uncertainty of the difference \
             counts what is left of it"
        }
        Some(false) => "each camera's shutter has errors of its own",
        None => {
            "on one body the shutter's error would cancel; without its serial number the \
             uncertainty of the difference counts it twice"
        }
    };
    row(
        "shutter times",
        [text(&a), text(&b)],
        same,
        [
            alike,
            "each has shutter errors of its own",
            "whether the shutter's error is shared is not known",
        ],
    )
}

fn lights(first: &Profile, second: &Profile) -> Shared {
    let text = |p: &Profile| kelvin(p).map(|k| format!("{:.0} K", (k / 50.0).round() * 50.0));
    row(
        "bare light",
        [text(first), text(second)],
        same_light(first, second),
        [
            "a difference of colour is the filter's",
            "a filter that is not grey takes different amounts of different lights: differences of \
             colour may be the light's",
            "whether a difference of colour is the filter's is not known",
        ],
    )
}

/// Whether both bare lights are of one colour; `None` where one is not known.
pub(super) fn same_light(first: &Profile, second: &Profile) -> Option<bool> {
    let both = kelvin(first).zip(kelvin(second));
    both.map(|(a, b)| (a / b - 1.0).abs() < SAME_LIGHT)
}

fn kelvin(profile: &Profile) -> Option<f64> {
    profile.light.as_ref().map(|light| light.cct_k.get())
}
