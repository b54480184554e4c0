//! Numbers as they are written: rounded by their uncertainty, with a true minus sign.

use crate::profile::StopsU95;
use crate::quantity::Stops;
use crate::rounding;

/// A true minus sign instead of a hyphen.
#[must_use]
pub fn minus(text: &str) -> String {
    text.replace('-', "\u{2212}")
}

/// "10.35 ± 0.03", in one piece.
#[must_use]
pub fn with_doubt(value: f64, u95: f64) -> String {
    let places = rounding::places(u95);
    format!("{}\u{a0}\u{b1}\u{a0}{}", fixed(value, places), rounding::fixed(u95, places))
}

/// "+0.35 ± 0.03", in one piece.
#[must_use]
pub fn signed_with_doubt(value: f64, u95: f64) -> String {
    let places = rounding::places(u95);
    format!("{}\u{a0}\u{b1}\u{a0}{}", signed(value, places), rounding::fixed(u95, places))
}

/// "10.35 ± 0.03" with these places for both, in one piece.
#[must_use]
pub fn pair(value: f64, u95: f64, places: usize) -> String {
    format!("{}\u{a0}\u{b1}\u{a0}{}", fixed(value, places), rounding::fixed(u95, places))
}

/// The value alone, rounded by its doubt.
#[must_use]
pub fn value(value: f64, u95: f64) -> String {
    minus(&rounding::value(value, u95))
}

/// With these places.
#[must_use]
pub fn fixed(value: f64, places: usize) -> String {
    minus(&rounding::fixed(value, places))
}

/// With a sign always.
#[must_use]
pub fn signed(value: f64, places: usize) -> String {
    minus(&rounding::signed(value, places))
}

/// Stops with their doubt.
#[must_use]
pub fn stops(value: StopsU95) -> String {
    with_doubt(value.stops.get(), value.u95.get())
}

/// Places of a figure whose uncertainty is not stated.
pub const PLACES_WITHOUT: usize = 2;

/// "31 clicks", "1 click": a strength on a dial in thirds.
#[must_use]
pub fn clicks(strength: Stops) -> String {
    match crate::exposure::clicks(strength) {
        1 => "1 click".to_owned(),
        many => format!("{many} clicks"),
    }
}

/// A strength no finer than a hundredth, for cards and lists: "10.35 ± 0.03"; what is known better is
/// still rounded to that.
#[must_use]
pub fn in_hundredths(stops: Stops, u95: Stops) -> String {
    const FINEST: f64 = 0.01;
    let places = rounding::places(u95.get()).min(2);
    let (stops, u95) = (rounding::fixed(stops.get(), places), u95.get().max(FINEST));
    format!("{stops} \u{b1} {}", rounding::fixed(u95, places))
}

/// "1", "1 and 2", "1, 2 and 3".
#[must_use]
pub fn listed(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [only] => (*only).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// Signs that every terminal shows.
#[must_use]
pub fn plain(text: &str) -> String {
    const SIGNS: [(&str, &str); 6] = [
        ("\u{b1}", "+-"),
        ("\u{2212}", "-"),
        ("\u{a0}", " "),
        ("\u{202f}", " "),
        ("\u{2013}", "-"),
        ("\u{b0}", " degrees"),
    ];
    SIGNS.iter().fold(text.to_owned(), |text, (sign, plain)| text.replace(sign, plain))
}

/// What profiles hold in plain signs, as pages print it.
#[must_use]
pub fn signed_text(text: &str) -> String {
    text.replace("+-", "\u{b1}")
}

/// A rating as people say it: "10", "6.6", "9.97".
#[must_use]
pub fn rating(stops: f64) -> String {
    let text = format!("{stops:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// First letter large.
#[must_use]
pub fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

pub use crate::text::{count, unit};

/// A whole number of up to seven figures with thin spaces between thousands.
#[must_use]
pub fn thousands(value: f64) -> String {
    let digits = format!("{:.0}", value.abs());
    let mut out = String::new();
    for (index, c) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) && digits.len() > 4 {
            out.push('\u{202f}');
        }
        out.push(c);
    }
    if value < 0.0 { format!("\u{2212}{out}") } else { out }
}

/// A positive number to so many significant figures, never in powers of ten.
#[must_use]
pub fn significant(value: f64, figures: i32) -> String {
    if !(value.is_finite() && value > 0.0) {
        return rounding::fixed(value, 2);
    }
    let places = figures - 1 - value.log10().floor() as i32;
    if places >= 0 {
        format!("{value:.0$}", places.min(12) as usize)
    } else {
        let unit = 10f64.powi(-places);
        thousands((value / unit).round() * unit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_uncertainty_is_rounded_to_nothing() {
        let said = |stops, u95| in_hundredths(Stops::new(stops), Stops::new(u95));
        assert_eq!(said(2.995, 0.003), "3.00 \u{b1} 0.01");
        assert_eq!(said(10.3472, 0.031), "10.35 \u{b1} 0.03");
        assert_eq!(said(10.3472, 0.31), "10.3 \u{b1} 0.3");
    }

    #[test]
    fn numbers_read_as_printed() {
        assert_eq!(with_doubt(10.3472, 0.031), "10.35\u{a0}\u{b1}\u{a0}0.03");
        assert_eq!(signed_with_doubt(-0.0472, 0.031), "\u{2212}0.05\u{a0}\u{b1}\u{a0}0.03");
        assert_eq!(rating(10.0), "10");
        assert_eq!(rating(9.9658), "9.97");
        assert_eq!(thousands(1304.6), "1305");
        assert_eq!(thousands(32768.0), "32\u{202f}768");
        assert_eq!(significant(1304.6, 3), "1300");
        assert_eq!(significant(0.000_766_52, 3), "0.000767");
        assert_eq!(sentence("a metered"), "A metered");
    }
}
