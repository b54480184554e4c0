//! Strengths together and against the rim.

use super::{Seconds, Stops, filtered_time, times::sentence_text};

/// One filter of a stack: its strength and expanded uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Strength.
    pub stops: Stops,
    /// Expanded uncertainty at 95 %.
    pub u95: Stops,
}

/// Several filters together: transmittances multiply, so stops add; doubts add too, since
/// measurements with one camera share their systematic parts (shutter, black level, matrix).
#[must_use]
pub fn stack(parts: &[Part]) -> Part {
    let sum =
        |of: fn(&Part) -> Stops| parts.iter().fold(Stops::new(0.0), |sum, part| sum + of(part));
    Part { stops: sum(|part| part.stops), u95: sum(|part| part.u95.abs()) }
}

/// A strength in clicks of a dial in thirds: 10.35 is 31.
#[must_use]
pub fn clicks(strength: Stops) -> i64 {
    (3.0 * strength.get()).round() as i64
}

/// "31 clicks", "1 click".
#[must_use]
pub fn clicks_text(strength: Stops) -> String {
    match clicks(strength) {
        1 => "1 click".to_owned(),
        many => format!("{many} clicks"),
    }
}

/// What trusting the rim does to the exposure: measured minus rated, positive where the picture
/// comes out too dark.
#[must_use]
pub fn rim_error(measured: Stops, rated: Stops) -> Stops {
    measured - rated
}

/// The same in words: "0.35 stop too dark", "0.12 stop too bright", "right".
#[must_use]
pub fn rim_error_text(measured: Stops, rated: Stops) -> String {
    let error = rim_error(measured, rated);
    if error.abs().get() < SAME_STOPS {
        return "right".to_owned();
    }
    let way = if error.get() > 0.0 { "dark" } else { "bright" };
    format!(
        "{:.2} stop{} too {way}",
        error.abs().get(),
        if error.abs().get() > 1.0 { "s" } else { "" }
    )
}

/// Less than this is no difference to anybody with a camera (ours).
const SAME_STOPS: f64 = 0.05;

/// "a third of a stop more than rated", "as rated".
#[must_use]
pub fn against_rated(measured: Stops, rated: Stops) -> String {
    let error = rim_error(measured, rated);
    if error.abs().get() < SAME_STOPS {
        return "as rated".to_owned();
    }
    let way = if error.get() > 0.0 { "more" } else { "less" };
    format!("{} {way} than rated", amount(error.abs().get()))
}

/// An amount of stops in words, to the fraction that a photographer would say.
fn amount(stops: f64) -> String {
    const WORDS: [(f64, &str); 5] = [
        (1.0 / 3.0, "a third of a stop"),
        (0.5, "half a stop"),
        (2.0 / 3.0, "two thirds of a stop"),
        (1.0, "a stop"),
        (0.25, "a quarter of a stop"),
    ];
    let near = WORDS.iter().filter(|(value, _)| (value - stops).abs() < 0.045);
    match near.min_by(|a, b| (a.0 - stops).abs().total_cmp(&(b.0 - stops).abs())) {
        Some((_, words)) => (*words).to_owned(),
        None => format!("{stops:.2} stop{}", if stops > 1.0 { "s" } else { "" }),
    }
}

/// "a metered 1/15 becomes 82 s, not 64 s": what the true strength makes of a metered time, and,
/// where it reads differently, what the rim would have made of it.
#[must_use]
pub fn becomes(
    metered_text: &str,
    metered: Seconds,
    measured: Stops,
    rated: Option<Stops>,
) -> String {
    let true_text = sentence_text(filtered_time(metered, measured));
    let rim_text = rated.map(|rated| sentence_text(filtered_time(metered, rated)));
    match rim_text.filter(|rim| *rim != true_text) {
        Some(rim) => format!("a metered {metered_text} becomes {true_text}, not {rim}"),
        None => format!("a metered {metered_text} becomes {true_text}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exposure::DialTime;

    fn stops(value: f64) -> Stops {
        Stops::new(value)
    }

    #[test]
    fn a_dark_ten_stop_in_words() {
        // 1/16 s x 2^10.35 = 81.57 s and 1/16 s x 2^10 = 64 s, worked by hand.
        let metered = DialTime::nearest(Seconds::new(0.0625)).map(DialTime::true_time);
        assert_eq!(metered, Some(Seconds::new(0.0625)));
        assert_eq!(
            becomes("1/15", Seconds::new(0.0625), stops(10.35), Some(stops(10.0))),
            "a metered 1/15 becomes 82 s, not 64 s"
        );
        assert_eq!(against_rated(stops(10.35), stops(10.0)), "a third of a stop more than rated");
        assert_eq!(clicks_text(stops(10.35)), "31 clicks");
        assert_eq!(rim_error_text(stops(10.35), stops(10.0)), "0.35 stop too dark");
    }

    #[test]
    fn words_follow_the_size_and_the_way() {
        assert_eq!(against_rated(stops(9.97), stops(10.0)), "as rated");
        assert_eq!(against_rated(stops(9.5), stops(10.0)), "half a stop less than rated");
        assert_eq!(against_rated(stops(6.12), stops(6.0)), "0.12 stop more than rated");
        assert_eq!(against_rated(stops(7.4), stops(6.0)), "1.40 stops more than rated");
        assert_eq!(rim_error_text(stops(9.5), stops(10.0)), "0.50 stop too bright");
        assert_eq!(rim_error_text(stops(10.01), stops(10.0)), "right");
    }

    #[test]
    fn stacks_add() {
        let part = |value, u95| Part { stops: stops(value), u95: stops(u95) };
        assert_eq!(stack(&[part(6.0, 0.25), part(10.5, 0.5)]), part(16.5, 0.75));
        assert_eq!(stack(&[]), part(0.0, 0.0));
    }
}
