//! Times as people type and read them.

use super::limits::TIME_S;
use super::series::{DialTime, Times, true_time};
use crate::quantity::Seconds;

/// Longest time that a table for the field gives (ours: a photographer waits no longer).
const CARD_LIMIT_S: f64 = 1800.0;
/// From here a dial's 30 s (true 32 s) is no longer the nearest whole second.
const DIAL_LIMIT_S: f64 = 32.5;
/// A sentence speaks of seconds below this.
const SENTENCE_MINUTES_S: f64 = 120.0;

/// Why a time was not understood.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TimeError {
    /// Nothing was given.
    #[error("the time is empty; write it like 1/15, 0.5, 30s, 2m or 1m30s")]
    Empty,
    /// Zero, or rounding to it.
    #[error("the time \"{0}\" is zero; write it like 1/15, 0.5, 30s, 2m or 1m30s")]
    Zero(String),
    /// Below zero.
    #[error("the time \"{0}\" is negative; write it like 1/15, 0.5, 30s, 2m or 1m30s")]
    Negative(String),
    /// A fraction with nothing below the line.
    #[error("the time \"{0}\" divides by zero; write it like 1/15, 0.5, 30s, 2m or 1m30s")]
    DividesByZero(String),
    /// Shorter than any shutter.
    #[error(
        "the time \"{0}\" is shorter than any shutter; write it like 1/15, 0.5, 30s, 2m or 1m30s"
    )]
    TooShort(String),
    /// Beyond a day.
    #[error("the time \"{0}\" is longer than a day; write it like 1/15, 0.5, 30s, 2m or 1m30s")]
    TooLong(String),
    /// Anything else.
    #[error("the time \"{0}\" is not understood; write it like 1/15, 0.5, 30s, 2m or 1m30s")]
    NotUnderstood(String),
}

/// A time that somebody gave: the number, and the dial time it is, if any.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GivenTime {
    seconds: Seconds,
    dial: Option<DialTime>,
}

impl GivenTime {
    /// From a number of seconds, above zero and finite.
    #[must_use]
    pub fn new(seconds: Seconds) -> Self {
        Self { seconds, dial: DialTime::showing(seconds) }
    }
    /// The number as given.
    #[must_use]
    pub fn seconds(self) -> Seconds {
        self.seconds
    }
    /// The dial time that shows this number.
    #[must_use]
    pub fn dial(self) -> Option<DialTime> {
        self.dial
    }
    /// The true time.
    #[must_use]
    pub fn true_time(self, times: Times) -> Seconds {
        true_time(self.seconds, times)
    }
    /// As the camera shows it, or as [`sentence_text`] puts it; without a unit below one minute
    /// where a dial shows it so.
    #[must_use]
    pub fn text(self) -> String {
        self.dial.map_or_else(|| sentence_text(self.seconds), |dial| dial.text().to_owned())
    }
}

/// Reads a time: `1/15`, `0.5`, `30s`, `2m`, `1m30s`, `1h`; a bare number is seconds.
///
/// # Errors
/// [`TimeError`], each saying what to type instead.
pub fn parse_time(text: &str) -> Result<GivenTime, TimeError> {
    let given = text.trim();
    if given.is_empty() {
        return Err(TimeError::Empty);
    }
    let quoted = || given.to_owned();
    let lower = given.to_lowercase();
    if lower.starts_with(['-', '\u{2212}']) {
        return Err(TimeError::Negative(quoted()));
    }
    let seconds = match lower.split_once('/') {
        Some((above, below)) => fraction(above, below, given)?,
        None => sum_of_units(&lower).ok_or_else(|| TimeError::NotUnderstood(quoted()))?,
    };
    match seconds {
        _ if seconds > *TIME_S.end() => Err(TimeError::TooLong(quoted())),
        _ if TIME_S.contains(&seconds) => Ok(GivenTime::new(Seconds::new(seconds))),
        _ if seconds > 0.0 => Err(TimeError::TooShort(quoted())),
        _ => Err(TimeError::Zero(quoted())),
    }
}

fn fraction(above: &str, below: &str, given: &str) -> Result<f64, TimeError> {
    let below = without_unit(below, &["seconds", "second", "sec", "s", "\""]);
    let (Some(above), Some(below)) = (plain_number(above), plain_number(below)) else {
        return Err(TimeError::NotUnderstood(given.to_owned()));
    };
    if below == 0.0 {
        return Err(TimeError::DividesByZero(given.to_owned()));
    }
    Ok(above / below)
}

fn without_unit<'a>(text: &'a str, units: &[&str]) -> &'a str {
    let text = text.trim();
    units.iter().find_map(|unit| text.strip_suffix(unit)).unwrap_or(text)
}

/// Digits and at most one point; no signs, exponents, "inf" or "nan".
fn plain_number(text: &str) -> Option<f64> {
    let text = text.trim();
    let plain = text.chars().all(|c| c.is_ascii_digit() || c == '.')
        && text.chars().any(|c| c.is_ascii_digit());
    if plain { text.parse().ok() } else { None }
}

/// "1h2m3.5s", largest unit first, each at most once; a bare number is seconds.
fn sum_of_units(text: &str) -> Option<f64> {
    if let Some(seconds) = plain_number(text) {
        return Some(seconds);
    }
    let (mut rest, mut total, mut smallest) = (text, 0.0, f64::INFINITY);
    while !rest.trim().is_empty() {
        rest = rest.trim_start();
        let digits = rest.find(|c: char| !(c.is_ascii_digit() || c == '.'))?;
        let number = plain_number(&rest[..digits])?;
        rest = rest[digits..].trim_start();
        let word = rest
            .find(|c: char| !(c.is_alphabetic() || c == '"' || c == '\''))
            .unwrap_or(rest.len());
        let unit = match &rest[..word] {
            "h" | "hour" | "hours" => 3600.0,
            "m" | "min" | "minute" | "minutes" | "'" => 60.0,
            "s" | "sec" | "second" | "seconds" | "\"" => 1.0,
            _ => return None,
        };
        if unit >= smallest {
            return None;
        }
        smallest = unit;
        total += number * unit;
        rest = &rest[word..];
    }
    Some(total)
}

/// The nearest dial time to a true time, with its unit: "1/15 s", "0.5 s", "8 s"; `None` beyond
/// 30 s on the dial.
#[must_use]
pub fn dial_text(time: Seconds) -> Option<String> {
    if time.get() > DIAL_LIMIT_S {
        return None;
    }
    DialTime::nearest(time).map(|dial| format!("{} s", dial.text()))
}

/// A true time as a table for the field gives it: the dial time up to 30 s, then seconds, then
/// minutes and seconds, rounded to 5 s above 4 min and to 30 s above 15 min, a dash above 30 min.
#[must_use]
pub fn card_text(time: Seconds) -> String {
    if !(time.get() > 0.0 && time.get() <= CARD_LIMIT_S) {
        return "\u{2013}".to_owned();
    }
    dial_text(time).unwrap_or_else(|| long_text(time.get(), 60.0))
}

/// A true time for a sentence: the dial time up to 30 s, plain seconds below two minutes ("82 s"),
/// then minutes and seconds, rounded as in [`card_text`], then hours and minutes.
#[must_use]
pub fn sentence_text(time: Seconds) -> String {
    dial_text(time).unwrap_or_else(|| {
        if time.get() < 1.0 {
            return format!("1/{:.0} s", 1.0 / time.get());
        }
        long_text(time.get(), SENTENCE_MINUTES_S)
    })
}

fn long_text(seconds: f64, minutes_from: f64) -> String {
    let step = if seconds > 900.0 {
        30.0
    } else if seconds > 240.0 {
        5.0
    } else {
        1.0
    };
    let rounded = (seconds / step).round() * step;
    if rounded < minutes_from {
        return format!("{rounded:.0} s");
    }
    let minutes = (rounded / 60.0).floor();
    let rest = rounded - 60.0 * minutes;
    if rounded >= 3600.0 {
        let hours = (minutes / 60.0).floor();
        return match minutes - 60.0 * hours {
            0.0 => format!("{hours:.0} h"),
            left => format!("{hours:.0} h {left:.0} min"),
        };
    }
    if rest == 0.0 { format!("{minutes:.0} min") } else { format!("{minutes:.0} min {rest:.0} s") }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn times_are_read_as_typed() {
        for (text, seconds) in [
            ("1/15", 1.0 / 15.0),
            (" 1/15 s ", 1.0 / 15.0),
            ("1/1.3", 1.0 / 1.3),
            ("0.5", 0.5),
            (".5", 0.5),
            ("30s", 30.0),
            ("30\"", 30.0),
            ("2m", 120.0),
            ("1m30s", 90.0),
            ("1 min 30 s", 90.0),
            ("1h", 3600.0),
            ("2.5 sec", 2.5),
        ] {
            assert_eq!(parse_time(text).unwrap().seconds().get(), seconds, "{text}");
        }
    }

    #[test]
    fn nonsense_is_refused_by_name() {
        assert_eq!(parse_time("1/0"), Err(TimeError::DividesByZero("1/0".into())));
        assert_eq!(parse_time("0"), Err(TimeError::Zero("0".into())));
        assert_eq!(parse_time("0/4"), Err(TimeError::Zero("0/4".into())));
        assert_eq!(parse_time("-1/15"), Err(TimeError::Negative("-1/15".into())));
        assert_eq!(parse_time(" "), Err(TimeError::Empty));
        assert_eq!(parse_time("100000"), Err(TimeError::TooLong("100000".into())));
        for text in
            ["fast", "inf", "nan", "1e3", "1/-4", "1/2/3", "30s1m", "1m2m", "1..2", "m", "1 2"]
        {
            assert_eq!(parse_time(text), Err(TimeError::NotUnderstood(text.into())), "{text}");
        }
        let message = parse_time("1/0").unwrap_err().to_string();
        assert!(message.contains("1/0") && message.contains("1/15"), "{message}");
    }

    #[test]
    fn long_times_read_as_a_photographer_sets_them() {
        for (seconds, card, sentence) in [
            (0.0625, "1/15 s", "1/15 s"),
            (0.5, "0.5 s", "0.5 s"),
            (32.0, "30 s", "30 s"),
            (33.4, "33 s", "33 s"),
            (59.6, "1 min", "60 s"),
            (81.57, "1 min 22 s", "82 s"),
            (119.7, "2 min", "2 min"),
            (239.0, "3 min 59 s", "3 min 59 s"),
            (242.4, "4 min", "4 min"),
            (312.0, "5 min 10 s", "5 min 10 s"),
            (899.0, "15 min", "15 min"),
            (1000.0, "16 min 30 s", "16 min 30 s"),
            (1800.0, "30 min", "30 min"),
            (1801.0, "\u{2013}", "30 min"),
            (3700.0, "\u{2013}", "1 h 1 min"),
        ] {
            assert_eq!(card_text(Seconds::new(seconds)), card, "{seconds}");
            assert_eq!(sentence_text(Seconds::new(seconds)), sentence, "{seconds}");
        }
        assert_eq!(card_text(Seconds::new(f64::NAN)), "\u{2013}");
    }
}
