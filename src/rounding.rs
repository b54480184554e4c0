//! Numbers rounded by their doubt (JCGM 100:2008, 7.2.6: at most two significant digits of the
//! uncertainty, and the value to the same place).

/// Most decimal places that are ever printed.
const MOST_PLACES: i32 = 8;

/// Decimal places that an uncertainty allows: two significant digits where the first is 1 or 2,
/// else one; never below zero places. Without an uncertainty (zero, not finite): two places.
#[must_use]
pub fn places(u: f64) -> usize {
    if !(u.is_finite() && u > 0.0) {
        return 2;
    }
    let exponent = u.log10().floor() as i32;
    // In units of the second significant digit: 0.0298 counts as 30, whose first digit is 3.
    let two_digits = (u / 10f64.powi(exponent - 1)).round();
    let places = if two_digits < 30.0 { 1 - exponent } else { -exponent };
    places.clamp(0, MOST_PLACES) as usize
}

/// The value alone, rounded by its uncertainty: 10.3472 with 0.03 is "10.35".
#[must_use]
pub fn value(value: f64, u: f64) -> String {
    fixed(value, places(u))
}

/// Value and uncertainty: "10.35 +- 0.03".
#[must_use]
pub fn with_doubt(value: f64, u: f64) -> String {
    let places = places(u);
    format!("{} +- {}", fixed(value, places), fixed(u, places))
}

/// With these places, and no sign before a zero.
#[must_use]
pub fn fixed(value: f64, places: usize) -> String {
    let text = format!("{value:.places$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_owned(),
        _ => text,
    }
}

/// With a sign always, "+0.35", and none before a zero.
#[must_use]
pub fn signed(value: f64, places: usize) -> String {
    let text = fixed(value, places);
    if value > 0.0 && text.chars().any(|c| c.is_ascii_digit() && c != '0') {
        format!("+{text}")
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounded_by_the_doubt() {
        // JCGM 100:2008, 7.2.6 gives 10.057 62 with u = 0.027 as 10.058.
        assert_eq!(with_doubt(10.057_62, 0.027), "10.058 +- 0.027");
        assert_eq!(with_doubt(10.3472, 0.03), "10.35 +- 0.03");
        assert_eq!(with_doubt(10.3472, 0.0298), "10.35 +- 0.03");
        assert_eq!(with_doubt(10.3472, 0.097), "10.35 +- 0.10");
        assert_eq!(with_doubt(10.3472, 0.96), "10.3 +- 1.0");
        assert_eq!(with_doubt(5123.4, 260.0), "5123 +- 260");
        assert_eq!(with_doubt(-0.001, 0.02), "-0.001 +- 0.020");
        assert_eq!(value(-0.0004, 0.05), "0.00");
        assert_eq!(value(1.23456, 0.0), "1.23");
        assert_eq!(value(1.23456, f64::NAN), "1.23");
        assert_eq!(signed(0.346, 2), "+0.35");
        assert_eq!(signed(-0.346, 2), "-0.35");
        assert_eq!(signed(0.001, 2), "0.00");
    }
}
