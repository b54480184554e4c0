//! A variable filter over its marks: how far it may be turned, how well a hand sets it, and the two
//! polarisers behind it.

use super::evenness::Found;
use super::fit::{Fit, Reading, WALK};
use super::pair::{self, MarkMap, Pair, View};
use super::{About, evenness, lens};
use crate::caution::Caution;
use crate::profile::{CameraRecord, Corners, Profile, Setting, Usable, ValueU95};
use crate::quantity::Stops;

/// Unevenness that passes where the user names none, in stops.
pub const TOLERANCE: f64 = 1.0 / 3.0;
/// Two standard uncertainties.
const COVERAGE: f64 = 2.0;

/// Fills the sections of a variable filter.
pub fn fill(
    profile: &mut Profile,
    found: &[Option<Found>],
    readings: &[Reading],
    fit: &Fit,
    about: &About,
) {
    let tolerance = about.tolerance.map_or(TOLERANCE, Stops::get);
    let order = by_strength(&profile.settings);
    let pair = match view(&profile.camera, found) {
        Ok(view) => pair::fit(&marks(profile, found, &order), &view),
        Err(caution) => {
            profile.cautions.push(caution.record());
            None
        }
    };
    if let Some(sensor) =
        profile.camera.sensor_mm.as_ref().filter(|s| s.source == lens::FOCAL_PLANE)
    {
        let (width, height) = (sensor.width, sensor.height);
        profile.cautions.push(Caution::SensorFromFocalPlane { width, height }.record());
    }
    if let Some(pair) = &pair {
        stand_in(profile, found, pair);
    }
    profile.polariser_pair = pair.as_ref().map(|p| p.record(tolerance));
    profile.usable = usable(profile, &order, tolerance, pair.as_ref());
    let repeats: Vec<Option<ValueU95>> =
        (0..profile.settings.len()).map(|s| repeat(readings, fit, s)).collect();
    if repeats.iter().all(Option::is_none) {
        profile.cautions.push(Caution::RingRepeatUnknown.record());
    }
    for (setting, repeat) in profile.settings.iter_mut().zip(repeats) {
        setting.ring_repeat_stops = repeat;
    }
}

/// Where much of a map is clipped, the pair stands in for what is unknown, so that the spread is
/// that of the whole frame.
fn stand_in(profile: &mut Profile, found: &[Option<Found>], pair: &Pair) {
    for (number, (setting, found)) in profile.settings.iter_mut().zip(found).enumerate() {
        let mark = label(setting, number);
        let fitted = pair.marks.iter().find(|m| m.mark == mark);
        let (Some(found), Some(fitted)) = (found, fitted) else { continue };
        let told = found.cautions.iter().find_map(|c| match c {
            Caution::MapIncomplete { share, .. } => Some(*share),
            _ => None,
        });
        let (Some(share), Some(evenness)) = (told, setting.evenness.as_mut()) else { continue };
        let plain = Caution::MapIncomplete { share, filled: false }.record();
        let mut stops = found.clean.green().to_vec();
        for &cell in &found.unknown {
            let (x, y) = found.clean.position(cell);
            stops[cell] = Some(pair.extra_stops(fitted, x, y));
        }
        let Some(spread) = evenness::spread(&stops) else { continue };
        evenness.spread_stops = Stops::new(spread);
        for caution in setting.cautions.iter_mut().filter(|c| **c == plain) {
            *caution = Caution::MapIncomplete { share, filled: true }.record();
        }
    }
}

/// The ring's order, whichever way it was shot.
fn by_strength(settings: &[Setting]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..settings.len()).collect();
    let stops = |i: usize| settings[i].strength.stops.get();
    order.sort_by(|&a, &b| stops(a).total_cmp(&stops(b)));
    order
}

fn view(camera: &CameraRecord, found: &[Option<Found>]) -> Result<View, Caution> {
    let focal = camera.focal_length_mm.filter(|f| f.get() > 0.0).ok_or(Caution::NoFocalLength)?;
    let sensor = camera.sensor_mm.as_ref().ok_or(Caution::NoSensorSize)?;
    let map = found.iter().flatten().next().map(|f| &f.clean);
    let upright = map.is_some_and(|m| m.width_px < m.height_px);
    Ok(View { focal_length_mm: focal.get(), sensor_mm: lens::as_viewed(sensor, upright) })
}

fn label(setting: &Setting, index: usize) -> String {
    setting.mark.clone().unwrap_or_else(|| (index + 1).to_string())
}

fn marks(profile: &Profile, found: &[Option<Found>], order: &[usize]) -> Vec<MarkMap> {
    let mark = |&i: &usize| {
        let setting = &profile.settings[i];
        Some(MarkMap {
            mark: label(setting, i),
            strength: setting.strength.stops.get(),
            u: setting.strength.u95.get() / COVERAGE,
            map: found[i].as_ref()?.clean.clone(),
        })
    };
    order.iter().filter_map(mark).collect()
}

/// The last mark before one is too uneven, with advice.
fn usable(
    profile: &Profile,
    order: &[usize],
    tolerance: f64,
    pair: Option<&Pair>,
) -> Option<Usable> {
    let spread = |i: usize| profile.settings[i].evenness.as_ref().map(|e| e.spread_stops.get());
    let first_unknown = order.iter().position(|&i| spread(i).is_none());
    let known = &order[..first_unknown.unwrap_or(order.len())];
    let failing = known.iter().position(|&i| spread(i).is_some_and(|s| s > tolerance));
    let last = known[..failing.unwrap_or(known.len())].last();
    let at_lens = profile
        .camera
        .focal_length_mm
        .map_or_else(String::new, |f| format!(" at {:.0} mm", f.get()));
    let reason = match failing.map(|k| known[k]) {
        Some(bad) => too_uneven(profile, bad, tolerance, &at_lens, pair),
        None => {
            let most = known.iter().filter_map(|&i| spread(i)).reduce(f64::max)?;
            format!(
                "every mark that was measured stays within {tolerance:.2} stop{at_lens}: the most \
                 uneven one differs by {most:.2} stop across the frame"
            )
        }
    };
    Some(Usable {
        tolerance_stops: Stops::new(tolerance),
        last_mark: last.map(|&i| label(&profile.settings[i], i)),
        last_stops: last.map(|&i| profile.settings[i].strength.stops),
        reason,
    })
}

fn too_uneven(
    profile: &Profile,
    bad: usize,
    tolerance: f64,
    at_lens: &str,
    pair: Option<&Pair>,
) -> String {
    let setting = &profile.settings[bad];
    let mark = label(setting, bad);
    let mut text = String::new();
    if let Some(evenness) = &setting.evenness {
        let (corner, stops) = farthest(&evenness.corners_stops);
        let way = if stops > 0.0 { "darker" } else { "brighter" };
        text = format!(
            "at mark {mark} the light differs by {:.2} stop across the frame{at_lens}, where \
             {tolerance:.2} is allowed, and the {corner} corner is {:.1} stop {way} than the centre",
            evenness.spread_stops.get(),
            stops.abs()
        );
    }
    let widest = pair.and_then(|p| p.widest(&mark, tolerance));
    if let Some(focal) = widest {
        text.push_str(&format!("; with a lens of {focal:.0} mm or longer mark {mark} passes too"));
    }
    text
}

fn farthest(corners: &Corners) -> (&'static str, f64) {
    let all = [
        ("top left", corners.top_left),
        ("top right", corners.top_right),
        ("bottom left", corners.bottom_left),
        ("bottom right", corners.bottom_right),
    ];
    let plain = all.map(|(name, stops)| (name, stops.get()));
    plain.into_iter().fold(plain[0], |a, b| if b.1.abs() > a.1.abs() { b } else { a })
}

/// Standard deviation of one setting of the mark between visits, the light's drift taken out
/// (repeatability, JCGM 200:2012, 2.20); its u95 is what noise and a walking light do to it.
fn repeat(readings: &[Reading], fit: &Fit, setting: usize) -> Option<ValueU95> {
    let mine: Vec<(usize, f64, f64, f64)> = readings
        .iter()
        .filter(|r| r.setting == Some(setting))
        .filter_map(|r| {
            let green = r.channels[1]?;
            Some((r.run, r.minutes, green.y - fit.drift * r.minutes, green.noise))
        })
        .collect();
    let mut runs: Vec<usize> = mine.iter().map(|m| m.0).collect();
    runs.sort_unstable();
    runs.dedup();
    if runs.len() < 2 {
        return None;
    }
    let (mut levels, mut minutes, mut variance) = (Vec::new(), Vec::new(), 0.0);
    for run in &runs {
        let visit: Vec<_> = mine.iter().filter(|m| m.0 == *run).collect();
        let n = visit.len() as f64;
        levels.push(visit.iter().map(|m| m.2).sum::<f64>() / n);
        minutes.push(visit.iter().map(|m| m.1).sum::<f64>() / n);
        variance +=
            visit.iter().map(|m| m.3 * m.3 + fit.scatter * fit.scatter).sum::<f64>() / (n * n);
    }
    let visits = runs.len() as f64;
    let mean = levels.iter().sum::<f64>() / visits;
    let deviation =
        (levels.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / (visits - 1.0)).sqrt();
    let apart = minutes.windows(2).map(|w| (w[1] - w[0]).abs()).sum::<f64>() / (visits - 1.0);
    let u = (variance / visits + WALK * WALK * apart / 2.0).sqrt();
    Some(ValueU95 { value: Stops::new(deviation), u95: Stops::new(COVERAGE * u) })
}
