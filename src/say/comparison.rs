//! What a comparison comes to, in sentences.

use super::figures::{self, fixed, signed, unit};
use crate::compare::leak::{LEAK_BELOW, LeakVerdict, RedLeak};
use crate::compare::sharing::Sameness;
use crate::compare::{Comparison, Difference, SettingDifference};
use crate::profile::{Kind, Profile};

/// What the two are called: by their names, else by day, else by hour, else by their place.
#[must_use]
pub fn labels(first: &Profile, second: &Profile) -> [String; 2] {
    let both = [first, second];
    let names = both.map(|p| p.filter.name.clone());
    if names[0] != names[1] {
        return names;
    }
    // ISO 8601 to the day, to the minute.
    for length in [10, 16] {
        let stamps = both.map(|p| {
            let at = p.frames.iter().find_map(|f| f.captured_at.as_deref()?.get(..length));
            at.map(|at| at.replace('T', " "))
        });
        if let [Some(a), Some(b)] = &stamps
            && a != b
        {
            return [a, b].map(|at| format!("{} of {at}", names[0]));
        }
    }
    ["the first", "the second"].map(str::to_owned)
}

/// A label, or the filter's name where the label is only a place in the order.
#[must_use]
pub fn titled<'a>(label: &'a str, profile: &'a Profile) -> &'a str {
    let name = profile.filter.name.as_str();
    if label.starts_with(name) { label } else { name }
}

/// What the comparison comes to, in a sentence or two.
#[must_use]
pub fn answer(comparison: &Comparison, labels: &[String; 2]) -> String {
    if let Some(graduation) = &comparison.graduation {
        return one_answer(&graduation.dark_end, " at its dark end", labels);
    }
    match comparison.settings.as_slice() {
        [one] => one_answer(&one.strength, "", labels),
        many => many_answer(many, labels),
    }
}

fn one_answer(strength: &Difference, place: &str, [first, second]: &[String; 2]) -> String {
    let way = if strength.difference < 0.0 { "less" } else { "more" };
    let size = figures::with_doubt(strength.difference.abs(), strength.u95);
    let unit = unit(strength.difference);
    let said = format!("{second} takes {size} {unit} {way} than {first}{place}.");
    match (strength.u95 > 0.0, strength.shows()) {
        (true, true) => figures::sentence(&said),
        (true, false) => format!("No difference in strength shows: {said}"),
        (false, _) => {
            let size = fixed(strength.difference.abs(), figures::PLACES_WITHOUT);
            figures::sentence(&format!(
                "{second} takes {size} {unit} {way} than {first}{place}; how sure that is, is not stated."
            ))
        }
    }
}

fn many_answer(settings: &[SettingDifference], [first, second]: &[String; 2]) -> String {
    let differing: Vec<&SettingDifference> =
        settings.iter().filter(|s| s.strength.shows()).collect();
    let largest = settings
        .iter()
        .max_by(|a, b| a.strength.difference.abs().total_cmp(&b.strength.difference.abs()));
    let Some(largest) = largest else { return String::new() };
    let count = match differing.len() {
        0 => format!("No difference in strength shows at any of {} marks", settings.len()),
        n if n == settings.len() => "All marks differ by more than their uncertainty".to_owned(),
        1 => format!("1 of {} marks differs by more than its uncertainty", settings.len()),
        n => format!("{n} of {} marks differ by more than their uncertainty", settings.len()),
    };
    format!(
        "{count}; the largest difference, {second} minus {first}, is {} {} at mark {}.",
        figures::signed_with_doubt(largest.strength.difference, largest.strength.u95),
        unit(largest.strength.difference),
        largest.mark.as_deref().unwrap_or("\u{2013}")
    )
}

/// Every difference that stands in figures: name, difference.
#[must_use]
pub fn rows(comparison: &Comparison, kind: Kind) -> Vec<(String, Difference)> {
    let mut rows = of_light(comparison, kind);
    let picture = &comparison.picture;
    for (name, difference) in [
        ("Sharpness, ratio", picture.sharpness),
        ("Sharpness, corners", picture.corners),
        ("Own veil, %", picture.veil),
        ("Ghost below the lamp", picture.ghost),
    ] {
        rows.extend(difference.map(|d| (name.to_owned(), d)));
    }
    rows
}

fn of_light(comparison: &Comparison, kind: Kind) -> Vec<(String, Difference)> {
    let mut rows = Vec::new();
    let mut push = |name: &str, difference: &Difference| rows.push((name.to_owned(), *difference));
    if let Some(graduation) = &comparison.graduation {
        push("Dark end", &graduation.dark_end);
    }
    let [one] = comparison.settings.as_slice() else {
        for setting in &comparison.settings {
            let mark = setting.mark.as_deref().unwrap_or("\u{2013}");
            push(&format!("Mark {mark}"), &setting.strength);
            push(&format!("Mark {mark}, red minus green"), &setting.red_green);
        }
        return rows;
    };
    let strength = if kind == Kind::Graduated { "Strength in the centre" } else { "Strength" };
    push(strength, &one.strength);
    for (name, channel) in ["Red", "Green", "Blue"].iter().zip(&one.channels) {
        push(name, channel);
    }
    push("Red minus green", &one.red_green);
    push("Blue minus green", &one.blue_green);
    if let Some(mired) = &one.mired {
        push("Shift of the light, mired", mired);
    }
    rows
}

/// Spread and dark cross of both, setting by setting.
#[must_use]
pub fn evenness(comparison: &Comparison) -> Vec<(String, [String; 2])> {
    let of = |setting: &SettingDifference| {
        let evenness = setting.evenness.as_ref()?;
        let mark = setting.mark.as_ref().map_or("Frame".to_owned(), |mark| format!("Mark {mark}"));
        let side = |i: usize| {
            let spread = evenness.spread[i].get();
            let cross = super::ring::cross(evenness.cross[i]);
            format!("{} {}, dark cross {cross}", fixed(spread, 2), figures::unit(spread))
        };
        Some((mark, [side(0), side(1)]))
    };
    comparison.settings.iter().filter_map(of).collect()
}

/// What the red-leak check says, and what it can say.
#[must_use]
pub fn leak_sentence(leak: &RedLeak) -> String {
    let x = figures::signed_with_doubt(leak.x, leak.u95);
    let limit = signed(LEAK_BELOW, 2);
    let lead = format!(
        "Red against green, tungsten light minus white light, comes to x = {x} {} (a leak shows \
         below {limit}).",
        unit(leak.x)
    );
    if !leak.same_model {
        return format!(
            "{lead} The two were measured with different cameras, or with unknown ones, so x says \
             nothing of the filter."
        );
    }
    let follows = match leak.verdict {
        LeakVerdict::Leak => {
            "The filter lets far red through: it looks weaker and warmer in lamp light than in \
             daylight, and casts measured under lamps do not hold outdoors."
        }
        LeakVerdict::Undecided => {
            "The uncertainty reaches across that limit: more frames under each light would decide it."
        }
        LeakVerdict::NoSign => {
            "There is no sign of a far-red leak. A camera that cuts far red itself could not show one."
        }
    };
    format!("{lead} {follows}")
}

/// Whether a difference is larger than its uncertainty, in words.
#[must_use]
pub fn shows(difference: &Difference) -> &'static str {
    if difference.shows() { "differs" } else { "none shows" }
}

/// Whether something is shared, in a word.
#[must_use]
pub fn sameness(sameness: Sameness) -> &'static str {
    match sameness {
        Sameness::Same => "shared",
        Sameness::Differs => "not shared",
        Sameness::Unknown => "unknown",
    }
}

/// Sentences on marks that only one of the two has.
#[must_use]
pub fn only_in_one(comparison: &Comparison) -> Vec<String> {
    let sentence = |which: &str, marks: &[String]| {
        let plural = if marks.len() == 1 { "Mark" } else { "Marks" };
        (!marks.is_empty())
            .then(|| format!("{plural} {} stand in the {which} profile only.", marks.join(", ")))
    };
    let both =
        [sentence("first", &comparison.only_first), sentence("second", &comparison.only_second)];
    both.into_iter().flatten().collect()
}
