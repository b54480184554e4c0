//! What a kit holds, in words: what a filter takes, its cast, how far to turn it, its age.

use super::cast;
use super::figures;
use super::strength::Strength;
use crate::profile::{Kind, Profile};
use jiff::civil::{Date, DateTime};

/// "3 measurements".
#[must_use]
pub fn measurements(count: usize) -> String {
    figures::count(count, "measurement")
}

/// What it takes, in stops: "10.37 ± 0.07", "1.31 to 9.61".
#[must_use]
pub fn takes(profile: &Profile) -> String {
    Strength::of(profile).map_or_else(|| "not measured".to_owned(), |strength| strength.number)
}

/// The cast in words.
#[must_use]
pub fn colour(profile: &Profile) -> String {
    cast::representative(profile).map_or_else(String::new, |s| cast::words(&s.cast).to_owned())
}

/// How far to turn a variable filter: "to mark 5", "no mark is even"; empty for the others.
#[must_use]
pub fn turn(profile: &Profile) -> String {
    match profile.usable.as_ref().filter(|_| profile.filter.kind == Kind::Variable) {
        None => String::new(),
        Some(usable) => match &usable.last_mark {
            Some(mark) => format!("to mark {mark}"),
            None => "no mark is even".to_owned(),
        },
    }
}

/// "11 October 2026"; "no date" where none is known.
#[must_use]
pub fn day(at: Option<DateTime>) -> String {
    at.map_or_else(|| "no date".to_owned(), |at| at.strftime("%-d %B %Y").to_string())
}

/// How long ago: "today", "12 days", "5 months", "3 years"; empty where that is not known, or lies
/// ahead.
#[must_use]
pub fn age(at: Option<DateTime>, today: Date) -> String {
    /// Days of a month and of a year, near enough for an age.
    const MONTH: f64 = 30.44;
    const YEAR: f64 = 365.25;
    let Some(at) = at else { return String::new() };
    let days = f64::from(at.date().until(today).map_or(-1, |span| span.get_days()));
    match days {
        d if d < 0.0 => String::new(),
        d if d < 1.0 => "today".to_owned(),
        d if d < 2.0 * MONTH => figures::count(d as usize, "day"),
        d if d < 2.0 * YEAR => figures::count((d / MONTH).round() as usize, "month"),
        d => figures::count((d / YEAR).round() as usize, "year"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn ages_are_said_as_people_say_them() {
        let today = date(2026, 11, 26);
        let of = |y, m, d| age(Some(date(y, m, d).at(10, 0, 0, 0)), today);
        assert_eq!(of(2026, 11, 26), "today");
        assert_eq!(of(2026, 11, 25), "1 day");
        assert_eq!(of(2026, 10, 11), "46 days");
        assert_eq!(of(2026, 6, 20), "5 months");
        assert_eq!(of(2021, 11, 20), "5 years");
        assert_eq!(of(2027, 1, 1), "");
        assert_eq!(age(None, today), "");
    }
}
