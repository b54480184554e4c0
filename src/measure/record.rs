//! The measured result as a document: the only place where uncertainties are expanded, and where a
//! profile is written.

use super::About;
use super::cast::CastResult;
use super::evenness::Found;
use super::kinds::OfKind;
use super::readings::Used;
use super::result::{Across, Centre, SettingResult};
use super::strength::BudgetPart;
use crate::caution::{Caution, LightDoubt};
use crate::measured::{Measured, coverage_factor};
use crate::profile::{
    BudgetLine, CameraRecord, Cast, CautionRecord, Channels, DuvU95, Filter, FrameRecord,
    FrameState, Gains, GainsU95, Kind, LevelsRecord, MadeBy, MiredU95, Profile, SCHEMA, Setting,
    SettingFrames, StopsU95, Strength, ValueU95,
};
use crate::quantity::{Counts, Ratio, Seconds, Stops};
use crate::shoot::times::Understood;
use crate::shoot::{Judged, Shoot};
use std::f64::consts::LN_2;

/// Factor for uncertainties that are mostly not from repeats.
pub const COVERAGE: f64 = 2.0;

/// Writes everything down.
#[must_use]
pub fn profile(centre: &Centre<'_>, across: Across) -> Profile {
    let told = cautions(of_light(centre, &across.of_kind).chain(&across.cautions));
    let repeat = |number: usize| match &across.of_kind {
        OfKind::Variable(ring) => ring.repeats[number],
        _ => None,
    };
    let settings = centre.settings.iter().zip(across.found).enumerate();
    let settings = settings
        .map(|(number, (result, found))| Setting {
            ring_repeat_stops: repeat(number)
                .map(|m| ValueU95 { value: m.value(), u95: m.expanded(COVERAGE) }),
            frames: setting_frames(&centre.used, number),
            ..setting(result, found)
        })
        .collect();
    let plain = Profile {
        schema: SCHEMA.to_owned(),
        made_by: MadeBy {
            program: "lightloss".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
        },
        filter: filter(centre.about, across.of_kind.kind()),
        camera: camera(centre),
        light: centre.settings.iter().find_map(|s| s.cast.light),
        settings,
        usable: None,
        polariser_pair: None,
        graduation: None,
        polarising: None,
        vignetting: across.vignetting,
        stack: None,
        picture: None,
        shutter_record: centre.shutter_record.clone(),
        budget: budget(centre.fit.budgets.first().map_or(&[], Vec::as_slice)),
        frames: frames(centre.shoot, &centre.used),
        cautions: told,
    };
    match across.of_kind {
        OfKind::Solid => plain,
        OfKind::Variable(ring) => {
            Profile { usable: ring.usable, polariser_pair: ring.pair, ..plain }
        }
        OfKind::Graduated(graduation) => Profile { graduation, ..plain },
        OfKind::Polariser(polarising) => Profile { polarising, ..plain },
        OfKind::Stack(stack) => Profile { stack, ..plain },
    }
}

/// The centre's cautions. Where a polariser turned in polarised light its turning made the levels
/// jump, and no change of the light.
fn of_light<'a>(centre: &'a Centre<'_>, of_kind: &OfKind) -> impl Iterator<Item = &'a Caution> {
    let turned = matches!(of_kind, OfKind::Polariser(Some(p)) if p.light_polarised);
    centre
        .cautions
        .iter()
        .filter(move |c| !(turned && matches!(c, Caution::Light(LightDoubt::Stepped { .. }))))
}

fn filter(about: &About, kind: Kind) -> Filter {
    Filter {
        name: about.name.clone(),
        kind,
        rated_stops: about.rated,
        rated_range_stops: about.rated_range,
        size: about.size.clone(),
        form: about.form,
        note: about.note.clone(),
    }
}

fn cautions<'a>(list: impl Iterator<Item = &'a Caution>) -> Vec<CautionRecord> {
    list.map(Caution::record).collect()
}

/// Stops with their expanded uncertainty.
#[must_use]
pub fn stops_u95(measured: &Measured<Stops>) -> StopsU95 {
    StopsU95 { stops: measured.value(), u95: measured.u95() }
}

fn setting(result: &SettingResult, found: Option<Found>) -> Setting {
    let green = result.strength();
    let across = found.as_ref().map_or(&[][..], |found| &found.cautions);
    let [red, _, blue] = &result.channels;
    Setting {
        mark: result.mark.clone(),
        strength: Strength {
            stops: green.value(),
            u95: green.u95(),
            density: green.value().density(),
            factor: green.value().factor(),
            transmittance: green.value().transmittance(),
        },
        visual_strength: result
            .cast
            .visual
            .map(|m| StopsU95 { stops: m.value(), u95: m.expanded(COVERAGE) }),
        channels: Channels { red: stops_u95(red), green: stops_u95(green), blue: stops_u95(blue) },
        cast: cast(&result.cast),
        ring_repeat_stops: None,
        frames: SettingFrames { bare: Vec::new(), filtered: Vec::new() },
        cautions: cautions(result.cautions.iter().chain(across)),
        evenness: found.map(|found| found.record),
    }
}

/// Raw multipliers tau_green / tau_c = 2^(S_c - S_green), what the channels share cancelled; and
/// shifts through the matrix.
fn cast(found: &CastResult) -> Cast {
    let [(red, red_u95), (blue, blue_u95)] = found.gains.map(|difference| {
        let gain = difference.value().get().exp2();
        let u95 = coverage_factor(difference.dof()) * gain * LN_2 * difference.u().get();
        (Ratio::new(gain), Ratio::new(u95))
    });
    Cast {
        gains: Gains { red, green: Ratio::new(1.0), blue },
        gains_u95: GainsU95 { red: red_u95, blue: blue_u95 },
        mired_shift: found
            .mired_shift
            .map(|m| MiredU95 { value: m.value(), u95: m.expanded(COVERAGE) }),
        duv_shift: found.duv_shift.map(|m| DuvU95 { value: m.value(), u95: m.expanded(COVERAGE) }),
        lab: found.lab,
        delta_e_2000: found.delta_e_2000,
        words: found.words.clone(),
    }
}

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

/// The frame that tells of camera and lens: the first bare one.
pub(super) fn telling<'a, 'b>(used: &'a [Used<'b>]) -> Option<&'a Used<'b>> {
    used.iter().find(|u| u.frame.state == FrameState::Bare).or_else(|| used.first())
}

/// Body, lens and settings.
fn camera(centre: &Centre<'_>) -> CameraRecord {
    let first = telling(&centre.used);
    let camera = first.map(|u| u.frame.summary.info.camera.clone()).unwrap_or_default();
    let exposure = first.and_then(|u| u.frame.exposure.as_ref());
    CameraRecord {
        make: camera.make,
        model: camera.model,
        serial: camera.serial,
        lens: camera.lens,
        focal_length_mm: centre.focal_length,
        f_number: exposure.and_then(|e| e.f_number),
        iso: exposure.and_then(|e| e.iso),
        sensor_mm: centre.sensor.clone(),
        colour_matrix: centre.settings.iter().find_map(|s| s.cast.matrix.clone()),
    }
}

/// Files of one setting.
fn setting_frames(used: &[Used<'_>], setting: usize) -> SettingFrames {
    let of = |s: Option<usize>| {
        let matching = used.iter().filter(|u| u.frame.setting == s);
        matching.map(|u| u.frame.file().to_owned()).collect()
    };
    SettingFrames { bare: of(None), filtered: of(Some(setting)) }
}

/// Budget lines, largest first.
fn budget(parts: &[BudgetPart]) -> Vec<BudgetLine> {
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
