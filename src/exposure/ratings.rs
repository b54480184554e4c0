//! What a filter is rated, in the spellings that people and engravings use.

use crate::quantity::{Density, Ratio, Stops};

/// Weakest and strongest claims that are believed to be meant: 20 stops are one part in a million.
const STRONGEST_STOPS: f64 = 20.0;
/// Densities above this are no photographic filter, so "ND8" can only be a factor.
const STRONGEST_DENSITY: f64 = 6.0;

const SPELLINGS: &str = "write 10, 3.0D or 1000x, 10+3 for a stack, and 2-5 for a variable filter";

/// A measurement this near a density reading, in stops, shows that a density was meant (ours: half
/// of the least that separates the readings of 0.3).
const FITS_STOPS: f64 = 0.35;

/// Why a rating was not understood.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RatingError {
    /// Nothing was given.
    #[error("the rating is empty; {SPELLINGS}")]
    Empty,
    /// Density or factor.
    #[error(
        "\"{said}\" may mean density {number} ({} stops) or factor {number} ({} stop{}); \
         write {number}D or {number}x",
        short(.density.get()), short(.factor.get()), plural(.factor.get())
    )]
    Ambiguous {
        /// As given.
        said: String,
        /// Its number.
        number: String,
        /// Strength if it is a density.
        density: Stops,
        /// Strength if it is a factor.
        factor: Stops,
    },
    /// Zero, negative, or a factor below one.
    #[error(
        "\"{0}\" is no filter: it takes no light; leave the rating out where none is given, or {SPELLINGS}"
    )]
    NoFilter(String),
    /// Beyond any photographic filter.
    #[error(
        "\"{said}\" would be {} stops, beyond any photographic filter; {SPELLINGS}",
        short(.stops.get())
    )]
    TooStrong {
        /// As given.
        said: String,
        /// What it would be.
        stops: Stops,
    },
    /// A range whose ends are not weakest, then strongest.
    #[error("the range \"{0}\" must go from the weaker end to the stronger, like 2-5")]
    RangeBackwards(String),
    /// Anything else.
    #[error("the rating \"{0}\" is not understood; {SPELLINGS}")]
    NotUnderstood(String),
}

fn short(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn plural(value: f64) -> &'static str {
    if value == 1.0 { "" } else { "s" }
}

/// What the number of a rating was taken for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reading {
    /// Stops.
    Stops,
    /// Density, D = -log10 of the transmittance (ISO 5-1).
    Density,
    /// Filter factor, 1 / transmittance.
    Factor,
}

impl Reading {
    fn stops(self, number: f64) -> Stops {
        match self {
            Self::Stops => Stops::new(number),
            Self::Density => Density::new(number).stops(),
            Self::Factor => Stops::from_transmittance(Ratio::new(1.0 / number)),
        }
    }
}

/// A claim: one strength, or the range of a variable filter.
#[derive(Clone, Debug, PartialEq)]
pub struct Rating {
    /// The strength, or the weaker end of the range.
    pub weakest: Stops,
    /// The stronger end of a range.
    pub strongest: Option<Stops>,
    /// What the number was taken for.
    pub reading: Reading,
    /// What to tell the user where a bare name was interpreted ("ND1000 is read as a filter
    /// factor: 9.97 stops").
    pub said: Option<String>,
    /// A bare number with a decimal, as densities are written: what it is as a density.
    pub as_density: Option<Density>,
}

impl Rating {
    /// The one strength, where it is not a range.
    #[must_use]
    pub fn single(&self) -> Option<Stops> {
        if self.strongest.is_none() { Some(self.weakest) } else { None }
    }
    /// The rating that a measured strength decides for, where the number may also be a density and
    /// the measurement fits that alone: 3.0 is three stops or a density of 3.0, ten stops.
    #[must_use]
    pub fn settled_by(&self, measured: Stops) -> Option<Self> {
        let density = self.as_density?;
        let near = |stops: Stops| (measured - stops).abs();
        let fits =
            near(density.stops()).get() < FITS_STOPS && near(self.weakest) > near(density.stops());
        let number = short_decimal(density.get());
        fits.then(|| Self {
            weakest: density.stops(),
            strongest: None,
            reading: Reading::Density,
            said: Some(format!(
                "the rating {number} is taken as a density, {} stops, since {} stops were measured; \
                 write {number}D to say so",
                short(density.stops().get()),
                short(measured.get())
            )),
            as_density: None,
        })
    }
    /// What to ask before anything is measured, where the number may also be a density.
    #[must_use]
    pub fn doubtful(&self) -> Option<String> {
        let density = self.as_density?;
        let number = short_decimal(density.get());
        Some(format!(
            "{number} is read as stops; if it is a density ({} stops), write {number}D",
            short(density.stops().get())
        ))
    }
    /// The range, weakest first.
    #[must_use]
    pub fn range(&self) -> Option<[Stops; 2]> {
        self.strongest.map(|strongest| [self.weakest, strongest])
    }
}

/// One end as written: number, its text, and what it says of its meaning.
struct Written<'a> {
    number: f64,
    text: &'a str,
    reading: Option<Reading>,
    named: bool,
}

/// Reads a rating: `10`, `10 stops`, `10EV`, `3.0D`, `1000x`, `ND1000` (a factor, and says so),
/// `10+3` (a stack), `2-5` (a ring); decimals with a point or a comma.
///
/// # Errors
/// [`RatingError`]; `ND2`, `ND2.0` and the like are refused with both spellings to choose from.
pub fn parse_rating(text: &str) -> Result<Rating, RatingError> {
    let said = text.trim();
    if said.is_empty() {
        return Err(RatingError::Empty);
    }
    if said.starts_with(['-', '\u{2212}']) {
        return Err(RatingError::NoFilter(said.to_owned()));
    }
    let lower = said.to_lowercase().replace(',', ".");
    let not_understood = || RatingError::NotUnderstood(said.to_owned());
    match lower.split_once("..").or_else(|| lower.split_once(['-', '\u{2013}'])) {
        None if lower.contains('+') => stack(said, &lower),
        None => {
            let one = written(&lower).ok_or_else(not_understood)?;
            let (reading, interpreted) = decide(&one, said)?;
            let weakest = strength(&one, reading, said)?;
            let said = interpreted.then(|| explain(said, reading, &short(weakest.get())));
            Ok(Rating { weakest, strongest: None, reading, said, as_density: as_density(&one) })
        }
        Some((low, high)) => {
            let low = written(low).ok_or_else(not_understood)?;
            let high = written(high).ok_or_else(not_understood)?;
            range(said, &low, &high)
        }
    }
}

/// Filters on top of each other: their stops add.
fn stack(said: &str, lower: &str) -> Result<Rating, RatingError> {
    let mut sum = Stops::new(0.0);
    for part in lower.split('+') {
        let one = written(part).ok_or_else(|| RatingError::NotUnderstood(said.to_owned()))?;
        let (reading, _) = decide(&one, said)?;
        sum = sum + strength(&one, reading, said)?;
    }
    if sum.get() > STRONGEST_STOPS {
        return Err(RatingError::TooStrong { said: said.to_owned(), stops: sum });
    }
    let told = format!("{said} is read as filters together: {} stops", short(sum.get()));
    Ok(Rating {
        weakest: sum,
        strongest: None,
        reading: Reading::Stops,
        said: Some(told),
        as_density: None,
    })
}

/// Only a bare number with a decimal looks like a density.
fn as_density(one: &Written<'_>) -> Option<Density> {
    let bare = one.reading.is_none() && !one.named && one.text.contains('.');
    let density = Density::new(one.number);
    (bare && density.stops().get() <= STRONGEST_STOPS).then_some(density)
}

/// At least one decimal, as densities are engraved.
fn short_decimal(value: f64) -> String {
    let text = short(value);
    if text.contains('.') { text } else { format!("{text}.0") }
}

fn range(said: &str, low: &Written<'_>, high: &Written<'_>) -> Result<Rating, RatingError> {
    // "2-5stops" and "ND2-400": what one end says holds for both.
    let stated = high.reading.or(low.reading);
    let (reading, interpreted) = match stated {
        Some(reading) => (reading, false),
        None => {
            let named = low.named || high.named;
            decide(&Written { named, ..*high }, said)?
        }
    };
    let weakest = strength(low, reading, said)?;
    let strongest = strength(high, reading, said)?;
    if weakest >= strongest {
        return Err(RatingError::RangeBackwards(said.to_owned()));
    }
    let both = format!("{} to {}", short(weakest.get()), short(strongest.get()));
    let said = interpreted.then(|| explain(said, reading, &both));
    Ok(Rating { weakest, strongest: Some(strongest), reading, said, as_density: None })
}

fn explain(said: &str, reading: Reading, stops: &str) -> String {
    let what = if reading == Reading::Density { "density" } else { "filter factor" };
    format!("{said} is read as a {what}: {stops} stops")
}

/// Splits prefix, number and unit; `None` where it is not of that form.
fn written(text: &str) -> Option<Written<'_>> {
    let text = text.trim();
    let (rest, named) = text.strip_prefix("nd").map_or((text, false), |rest| (rest.trim(), true));
    let (rest, prefixed) = match rest.strip_prefix('x') {
        Some(rest) => (rest.trim(), Some(Reading::Factor)),
        None => (rest, None),
    };
    let digits = rest.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(rest.len());
    let (number_text, unit) = rest.split_at(digits);
    let reading = match unit.trim() {
        "" => prefixed,
        "stops" | "stop" | "st" | "ev" => Some(Reading::Stops),
        "d" | "density" => Some(Reading::Density),
        "x" | "\u{d7}" => Some(Reading::Factor),
        _ => return None,
    };
    let number: f64 = number_text.parse().ok()?;
    Some(Written { number, text: number_text, reading, named })
}

/// What the number means, and whether that was our reading of a bare name.
fn decide(one: &Written<'_>, said: &str) -> Result<(Reading, bool), RatingError> {
    match one.reading {
        Some(reading) => Ok((reading, false)),
        None if !one.named => Ok((Reading::Stops, false)),
        None if one.number > STRONGEST_DENSITY => Ok((Reading::Factor, true)),
        // A factor below one is no filter, so "ND0.9" can only be a density.
        None if one.number < 1.0 => Ok((Reading::Density, true)),
        None => Err(RatingError::Ambiguous {
            said: said.to_owned(),
            number: one.text.to_owned(),
            density: Reading::Density.stops(one.number),
            factor: Reading::Factor.stops(one.number),
        }),
    }
}

fn strength(one: &Written<'_>, reading: Reading, said: &str) -> Result<Stops, RatingError> {
    let stops = reading.stops(one.number);
    if !stops.is_finite() || stops.get() <= 0.0 {
        Err(RatingError::NoFilter(said.to_owned()))
    } else if stops.get() > STRONGEST_STOPS {
        Err(RatingError::TooStrong { said: said.to_owned(), stops })
    } else {
        Ok(stops)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn single(text: &str) -> f64 {
        parse_rating(text).unwrap().single().unwrap().get()
    }

    #[test]
    fn spellings_of_one_strength() {
        for (text, stops) in [
            ("10", 10.0),
            ("10stops", 10.0),
            ("10 stops", 10.0),
            ("6.6", 6.6),
            ("3.0D", 9.965_784),
            ("3.0 d", 9.965_784),
            ("ND 3.0D", 9.965_784),
            ("1000x", 9.965_784),
            ("x1024", 10.0),
            ("ND1000", 9.965_784),
            ("nd 64", 6.0),
            ("ND8", 3.0),
            ("ND0.9", 2.989_735),
            ("ND2x", 1.0),
            ("10EV", 10.0),
            ("10 ev", 10.0),
            ("3,0", 3.0),
            ("0,5", 0.5),
            ("ND 0.9", 2.989_735),
            ("ND 0,9", 2.989_735),
            ("10+3", 13.0),
            ("10 + 3 stops", 13.0),
            ("ND8+1000x", 12.965_784),
        ] {
            assert!((single(text) - stops).abs() < 1e-6, "{text}: {}", single(text));
        }
        assert_eq!(
            parse_rating("ND1000").unwrap().said.unwrap(),
            "ND1000 is read as a filter factor: 9.97 stops"
        );
        assert_eq!(parse_rating("1000x").unwrap().said, None);
    }

    #[test]
    fn a_bare_decimal_may_be_a_density_and_the_measurement_tells() {
        // Density and stops of common filters (D = stops x log10 2, ISO 5-1; published tables of
        // neutral densities round to 0.3 a stop).
        for (text, stops) in [("0.3", 1.0), ("0.9", 3.0), ("1.8", 6.0), ("3.0", 10.0)] {
            let rating = parse_rating(text).unwrap();
            let density: f64 = text.parse().unwrap();
            assert_eq!(
                rating.single().unwrap().get(),
                density,
                "stops until something is measured"
            );
            assert!(rating.doubtful().unwrap().contains(&format!("{text}D")));
            let settled = rating.settled_by(Stops::new(stops)).unwrap();
            assert_eq!(settled.reading, Reading::Density);
            // Rounding to 0.3 a stop: 0.034 stop at ten.
            assert!((settled.weakest.get() - stops).abs() < 0.035, "{text}");
            assert!(settled.said.unwrap().contains(&format!("{text}D")));
        }
        // Three stops measured, or something that neither reading fits: three stops are held.
        let three = parse_rating("3.0").unwrap();
        assert_eq!(three.settled_by(Stops::new(3.1)), None);
        assert_eq!(three.settled_by(Stops::new(6.0)), None);
        // Without a decimal, with a unit or a name nothing is doubtful.
        for text in ["3", "3.0stops", "3.0D", "6.6", "ND0.9", "10+3", "2-5"] {
            let rating = parse_rating(text).unwrap();
            assert_eq!(rating.doubtful(), None, "{text}");
            assert_eq!(rating.settled_by(Stops::new(9.97)), None, "{text}");
        }
    }

    #[test]
    fn ranges_go_up() {
        let range = |text: &str| parse_rating(text).unwrap().range().unwrap().map(Stops::get);
        assert_eq!(range("2-5"), [2.0, 5.0]);
        assert_eq!(range("2\u{2013}5 stops"), [2.0, 5.0]);
        assert_eq!(range("2..5"), [2.0, 5.0]);
        assert_eq!(range("4x-32x"), [2.0, 5.0]);
        assert_eq!(range("ND4-ND32"), [2.0, 5.0]);
        assert_eq!(parse_rating("5-2"), Err(RatingError::RangeBackwards("5-2".into())));
        assert!(matches!(parse_rating("ND2-ND5"), Err(RatingError::Ambiguous { .. })));
    }

    #[test]
    fn what_may_be_density_or_factor_is_refused_with_both() {
        for text in ["ND2", "ND2.0", "nd 4", "ND1.8", "ND3"] {
            let message = parse_rating(text).unwrap_err().to_string();
            let number = text.trim_start_matches(|c: char| !c.is_ascii_digit());
            assert!(message.contains(&format!("write {number}D or {number}x")), "{message}");
        }
        let message = parse_rating("ND2.0").unwrap_err().to_string();
        assert!(message.contains("6.64 stops") && message.contains("(1 stop)"), "{message}");
    }

    #[test]
    fn nonsense_is_refused() {
        assert_eq!(parse_rating("0"), Err(RatingError::NoFilter("0".into())));
        assert_eq!(parse_rating("-3"), Err(RatingError::NoFilter("-3".into())));
        assert_eq!(parse_rating("0.5x"), Err(RatingError::NoFilter("0.5x".into())));
        assert!(matches!(parse_rating("1000"), Err(RatingError::TooStrong { .. })));
        for text in [
            "dark", "ten", "10.0.0", "D", "ND", "3-", "2-5-8", "10+", "+3", "1.5,5", "1e1", "NaN",
            "inf",
        ] {
            assert_eq!(parse_rating(text), Err(RatingError::NotUnderstood(text.into())), "{text}");
        }
    }
}
