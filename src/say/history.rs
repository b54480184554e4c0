//! A filter over the years, in words: whether it has changed since the first measurement, and how
//! sure that is.

use super::figures::{self, fixed};
use super::kept::day;
use crate::compare::history::trend::Course;
use crate::compare::history::{Change, History, Outcome, Point, Quantity};
use crate::rounding;

/// Rarer than this is said as "under once in a million".
const RAREST: f64 = 1e-6;
/// In a column.
const NO_CHANGE: &str = "no change";
const CONTRADICTORY: &str = "contradictory";

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
    let name = &history.name;
    match history.outcome() {
        Outcome::Once => {
            let first = history.points.first().and_then(|point| point.at);
            let when = first.map_or_else(String::new, |at| format!(", on {}", day(Some(at))));
            format!("{name} was measured once{when}: nothing to compare yet.")
        }
        Outcome::Contradiction => format!(
            "The measurements of {name} contradict each other by more than their uncertainties allow, and \
             no change in one way explains it, fast or slow: {}, or measure again.",
            at_odds(history)
        ),
        Outcome::Steady => {
            let seen = history.change(Quantity::Strength).map_or_else(String::new, |change| {
                format!(
                    ": {} {}, which is within its uncertainty",
                    figures::signed_with_doubt(change.trend.change, change.trend.u95()),
                    figures::unit(change.trend.change)
                )
            });
            format!("No change of {name} shows {}{seen}.", since(history))
        }
        Outcome::Changed => format!("{name} has changed {}.{}", since(history), when(history)),
    }
}

/// When it changed, in a sentence after a space, where it was not steadily: of the strength, else of
/// what else has changed.
fn when(history: &History) -> String {
    let Some(change) = history.shown().next() else { return String::new() };
    let at = |turn: usize| history.points.get(turn)?.at.map(|at| day(Some(at)));
    let turn = change.trend.turn.and_then(at);
    match (change.trend.course, turn) {
        (Course::Settling, Some(day)) => {
            format!(" It changes slower and slower: most of it came before {day}.")
        }
        (Course::Settling, None) => " It changes slower and slower.".to_owned(),
        (Course::Quickening, Some(day)) => {
            format!(" It changes faster lately: most of it came after {day}.")
        }
        (Course::Quickening, None) => " It changes faster lately.".to_owned(),
        (Course::Step, Some(after)) => {
            let before = change.trend.turn.and_then(|turn| at(turn.checked_sub(1)?));
            before.map_or_else(String::new, |before| {
                format!(" It came at once, between {before} and {after}.")
            })
        }
        _ => String::new(),
    }
}

/// Which measurements contradict each other, and what to look for.
fn at_odds(history: &History) -> String {
    /// So many are named one by one.
    const MOST_NAMED: usize = 5;
    let strengths = history.points.iter().map(|p| point(p)[0].clone()).collect::<Vec<_>>();
    let odd = history.change(Quantity::Strength).and_then(|found| found.trend.odd);
    if let Some((odd, strength)) = odd.and_then(|at| history.points.get(at).zip(strengths.get(at)))
    {
        let of = odd.at.map_or_else(|| "one".to_owned(), |at| format!("that of {}", day(Some(at))));
        return format!(
            "{of} found {strength} {}, and all others agree with each other; look at how it was made",
            figures::unit(odd.strength.value)
        );
    }
    let named = if strengths.len() > MOST_NAMED {
        let values = history.points.iter().map(|p| p.strength.value);
        let (low, high) = values
            .fold((f64::MAX, f64::MIN), |(low, high), value| (low.min(value), high.max(value)));
        let places = figures::PLACES_WITHOUT;
        format!("from {} to {}", fixed(low, places), fixed(high, places))
    } else {
        figures::listed(&strengths.iter().map(String::as_str).collect::<Vec<_>>())
    };
    format!("they found {named} stops; look for the one that went wrong")
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
        Course::Settling | Course::Quickening => {
            "Changes of strength are the newest measurement less the first: the measurements between \
             them lie on no straight line."
                .to_owned()
        }
        // There is no change to be told.
        Course::Contradiction => return None,
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
    match history.outcome() {
        Outcome::Once => String::new(),
        Outcome::Contradiction => CONTRADICTORY.to_owned(),
        Outcome::Steady => NO_CHANGE.to_owned(),
        Outcome::Changed => changed(history),
    }
}

/// What has changed, in a word or two each.
fn changed(history: &History) -> String {
    let mut said: Vec<String> = Vec::new();
    for change in history.shown() {
        let trend = &change.trend;
        let word = match change.quantity {
            Quantity::Strength => {
                let places = rounding::places(trend.u95()).min(2);
                let shown = rounding::signed(trend.change, places);
                // What is shown as one is one.
                let unit = figures::unit(shown.parse().unwrap_or(trend.change));
                format!("{} {unit}", figures::signed(trend.change, places))
            }
            Quantity::RedGreen | Quantity::BlueGreen => "colour".to_owned(),
            Quantity::Unevenness => "evenness".to_owned(),
        };
        if !said.contains(&word) {
            said.push(word);
        }
    }
    said.join(", ")
}

/// For a card, in a sentence; `None` where there is nothing to say.
#[must_use]
pub fn on_a_card(history: &History) -> Option<String> {
    match history.outcome() {
        Outcome::Once | Outcome::Steady => None,
        Outcome::Contradiction => Some(
            "Its measurements contradict each other: see its history before you trust this one."
                .to_owned(),
        ),
        Outcome::Changed => {
            let course = history.shown().next()?.trend.course;
            let how = how(course).map_or_else(String::new, |how| format!(", {how}"));
            Some(format!("Changed {}: {}{how}.", since(history), changed(history)))
        }
    }
}

/// How a change came, in a word or two; `None` where it was steady or that cannot be told.
fn how(course: Course) -> Option<&'static str> {
    match course {
        Course::Settling => Some("slower now"),
        Course::Quickening => Some("faster now"),
        Course::Step => Some("at once"),
        Course::Line | Course::Ends | Course::Contradiction => None,
    }
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

/// A change in figures: the difference with its uncertainty, and whether it shows. Measurements that
/// contradict each other tell none.
#[must_use]
pub fn row(change: &Change) -> [String; 3] {
    let trend = &change.trend;
    if trend.course == Course::Contradiction {
        return ["\u{2013}", "\u{2013}", CONTRADICTORY].map(str::to_owned);
    }
    [
        figures::signed_with_doubt(trend.change, trend.u95()),
        chance(change),
        match (change.shows, how(trend.course)) {
            (false, _) => "none shows".to_owned(),
            (true, None) => "changed".to_owned(),
            (true, Some(how)) => format!("changed, {how}"),
        },
    ]
}

/// One measurement in figures: strength, mired, spread; a dash where one is not known.
#[must_use]
pub fn point(point: &Point) -> [String; 3] {
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
