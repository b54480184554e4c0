//! The summary that a terminal shows, in the order a photographer asks: the answer, the times, the
//! cast, the evenness, cautions, where the page is. At most 80 columns.

use super::terminal_across::{graduation, lenses, polarising, stack, vignetting};
use super::view::cast_along;
use super::view::evenness::amount;
use super::view::headline::usable_sentence;
use crate::exposure::{DialTime, against_rated, becomes, filtered_time, sentence_text};
use crate::profile::{CautionRecord, CrossState, Grade, Kind, Profile, Setting};
use crate::quantity::Seconds;
use crate::rounding;
use std::path::Path;

const WIDTH: usize = 80;
/// The metered time that the headline speaks of.
const HEADLINE_METERED: f64 = 1.0 / 15.0;

/// The summary; the first line says which frames were taken as bare, the last is the page's path.
#[must_use]
pub fn summary(profile: &Profile, page: &Path, bold: bool) -> String {
    let mut lines = vec![bare_line(profile), String::new()];
    let headline = headline(profile);
    lines.extend(
        wrapped(&headline, 0)
            .into_iter()
            .map(|line| if bold { format!("\u{1b}[1m{line}\u{1b}[0m") } else { line }),
    );
    lines.push(String::new());
    if profile.settings.len() > 1 {
        lines.extend(marks(profile));
    } else if let Some(setting) = profile.settings.first() {
        lines.extend(times(profile, setting));
        lines.extend(cast(setting));
        // The unevenness of a graduated filter is its point, and is told below.
        if profile.filter.kind != Kind::Graduated {
            lines.extend(evenness(setting));
        }
    }
    let across = [stack(profile), graduation(profile), polarising(profile), vignetting(profile)];
    lines.extend(across.into_iter().flatten().flat_map(|line| wrapped(&line, 0)));
    lines.extend(cautions(profile));
    lines.push(String::new());
    lines.extend(wrapped(crate::safety::SUN_SHORT, 0));
    lines.push(String::new());
    lines.push(page.display().to_string());
    lines.join("\n") + "\n"
}

fn bare_line(profile: &Profile) -> String {
    let bare = profile.settings.first().map(|s| s.frames.bare.as_slice()).unwrap_or_default();
    let names = match bare {
        [] => "none".to_owned(),
        [one] => one.clone(),
        [first, second] => format!("{first} and {second}"),
        [first, .., last] => format!("{} frames, {first} to {last}", bare.len()),
    };
    let filtered: usize = profile.settings.iter().map(|s| s.frames.filtered.len()).sum();
    let left_out = profile.frames.len()
        - bare.len().min(profile.frames.len())
        - filtered.min(profile.frames.len() - bare.len().min(profile.frames.len()));
    let rest = if left_out > 0 { format!(", {left_out} not measured") } else { String::new() };
    format!("Taken as bare: {names}; through the filter: {filtered}{rest}.")
}

fn headline(profile: &Profile) -> String {
    let name = &profile.filter.name;
    let Some(setting) = profile.settings.first() else { return format!("{name}: not measured.") };
    if let Some(answer) = special(profile) {
        return answer;
    }
    if profile.settings.len() > 1 {
        let stops = profile.settings.iter().map(|s| s.strength.stops.get());
        let (low, high) =
            (stops.clone().fold(f64::INFINITY, f64::min), stops.fold(f64::NEG_INFINITY, f64::max));
        return format!(
            "{name} goes from {low:.2} to {high:.2} stops over {} settings.",
            profile.settings.len()
        );
    }
    let strength = &setting.strength;
    let value = rounding::with_doubt(strength.stops.get(), strength.u95.get());
    let against = profile
        .filter
        .rated_stops
        .map_or(String::new(), |rated| format!(", {}", against_rated(strength.stops, rated)));
    if matches!(profile.filter.kind, Kind::Graduated) {
        // against the rim's figure only a dark end can be held, and none was found
        return format!("{name} takes {value} stops in the frame's centre; no edge was found.");
    }
    let then = DialTime::nearest(Seconds::new(HEADLINE_METERED)).map_or(String::new(), |dial| {
        let sentence =
            becomes(dial.text(), dial.true_time(), strength.stops, profile.filter.rated_stops);
        format!(": {sentence}")
    });
    format!("{name} takes {value} stops{against}{then}.")
}

/// The answer for what has no one strength: a graduation's dark end, a polariser's loss.
fn special(profile: &Profile) -> Option<String> {
    let name = &profile.filter.name;
    if let Some(found) = profile.graduation.as_ref() {
        let value = found.dark_end_u95.map_or_else(
            || rounding::fixed(found.dark_end_stops.get(), 2),
            |u95| rounding::with_doubt(found.dark_end_stops.get(), u95.get()),
        );
        let rated = profile.filter.rated_stops;
        let against = rated
            .map_or(String::new(), |r| format!(", {}", against_rated(found.dark_end_stops, r)));
        return Some(format!(
            "The dark end of {name} takes {value} stops more than the clear end{against}."
        ));
    }
    let loss = profile.polarising.as_ref()?.loss_stops?;
    let value = rounding::with_doubt(loss.stops.get(), loss.u95.get());
    Some(format!("{name} takes {value} stops of unpolarised light."))
}

fn times(profile: &Profile, setting: &Setting) -> Vec<String> {
    if profile.filter.kind == Kind::Graduated {
        return Vec::new();
    }
    let metered = [1.0 / 500.0, 1.0 / 125.0, 1.0 / 30.0, 1.0 / 8.0, 0.5];
    let dials: Vec<DialTime> =
        metered.iter().filter_map(|t| DialTime::nearest(Seconds::new(*t))).collect();
    let row = |label: &str, cells: Vec<String>| {
        let cells: String = cells.iter().map(|c| format!("{c:>12}")).collect();
        format!("{label:<12}{cells}")
    };
    let becomes =
        |d: &DialTime| sentence_text(filtered_time(d.true_time(), setting.strength.stops));
    vec![
        row("metered", dials.iter().map(|d| format!("{} s", d.text())).collect()),
        row("becomes", dials.iter().map(becomes).collect()),
        String::new(),
    ]
}

fn cast(setting: &Setting) -> Vec<String> {
    let cast = &setting.cast;
    let mut line = format!(
        "Cast: {}. Raw gains red {}, blue {} (green 1).",
        cast.words,
        rounding::with_doubt(cast.gains.red.get(), cast.gains_u95.red.get()),
        rounding::with_doubt(cast.gains.blue.get(), cast.gains_u95.blue.get()),
    );
    if let Some(shift) = cast.mired_shift {
        line +=
            &format!(" Shift {} mired.", rounding::with_doubt(shift.value.get(), shift.u95.get()));
    }
    wrapped(&line, 0)
}

fn evenness(setting: &Setting) -> Vec<String> {
    let Some(even) = &setting.evenness else { return Vec::new() };
    let cross = match even.dark_cross.state {
        CrossState::Absent => "no dark cross",
        CrossState::Forming => "a dark cross is forming",
        CrossState::Present => "a dark cross is present",
    };
    let line = format!("Evenness: {} across the frame; {cross}.", amount(even.spread_stops));
    wrapped(&line, 0)
}

fn marks(profile: &Profile) -> Vec<String> {
    let cell = |text: String| format!("{text:>16}");
    let mut lines =
        vec![["mark", "stops", "unevenness", "dark cross"].map(|h| cell(h.to_owned())).concat()];
    for setting in &profile.settings {
        let strength = &setting.strength;
        let even = setting.evenness.as_ref();
        lines.push(
            [
                setting.mark.clone().unwrap_or_default(),
                rounding::with_doubt(strength.stops.get(), strength.u95.get()),
                even.map_or(String::new(), |e| format!("{:.2}", e.spread_stops.get())),
                even.map_or(String::new(), |e| {
                    match e.dark_cross.state {
                        CrossState::Absent => "absent",
                        CrossState::Forming => "forming",
                        CrossState::Present => "present",
                    }
                    .to_owned()
                }),
            ]
            .map(cell)
            .concat(),
        );
    }
    if let Some(usable) = &profile.usable {
        lines.push(String::new());
        lines.extend(wrapped(&usable_sentence(usable), 0));
    }
    if let Some(cast) = cast_along::sentence(profile) {
        lines.push(String::new());
        lines.extend(wrapped(&cast, 0));
    }
    lines.extend(lenses(profile));
    lines
}

/// Each doubt once: the first text of its code, with the marks that share it.
fn cautions(profile: &Profile) -> Vec<String> {
    let of_marks = profile.settings.iter().flat_map(|s| {
        let mark = s.mark.as_deref();
        s.cautions.iter().map(move |c| (mark, c))
    });
    let all: Vec<(Option<&str>, &CautionRecord)> =
        profile.cautions.iter().map(|c| (None, c)).chain(of_marks).collect();
    let mut lines = Vec::new();
    for grade in [Grade::Number, Grade::Note] {
        let graded: Vec<_> = all.iter().filter(|(_, c)| c.grade == grade).collect();
        for (n, (mark, caution)) in graded.iter().enumerate() {
            let alike = |(other_mark, other): &&&(Option<&str>, &CautionRecord)| {
                other.text == caution.text
                    || other.code == caution.code && mark.is_some() && other_mark.is_some()
            };
            if graded[..n].iter().any(|c| alike(&c)) {
                continue;
            }
            let same = graded.iter().filter(alike);
            let marks: Vec<&str> = same.filter_map(|(mark, _)| *mark).collect();
            let of = match marks.as_slice() {
                [] => String::new(),
                [one] => format!(", mark {one}"),
                [most @ .., last] => format!(", marks {} and {last}", most.join(", ")),
            };
            let word = if grade == Grade::Number { "Caution" } else { "Note" };
            lines.push(String::new());
            lines.extend(wrapped(&format!("{word}{of}: {}", caution.text), 0));
        }
    }
    lines
}

/// Breaks a text at spaces so that no line is longer than the terminal's usual width.
fn wrapped(text: &str, indent: usize) -> Vec<String> {
    let mut lines = Vec::new();
    for part in text.split('\n') {
        let mut line = " ".repeat(indent);
        for word in part.split(' ') {
            let length = line.chars().count() + word.chars().count();
            if length >= WIDTH && !line.trim().is_empty() {
                lines.push(line.trim_end().to_owned());
                line = " ".repeat(indent);
            }
            line.push_str(word);
            line.push(' ');
        }
        lines.push(line.trim_end().to_owned());
    }
    lines
}
