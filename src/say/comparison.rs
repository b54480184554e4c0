//! What a comparison comes to, in sentences.

use super::figures::{self, fixed, signed, unit};
use crate::compare::leak::{LEAK_BELOW, RedLeak, Verdict};
use crate::compare::sharing::Sameness;
use crate::compare::{Comparison, Difference, SettingDifference};

/// What the comparison comes to, in a sentence or two.
#[must_use]
pub fn answer(comparison: &Comparison) -> String {
    if let Some(graduation) = &comparison.graduation {
        let [a, b] = graduation.dark_end;
        let difference = b - a;
        let way = if difference.get() < 0.0 { "less" } else { "more" };
        return format!(
            "The second's dark end takes {} {} {way} than the first's.",
            fixed(difference.abs().get(), 2),
            unit(difference.get())
        );
    }
    match comparison.settings.as_slice() {
        [one] => one_answer(&one.strength),
        many => many_answer(many),
    }
}

fn one_answer(strength: &Difference) -> String {
    let places = crate::rounding::places(strength.u95);
    let size = fixed(strength.difference.abs(), places);
    let u95 = crate::rounding::fixed(strength.u95, places);
    let way = if strength.difference < 0.0 { "less" } else { "more" };
    if strength.shows() {
        let unit = unit(strength.difference);
        format!("The second takes {size}\u{a0}\u{b1}\u{a0}{u95} {unit} {way} than the first.")
    } else {
        format!(
            "No difference shows: the second takes {size}\u{a0}\u{b1}\u{a0}{u95} stop {way} than the first."
        )
    }
}

fn many_answer(settings: &[SettingDifference]) -> String {
    let differing: Vec<&SettingDifference> =
        settings.iter().filter(|s| s.strength.shows()).collect();
    let largest = settings
        .iter()
        .max_by(|a, b| a.strength.difference.abs().total_cmp(&b.strength.difference.abs()));
    let Some(largest) = largest else { return String::new() };
    let count = match differing.len() {
        0 => format!("No difference shows at any of {} marks", settings.len()),
        n if n == settings.len() => "All marks differ by more than their uncertainty".to_owned(),
        1 => format!("1 of {} marks differs by more than its uncertainty", settings.len()),
        n => format!("{n} of {} marks differ by more than their uncertainty", settings.len()),
    };
    format!(
        "{count}; the largest difference is {} stop at mark {}.",
        figures::signed_with_doubt(largest.strength.difference, largest.strength.u95),
        largest.mark.as_deref().unwrap_or("\u{2013}")
    )
}

/// What the red-leak check says, and what it can say.
#[must_use]
pub fn leak_sentence(leak: &RedLeak) -> String {
    let x = figures::signed_with_doubt(leak.x, leak.u95);
    let limit = signed(LEAK_BELOW, 2);
    let lead = format!(
        "Red against green, tungsten light minus white light, comes to x = {x} stop (a leak shows \
         below {limit})."
    );
    if !leak.same_model {
        return format!(
            "{lead} The two were measured with different cameras, or with unknown ones, so x says \
             nothing of the filter."
        );
    }
    let follows = match leak.verdict {
        Verdict::Leak => {
            "The filter lets far red through: it looks weaker and warmer in lamp light than in \
             daylight, and casts measured under lamps do not hold outdoors."
        }
        Verdict::Undecided => {
            "The uncertainty reaches across that limit: more frames under each light would decide it."
        }
        Verdict::NoSign => {
            "There is no sign of a far-red leak. A camera that cuts far red itself could not show one."
        }
    };
    format!("{lead} {follows}")
}

/// Whether a difference is larger than its uncertainty, in words.
#[must_use]
pub fn shows(difference: &Difference) -> &'static str {
    if difference.shows() { "differs" } else { "no difference shows" }
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
