//! Records of a profile that copy what is known: frames, camera, budget.

use super::readings::Used;
use super::strength::BudgetPart;
use crate::profile::{
    BudgetLine, CameraRecord, FrameRecord, FrameState, LevelsRecord, SettingFrames,
};
use crate::quantity::{Counts, Seconds, Stops};
use crate::shoot::times::Understood;
use crate::shoot::{Judged, Shoot};

/// Every file that was looked at, in capture order, then those that could not be read.
#[must_use]
pub fn frames(shoot: &Shoot, used: &[Used<'_>]) -> Vec<FrameRecord> {
    let true_time =
        |f: &Judged| used.iter().find(|u| std::ptr::eq(u.frame, f)).map(|u| u.true_time);
    let readable = shoot.frames.iter().map(|f| frame(f, true_time(f)));
    let others = shoot.others.iter().map(|(file, sha256, judgement)| FrameRecord {
        file: file.clone(),
        sha256: sha256.clone(),
        run: None,
        state: FrameState::LeftOut,
        exposure_s: None,
        dial_time: None,
        f_number: None,
        iso: None,
        captured_at: None,
        levels: None,
        clipped_percent: None,
        verdict: judgement.verdict(),
    });
    readable.chain(others).collect()
}

fn frame(f: &Judged, true_time: Option<Seconds>) -> FrameRecord {
    let exposure = f.exposure.as_ref();
    let [red, green_1, green_2, blue] = f.look.levels.map(Counts::new);
    let finite = f.look.levels.iter().all(|l| l.is_finite());
    FrameRecord {
        file: f.file().to_owned(),
        sha256: f.summary.info.sha256.clone(),
        run: f.run,
        state: f.state,
        exposure_s: true_time.or(exposure.map(|e| e.true_time)),
        dial_time: exposure.map(Understood::text),
        f_number: exposure.and_then(|e| e.f_number),
        iso: exposure.and_then(|e| e.iso),
        captured_at: captured_at(f),
        levels: finite.then_some(LevelsRecord { red, green_1, green_2, blue }),
        clipped_percent: Some(f.look.clipped_percent),
        verdict: f.judgement.verdict(),
    }
}

fn captured_at(f: &Judged) -> Option<String> {
    let capture = &f.summary.info.capture;
    let offset = capture.offset.as_deref().unwrap_or_default();
    capture.at.map(|at| format!("{at}{offset}"))
}

/// Body, lens and settings, from the first bare frame.
#[must_use]
pub fn camera(used: &[Used<'_>]) -> CameraRecord {
    let first = used.iter().find(|u| u.frame.state == FrameState::Bare).or_else(|| used.first());
    let camera = first.map(|u| u.frame.summary.info.camera.clone()).unwrap_or_default();
    let exposure = first.and_then(|u| u.frame.exposure.clone());
    CameraRecord {
        make: camera.make,
        model: camera.model,
        serial: camera.serial,
        lens: camera.lens,
        focal_length_mm: camera.focal_length,
        f_number: exposure.as_ref().and_then(|e| e.f_number),
        iso: exposure.as_ref().and_then(|e| e.iso),
        sensor_mm: None,
        colour_matrix: None,
    }
}

/// Files of one setting.
#[must_use]
pub fn setting_frames(used: &[Used<'_>], setting: usize) -> SettingFrames {
    let of = |s: Option<usize>| {
        let matching = used.iter().filter(|u| u.frame.setting == s);
        matching.map(|u| u.frame.file().to_owned()).collect()
    };
    SettingFrames { bare: of(None), filtered: of(Some(setting)) }
}

/// Budget lines, largest first.
#[must_use]
pub fn budget(parts: &[BudgetPart]) -> Vec<BudgetLine> {
    let mut lines: Vec<BudgetLine> = parts
        .iter()
        .map(|part| BudgetLine {
            source: part.source.name().to_owned(),
            kind: part.source.kind(),
            stops: Stops::new(part.stops),
        })
        .collect();
    lines.sort_by(|a, b| b.stops.get().total_cmp(&a.stops.get()));
    lines
}
