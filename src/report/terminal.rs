//! The summary that a terminal shows, in the order a photographer asks: the answer, the times, the
//! cast, the evenness, cautions, where the page is. At most 80 columns.

use super::lines::{answer, cells, wrapped};
use crate::exposure::{DialTime, filtered_time, sentence_text};
use crate::profile::{Kind, Profile, Setting};
use crate::quantity::Seconds;
use crate::safety;
use crate::say::figures::plain;
use crate::say::strength::{Strength, consequence};
use crate::say::{cast, cast_along, cautions, evenness, frames, picture, ring, special};
use std::path::Path;

/// Metered times of the short table.
const METERED_S: [f64; 5] = [1.0 / 500.0, 1.0 / 125.0, 1.0 / 30.0, 1.0 / 8.0, 0.5];
/// Columns of figures beside a label.
const LENSES: usize = 10;

/// The summary; the first line says which frames were taken as bare, the last is the page's path.
#[must_use]
pub fn summary(profile: &Profile, page: &Path, bold: bool) -> String {
    let mut out = text(&frames::bare_line(profile));
    out.push('\n');
    out.push_str(&answer(&plain(&headline(profile)), bold));
    out.push('\n');
    if profile.settings.len() > 1 {
        out.push_str(&marks(profile));
    } else if let Some(setting) = profile.settings.first() {
        out.push_str(&one(profile, setting));
    }
    for sentence in across(profile) {
        out.push_str(&text(&sentence));
    }
    for told in cautions::all(profile) {
        out.push('\n');
        for line in format!("{}{}: {}", told.word(), told.of_which(), told.text).lines() {
            out.push_str(&text(line));
        }
    }
    out.push('\n');
    out.push_str(&text(safety::SUN_SHORT));
    if profile.cautions.iter().any(|c| c.text == safety::SUN_FULL) {
        out.push_str(&text(safety::SUN_FULL));
    }
    out.push_str(&format!("\n{}\n", page.display()));
    out
}

fn text(sentence: &str) -> String {
    wrapped("", &plain(sentence))
}

fn headline(profile: &Profile) -> String {
    let Some(strength) = Strength::of(profile) else {
        return format!("{}: not measured.", profile.filter.name);
    };
    match consequence(profile).filter(|_| profile.settings.len() == 1) {
        Some(then) => format!("{} {then}", strength.named),
        None => strength.named,
    }
}

fn one(profile: &Profile, setting: &Setting) -> String {
    let mut out = String::new();
    if matches!(profile.filter.kind, Kind::Solid | Kind::Stack | Kind::Variable) {
        out.push_str(&times(setting));
    }
    let sentences = cast::after_a_colon(setting);
    out.push_str(&text(&format!("Cast: {sentences} Raw gains {}.", cast::gains(&setting.cast))));
    // The unevenness of a graduated filter is its point, and is told below.
    if let Some(even) = setting.evenness.as_ref().filter(|_| profile.filter.kind != Kind::Graduated)
    {
        out.push_str(&text(&format!("Evenness: {}.", evenness::short(even))));
    }
    out
}

fn times(setting: &Setting) -> String {
    let dials: Vec<DialTime> =
        METERED_S.iter().filter_map(|t| DialTime::nearest(Seconds::new(*t))).collect();
    let becomes =
        |d: &DialTime| sentence_text(filtered_time(d.true_time(), setting.strength.stops));
    let metered = dials.iter().map(|d| format!("{} s", d.text())).collect::<Vec<_>>();
    let through = dials.iter().map(becomes).collect::<Vec<_>>();
    cells("metered", 12, &metered, 12) + &cells("becomes", 12, &through, 12) + "\n"
}

fn marks(profile: &Profile) -> String {
    const WIDTH: usize = 16;
    let row = |texts: [&str; 4]| cells("", 0, &texts, WIDTH);
    let mut out = row(["mark", "stops", "unevenness", "dark cross"]);
    for setting in &profile.settings {
        let strength = &setting.strength;
        let even = setting.evenness.as_ref();
        let spread = even.map_or(String::new(), |e| format!("{:.2}", e.spread_stops.get()));
        out.push_str(&row([
            setting.mark.as_deref().unwrap_or_default(),
            &crate::rounding::with_doubt(strength.stops.get(), strength.u95.get()),
            &spread,
            even.map_or("", |e| ring::cross(e.dark_cross.state)),
        ]));
    }
    let usable = profile.usable.as_ref().map(ring::usable_sentence);
    for sentence in usable.into_iter().chain(cast_along::sentence(profile)) {
        out.push_str(&format!("\n{}", text(&sentence)));
    }
    out.push_str(&lenses(profile));
    out
}

/// For each mark the widest lens, for each lens the last mark.
fn lenses(profile: &Profile) -> String {
    let last = ring::last_marks(profile);
    if last.is_empty() {
        return String::new();
    }
    let short = |label: &str| label.chars().take(5).collect::<String>();
    let row = |label: &str, texts: &[String]| cells(label, 17, texts, 6);
    let marks: Vec<&Setting> = profile.settings.iter().filter(|s| s.mark.is_some()).collect();
    let mut out = "\n".to_owned();
    for marks in marks.chunks(LENSES) {
        let names: Vec<_> = marks.iter().filter_map(|s| s.mark.as_deref().map(short)).collect();
        let widest = marks.iter().map(|s| ring::widest(crate::kit::lens::widest(profile, s)));
        let widest: Vec<_> = widest.map(|w| plain(w.trim_end_matches(" mm"))).collect();
        out.push_str(&row("mark", &names));
        out.push_str(&row("widest lens, mm", &widest));
    }
    let focal: Vec<_> = last.iter().map(|(focal, _)| format!("{:.0}", focal.get())).collect();
    let mark: Vec<_> = last.iter().map(|(_, mark)| short(mark)).collect();
    out.push_str(&(row("lens, mm", &focal) + &row("last mark", &mark)));
    if let Some(sensor) = &profile.camera.sensor_mm {
        let (width, height) = (sensor.width.get(), sensor.height.get());
        let sensor = format!("(on a sensor of {width:.1} x {height:.1} mm: {})", sensor.source);
        out.push_str(&text(&sensor));
    }
    out
}

/// Stack, graduation, polariser, shading.
fn across(profile: &Profile) -> Vec<String> {
    let mut said: Vec<String> = special::stack(profile).into_iter().collect();
    if let Some(found) = &profile.graduation {
        said.push(special::edge(found));
        said.extend(special::edge_doubt(found));
        let gains = special::dark_half_gains(found);
        said.extend(gains.map(|gains| format!("Dark half: raw gains {gains} (green 1).")));
        said.extend(picture::without_graduated(found));
    }
    said.extend(special::extinction(profile));
    let shading = profile.vignetting.as_ref();
    if shading.is_some_and(|v| v.mechanical || !v.by_focal_length.is_empty()) {
        said.extend(special::shading(profile));
    }
    said.extend(special::shading_by_focal_length(profile));
    said.extend(picture::sentences(profile));
    said
}
