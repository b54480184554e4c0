//! What is set aside before and after runs are found: each step names its reason.

use super::look::median;
use super::motif::DETAIL_SHARE;
use super::verdict::Judgement;
use super::{Judged, Label, SortError, Wish};
use crate::caution::Caution;
use crate::frame::Origin;
use crate::profile::FrameState;

/// An outlier within a run lies this far from its middle at least, stops (ours).
const LEAST_OUTLIER: f64 = 0.03;
/// And this many times the run's own scatter (ours).
const OUTLIER_SCATTERS: f64 = 6.0;

pub fn set_aside(frame: &mut Judged, judgement: Judgement) {
    frame.judgement = judgement;
    frame.state = FrameState::LeftOut;
}

/// Frames outside `--from` and `--to`.
pub fn outside_limits(frames: &mut [Judged], wish: &Wish) -> Result<(), SortError> {
    let place = |name: &Option<String>, frames: &[Judged]| match name {
        None => Ok(None),
        Some(name) => frames
            .iter()
            .position(|f| f.file() == name || f.file().ends_with(&format!("/{name}")))
            .map(Some)
            .ok_or_else(|| SortError::NoSuchFrame { file: name.clone() }),
    };
    let first = place(&wish.from, frames)?.unwrap_or(0);
    let last = place(&wish.to, frames)?.unwrap_or(usize::MAX);
    for (i, frame) in frames.iter_mut().enumerate() {
        if i < first || i > last {
            set_aside(frame, Judgement::OutsideLimits);
        }
    }
    Ok(())
}

/// What the user says of single frames: what is not to be measured is set aside, and where bare or
/// filtered frames are named, everything that is not named.
pub fn named(frames: &mut [Judged], wish: &Wish) {
    let all = wish.is_labelled();
    for frame in frames.iter_mut().filter(|f| f.is_good()) {
        frame.label = wish.labels.get(frame.file()).cloned();
        frame.rotation = wish.rotations.get(frame.file()).copied();
        match &frame.label {
            // Beside a plan that fits, what was not planned was not made for it.
            None if all && !wish.planned.is_empty() => set_aside(frame, Judgement::OtherShoot),
            None if all => set_aside(frame, Judgement::NotWanted),
            Some(Label::LeftOut) => set_aside(frame, Judgement::NotWanted),
            Some(Label::LightCheck(_) | Label::Cloth(_)) => set_aside(frame, Judgement::Check),
            Some(Label::Leak) => set_aside(frame, Judgement::Leak),
            Some(Label::Dark) => {
                frame.judgement = Judgement::Dark;
                frame.state = FrameState::Dark;
            }
            None | Some(Label::Bare | Label::Filtered(_)) => {}
        }
    }
}

/// Pictures among raw frames.
pub fn not_raw(frames: &mut [Judged]) {
    let raw = frames.iter().any(|f| f.is_good() && f.summary.info.origin == Origin::Raw);
    for frame in frames.iter_mut().filter(|f| f.is_good()) {
        if raw && frame.summary.info.origin != Origin::Raw {
            set_aside(frame, Judgement::NotRaw);
        }
    }
}

/// Frames of another body, size, or lens than most.
pub fn foreign(frames: &mut [Judged]) {
    let body = |f: &Judged| {
        let c = &f.summary.info.camera;
        Some((c.make.clone(), c.model.clone(), c.serial.clone()))
    };
    keep_majority(frames, body, |f| {
        let c = &f.summary.info.camera;
        let model = c.model.as_deref().unwrap_or_default();
        // Many makers write their name into the model too.
        let make = c.make.as_deref().filter(|make| !model.starts_with(make));
        let parts = [make, c.model.as_deref(), c.serial.as_deref()];
        let camera = parts.into_iter().flatten().collect::<Vec<_>>().join(" ");
        Judgement::OtherCamera { camera: if camera.is_empty() { "unnamed".into() } else { camera } }
    });
    let size = |f: &Judged| {
        let c = &f.summary.cells;
        Some((
            c.columns,
            c.rows,
            c.side,
            c.area.width,
            c.area.height,
            c.cfa.as_ref().map(|c| c.side()),
        ))
    };
    keep_majority(frames, size, |_| Judgement::OtherSize);
    let lens = |f: &Judged| {
        let c = &f.summary.info.camera;
        let focal =
            c.focal_length.filter(|l| l.get() > 0.0).map(|l| (l.get() * 2.0).round() as i64);
        (c.lens.is_some() || focal.is_some()).then(|| (c.lens.clone(), focal))
    };
    keep_majority(frames, lens, |f| {
        let c = &f.summary.info.camera;
        let focal = c.focal_length.map(|l| format!("{} mm", l.get()));
        let parts = [c.lens.clone(), focal];
        Judgement::OtherLens { lens: parts.into_iter().flatten().collect::<Vec<_>>().join(", ") }
    });
}

/// Sets aside good frames whose key is known and differs from the most frequent one (the first
/// seen among equals).
fn keep_majority<K: PartialEq>(
    frames: &mut [Judged],
    key: impl Fn(&Judged) -> Option<K>,
    judgement: impl Fn(&Judged) -> Judgement,
) {
    let mut counts: Vec<(K, usize)> = Vec::new();
    for k in frames.iter().filter(|f| f.is_good()).filter_map(&key) {
        match counts.iter_mut().find(|(known, _)| *known == k) {
            Some((_, n)) => *n += 1,
            None => counts.push((k, 1)),
        }
    }
    let most = counts.iter().map(|(_, n)| *n).max().unwrap_or(0);
    let Some(keep) = counts.into_iter().find(|(_, n)| *n == most).map(|(k, _)| k) else { return };
    for frame in frames.iter_mut().filter(|f| f.is_good()) {
        if key(frame).is_some_and(|k| k != keep) {
            let why = judgement(frame);
            set_aside(frame, why);
        }
    }
}

/// Frames without an exposure time.
pub fn unexposed(frames: &mut [Judged]) -> Result<(), SortError> {
    if frames.iter().filter(|f| f.is_good()).all(|f| f.exposure.is_none())
        && frames.iter().any(Judged::is_good)
    {
        return Err(SortError::NoExposure);
    }
    for frame in frames.iter_mut().filter(|f| f.is_good() && f.exposure.is_none()) {
        set_aside(frame, Judgement::NoExposure);
    }
    Ok(())
}

/// Pictures of something else than the test surface, unless the user named the frame.
pub fn other_pictures(frames: &mut [Judged], wish: &Wish) {
    for frame in frames.iter_mut().filter(|f| f.is_good()) {
        let named = wish.labels.contains_key(frame.file());
        // Next to nothing over next to nothing looks busy too.
        if !named && !frame.look.dark && frame.look.detail > DETAIL_SHARE {
            set_aside(frame, Judgement::OtherPicture);
        }
    }
}

/// Frames clipped in green in the centre (a clipped red or blue alone is only not used).
pub fn clipped(frames: &mut [Judged]) {
    for frame in frames.iter_mut().filter(|f| f.is_good()) {
        if frame.look.clipped[1] {
            let percent = frame.look.clipped_percent.get();
            set_aside(frame, Judgement::Clipped { percent });
        }
    }
}

/// Takes dark frames out of the sorting; gives their indices, to be judged once it is known how
/// strong the filter is. Frames that the user named bare or filtered are only judged buried.
pub fn dark(frames: &mut [Judged], wish: &Wish) -> Vec<usize> {
    let mut found = Vec::new();
    for (i, frame) in frames.iter_mut().enumerate() {
        if frame.is_good() && frame.look.dark {
            set_aside(frame, Judgement::BuriedOrCapped);
            if !wish.is_labelled() {
                found.push(i);
            }
        }
    }
    found
}

/// A frame as dark as black was surely capped where the weakest light of the shoot would have
/// shown in its time; otherwise it may be a buried frame and is used for neither.
pub fn buried(frames: &mut [Judged], dark: &[usize]) {
    let weakest = frames
        .iter()
        .filter(|f| f.state == FrameState::Setting)
        .map(|f| f.look.centre)
        .fold(f64::INFINITY, f64::min);
    if !weakest.is_finite() {
        return;
    }
    for &i in dark {
        let Some(exposure) = &frames[i].exposure else { continue };
        let expected = (weakest + exposure.log_exposure()).exp2();
        let tag_doubt = f64::from(frames[i].summary.levels.white) / 16_383.0;
        if expected > 10.0 * tag_doubt {
            frames[i].judgement = Judgement::Dark;
            frames[i].state = FrameState::Dark;
        }
    }
}

/// Frames at another aperture or ISO than the bare ones are left out where their state has good
/// frames without that fault; otherwise they stay, with a caution.
pub fn other_exposures(frames: &mut [Judged], cautions: &mut Vec<Caution>) {
    let (Some(iso), f_number) = (usual(frames, |f| Some(iso_of(f))), usual(frames, f_number_of))
    else {
        return;
    };
    let states: Vec<(FrameState, Option<usize>)> = states(frames);
    for state in states {
        let odd_iso = |f: &Judged| iso_of(f) != iso;
        let odd_f = |f: &Judged| f_number_of(f).is_some_and(|n| Some(n) != f_number);
        let of_state = |f: &&mut Judged| (f.state, f.setting) == state && f.is_good();
        let clean = frames
            .iter()
            .any(|f| (f.state, f.setting) == state && f.is_good() && !odd_iso(f) && !odd_f(f));
        for frame in frames.iter_mut().filter(of_state) {
            if clean && odd_iso(frame) {
                let iso = iso_of(frame) as f64;
                set_aside(frame, Judgement::OtherIso { iso });
            } else if clean && odd_f(frame) {
                let f_number = f_number_of(frame).unwrap_or(0) as f64 / 100.0;
                set_aside(frame, Judgement::OtherAperture { f_number });
            }
        }
        let left = |f: &&Judged| (f.state, f.setting) == state && f.is_good();
        if let Some(f) = frames.iter().filter(left).find(|f| odd_iso(f)) {
            cautions.push(Caution::IsoChanged { bare: iso as f64, filtered: iso_of(f) as f64 });
        }
        if frames.iter().filter(left).any(odd_f) {
            cautions.push(Caution::ApertureChanged);
        }
    }
}

fn iso_of(frame: &Judged) -> i64 {
    frame.exposure.as_ref().and_then(|e| e.iso).map_or(0, |s| s.get().round() as i64)
}

fn f_number_of(frame: &Judged) -> Option<i64> {
    let n = frame.exposure.as_ref().and_then(|e| e.f_number)?;
    Some((n.get() * 100.0).round() as i64)
}

/// The most frequent value among bare frames; the first seen among equals.
fn usual<K: PartialEq>(frames: &[Judged], key: impl Fn(&Judged) -> Option<K>) -> Option<K> {
    let mut counts: Vec<(K, usize)> = Vec::new();
    for k in frames.iter().filter(|f| f.state == FrameState::Bare && f.is_good()).filter_map(key) {
        match counts.iter_mut().find(|(known, _)| *known == k) {
            Some((_, n)) => *n += 1,
            None => counts.push((k, 1)),
        }
    }
    let most = counts.iter().map(|(_, n)| *n).max()?;
    counts.into_iter().find(|(_, n)| *n == most).map(|(k, _)| k)
}

fn states(frames: &[Judged]) -> Vec<(FrameState, Option<usize>)> {
    let mut states = Vec::new();
    for frame in frames.iter().filter(|f| f.is_good()) {
        let state = (frame.state, frame.setting);
        if matches!(state.0, FrameState::Bare | FrameState::Setting) && !states.contains(&state) {
            states.push(state);
        }
    }
    states
}

/// Frames that differ from the middle of their own run, where the run is long enough to tell.
pub fn outliers(frames: &mut [Judged]) {
    let last = frames.iter().filter_map(|f| f.run).max().unwrap_or(0);
    for run in 1..=last {
        let members: Vec<usize> = (0..frames.len())
            .filter(|&i| frames[i].is_good() && frames[i].run == Some(run))
            .collect();
        if members.len() < 3 {
            continue;
        }
        let middle = median(members.iter().map(|&i| frames[i].look.centre).collect());
        let apart: Vec<f64> = members.iter().map(|&i| frames[i].look.centre - middle).collect();
        let scatter = 1.4826 * median(apart.iter().map(|a| a.abs()).collect());
        let limit = LEAST_OUTLIER.max(OUTLIER_SCATTERS * scatter);
        for (&i, &stops) in members.iter().zip(&apart) {
            let dial = frames[i].exposure.as_ref().and_then(|e| e.dial);
            let doubt = dial.map_or(0.0, |d| d.difference().get().abs());
            if stops.abs() > limit + doubt {
                set_aside(&mut frames[i], Judgement::Outlier { stops });
            }
        }
    }
}
