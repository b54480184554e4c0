//! A filter over the years, in words: whether it has changed since the first measurement, and how
//! sure that is.

use super::figures::{self, fixed};
use super::kept::day;
use crate::compare::history::trend::Course;
use crate::compare::history::{Change, History, Quantity};
use crate::rounding;

/// Rarer than this is said as "under once in a million".
const RAREST: f64 = 1e-6;

/// "since 11 October 2026"; "since the first measurement" where its day is not known.
#[must_use]
pub fn since(history: &History) -> String {
    match history.points.first().and_then(|point| point.at) {
        Some(at) => format!("since {}", day(Some(at))),
        None => "since the first measurement".to_owned(),
    }
}

/// Whether it has changed, and what, in a sentence or more.
#[must_use]
pub fn answer(history: &History) -> String {
    let mut said = vec![verdict(history)];
    said.extend(changes(history));
    said.join(" ")
}

/// What has changed, a sentence each.
#[must_use]
pub fn changes(history: &History) -> Vec<String> {
    history.shown().map(sentence).collect()
}

/// Whether it has changed, in a sentence.
#[must_use]
pub fn verdict(history: &History) -> String {
    let first = history.points.first().and_then(|point| point.at);
    if history.points.len() < 2 {
        let when = first.map_or_else(String::new, |at| format!(", on {}", day(Some(at))));
        return format!("{} was measured once{when}: nothing to compare yet.", history.name);
    }
    let strength = history.change(Quantity::Strength);
    if let Some(found) = strength.filter(|c| c.trend.course == Course::Contradiction) {
        return format!(
            "The measurements of {} contradict each other by more than their uncertainties allow, and \
             neither a steady change nor a single step explains it: from the first to the newest {} stop \
             is all that can be said. Look for the one that went wrong, or measure again.",
            history.name,
            figures::signed_with_doubt(found.trend.change, found.trend.u95())
        );
    }
    if history.shown().next().is_none() {
        let seen = strength.map_or_else(String::new, |change| {
            format!(
                ": {} stop, which is within its uncertainty",
                figures::signed_with_doubt(change.trend.change, change.trend.u95())
            )
        });
        return format!("No change of {} shows {}{seen}.", history.name, since(history));
    }
    format!("{} has changed {}.", history.name, since(history))
}

/// One change, with its uncertainty.
#[must_use]
pub fn sentence(change: &Change) -> String {
    let (size, more) = size(change);
    match change.quantity {
        Quantity::Strength => format!("It takes {size} {more}."),
        Quantity::RedGreen => format!("Of red it takes {size} {more} beside green than then."),
        Quantity::BlueGreen => format!("Of blue it takes {size} {more} beside green than then."),
        Quantity::Unevenness => {
            let way = if change.trend.change < 0.0 { "closer together" } else { "farther apart" };
            format!("Light and dark places of the frame lie {size} {way}.")
        }
    }
}

/// "0.050 ± 0.012 stop", and which way.
fn size(change: &Change) -> (String, &'static str) {
    let trend = &change.trend;
    let size = figures::with_doubt(trend.change.abs(), trend.u95());
    let unit = figures::unit(trend.change);
    (format!("{size} {unit}"), if trend.change < 0.0 { "less" } else { "more" })
}

/// How often chance alone would do it: "once in 3000".
#[must_use]
pub fn chance(change: &Change) -> String {
    let p = change.trend.chance();
    if p < RAREST {
        return "under once in a million".to_owned();
    }
    // One figure: nobody knows such a number better.
    let times = 1.0 / p;
    let power = 10_f64.powf(times.log10().floor());
    let round = (times / power).round() * power;
    if round < 2.0 {
        return "often".to_owned();
    }
    format!("once in {}", figures::thousands(round))
}

/// How the change was found, in a sentence.
#[must_use]
pub fn course(history: &History) -> Option<String> {
    let strength = history.change(Quantity::Strength)?;
    Some(match strength.trend.course {
        Course::Ends => "Changes of strength are the newest measurement less the first.".to_owned(),
        Course::Step => {
            "Changes of strength are those of one step: all measurements from it on less all \
                         before it."
                .to_owned()
        }
        Course::Contradiction => {
            "Changes of strength are the newest measurement less the first, as sure \
                                  as all measurements agree."
                .to_owned()
        }
        Course::Line => format!(
            "Changes of strength are the rise of a straight line through all {} measurements.",
            history.points.len()
        ),
    })
}

/// What the numbers stand for, where there is something to say.
#[must_use]
pub fn marks(history: &History) -> Option<String> {
    let (mark, count) = history.marks.as_ref()?;
    Some(match count {
        1 => format!("All of it at mark {mark}, the only one that all measurements have."),
        _ => format!(
            "Strength is the mean over the {count} marks that all measurements have; cast and \
             evenness are those of mark {mark}."
        ),
    })
}

/// What one camera and two cameras share, in a sentence.
#[must_use]
pub fn cameras(history: &History) -> String {
    match history.cameras.as_slice() {
        [one] => format!(
            "All with one camera ({one}): what its shutter and its black level are off by is largely the \
             same each time and cancels."
        ),
        many => format!(
            "With {} cameras: each sees the filter with its own colours and its own shutter, which the \
             uncertainties hold.",
            many.len()
        ),
    }
}

/// For a column: "no change", "+0.05 stop", "colour"; empty where there is one measurement.
#[must_use]
pub fn short(history: &History) -> String {
    if history.changes.is_empty() {
        return String::new();
    }
    let mut said: Vec<String> = Vec::new();
    for change in history.shown() {
        let trend = &change.trend;
        let word = match change.quantity {
            Quantity::Strength => {
                let places = rounding::places(trend.u95()).min(2);
                format!("{} stop", figures::signed(trend.change, places))
            }
            Quantity::RedGreen | Quantity::BlueGreen => "colour".to_owned(),
            Quantity::Unevenness => "evenness".to_owned(),
        };
        if !said.contains(&word) {
            said.push(word);
        }
    }
    let strength = history.change(Quantity::Strength);
    if strength.is_some_and(|c| c.trend.course == Course::Contradiction) {
        return "contradictory".to_owned();
    }
    if said.is_empty() { "no change".to_owned() } else { said.join(", ") }
}

/// What a change is called in a table.
#[must_use]
pub fn name(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Strength => "Strength",
        Quantity::RedGreen => "Red minus green",
        Quantity::BlueGreen => "Blue minus green",
        Quantity::Unevenness => "Spread",
    }
}

/// A change in figures: the difference with its uncertainty, and whether it shows.
#[must_use]
pub fn row(change: &Change) -> [String; 3] {
    let trend = &change.trend;
    [
        figures::signed_with_doubt(trend.change, trend.u95()),
        chance(change),
        match (trend.course, change.shows) {
            (Course::Contradiction, _) => "contradictory",
            (_, true) => "changed",
            (_, false) => "none shows",
        }
        .to_owned(),
    ]
}

/// One measurement in figures: strength, mired, spread; a dash where one is not known.
#[must_use]
pub fn point(point: &crate::compare::history::Point) -> [String; 3] {
    let dash = || "\u{2013}".to_owned();
    let told = |value: f64, u95: f64| match (value.is_finite(), u95.is_finite() && u95 > 0.0) {
        (false, _) => dash(),
        (true, true) => figures::with_doubt(value, u95),
        (true, false) => fixed(value, figures::PLACES_WITHOUT),
    };
    [
        told(point.strength.value, point.strength.u95),
        point.mired.map_or_else(dash, |m| told(m.value, m.u95)),
        point.unevenness.map_or_else(dash, |e| told(e.value, e.u95)),
    ]
}
