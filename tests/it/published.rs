//! Checks against published numbers; each names its source.

#![allow(clippy::unwrap_used)]

mod colour;

use lightloss::exposure::{
    DialTime, Times, filtered_time, parse_rating, parse_time, sentence_text, true_f_number,
    true_iso, true_time,
};
use lightloss::quantity::{Density, FNumber, Iso, Ratio, Seconds, Stops};
use serde_json::Value;

pub(crate) fn fixture(name: &str) -> Value {
    let path = format!("{}/fixtures/{name}", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

pub(crate) fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

/// ISO 5-1 (from memory): D = -log10(transmittance); stops are its base-two sister. Values worked
/// by hand to four places: marked density, stops, percent, factor.
#[test]
fn density_stops_and_factors() {
    for (density, stops, percent, factor) in [
        (0.3, 0.9966, 50.119, 1.9953),
        (0.9, 2.9897, 12.589, 7.9433),
        (1.8, 5.9795, 1.5849, 63.096),
        (3.0, 9.9658, 0.1, 1000.0),
        (4.5, 14.9487, 0.003_162_3, 31623.0),
    ] {
        let strength = Density::new(density).stops();
        assert!((strength.get() - stops).abs() < 5e-5, "{density}");
        assert!((strength.density().get() - density).abs() < 1e-12);
        assert!((100.0 * strength.transmittance().get() / percent - 1.0).abs() < 5e-5);
        assert!((strength.factor().get() / factor - 1.0).abs() < 5e-5);
    }
    let halved = Stops::from_transmittance(Ratio::new(0.5));
    assert_eq!(halved.get(), 1.0);
}

/// A handbook's table of filter factors and stops in thirds (ISBN 0-87985-749-8, p. 53), rounded
/// to thirds there.
#[test]
fn filter_factors_in_thirds() {
    const THIRD_ROUNDED: f64 = 1.0 / 6.0;
    for (factor, stops) in [
        ("1.25x", 1.0 / 3.0),
        ("2x", 1.0),
        ("2.5x", 4.0 / 3.0),
        ("3x", 5.0 / 3.0),
        ("4x", 2.0),
        ("5x", 7.0 / 3.0),
        ("6x", 8.0 / 3.0),
        ("8x", 3.0),
        ("10x", 10.0 / 3.0),
        ("12x", 11.0 / 3.0),
        ("40x", 16.0 / 3.0),
        ("100x", 20.0 / 3.0),
        ("1000x", 10.0),
    ] {
        let read = parse_rating(factor).unwrap().single().unwrap().get();
        assert!((read - stops).abs() < THIRD_ROUNDED, "{factor}: {read}");
    }
}

/// Markings after ISO 516 and ISO 517, powers of two behind them (common practice, no source).
#[test]
fn dial_and_true_series() {
    let series = fixture("exposure_series.json");
    let times = series["shutter"].as_array().unwrap();
    assert_eq!(times.len(), 55);
    for row in times {
        let marked = row["marked"].as_str().unwrap();
        let given = parse_time(marked).unwrap();
        assert_eq!(given.dial().unwrap().text(), marked);
        assert!((given.true_time(Times::Dial).get() / number(&row["true_s"]) - 1.0).abs() < 1e-12);
        assert_eq!(given.true_time(Times::Exact), given.seconds());
        let difference = given.dial().unwrap().difference().get();
        assert!((difference - number(&row["err_stops"])).abs() < 1e-12, "{marked}");
        let nearest = DialTime::nearest(Seconds::new(number(&row["true_s"]))).unwrap();
        assert_eq!(nearest.text(), marked);
    }
    let apertures = series["fnumber"].as_array().unwrap();
    assert_eq!(apertures.len(), 31);
    for row in apertures {
        let read = true_f_number(FNumber::new(number(&row["marked"]))).get();
        assert!((read / number(&row["true"]) - 1.0).abs() < 1e-12, "{}", row["marked"]);
    }
    // ISO 12232 settings are doublings of 100 with thirds between (common practice, no source).
    for (marked, exact) in
        [(64.0, 62.996), (160.0, 158.740), (1250.0, 1269.921), (25600.0, 25600.0)]
    {
        assert!((true_iso(Iso::new(marked)).get() - exact).abs() < 1e-3, "{marked}");
    }
    assert_eq!(true_iso(Iso::new(110.0)).get(), 110.0);
}

/// APEX (ANSI PH2.5-1960, from memory; Exif repeats it): Av + Tv = Ev. f/8 at 1/125 is EV 13 once
/// the true 1/128 s is taken.
#[test]
fn exposure_values_add_up() {
    let aperture = true_f_number(FNumber::new(8.0)).get();
    let time = true_time(Seconds::new(1.0 / 125.0), Times::Dial).get();
    let value = 2.0 * aperture.log2() - time.log2();
    assert!((value - 13.0).abs() < 1e-12);
}

/// 1/15 s with ten stops is about a minute; each stop doubles the time (common practice, no
/// source).
#[test]
fn ten_stops_make_a_fifteenth_about_a_minute() {
    let metered = parse_time("1/15").unwrap().true_time(Times::Dial);
    let minute = filtered_time(metered, Stops::new(10.0));
    assert_eq!(minute.get(), 64.0);
    let double = filtered_time(metered, Stops::new(11.0));
    assert_eq!(double.get(), 2.0 * minute.get());
    assert_eq!(sentence_text(filtered_time(metered, Stops::new(10.35))), "82 s");
}

/// Times through filters of whole stops from powers of two, worked by doubling.
#[test]
fn tables_of_times() {
    for (metered, three, six, ten) in [
        ("1/125", 0.0625, 0.5, 8.0),
        ("1/60", 0.125, 1.0, 16.0),
        ("1/30", 0.25, 2.0, 32.0),
        ("1/8", 1.0, 8.0, 128.0),
        ("1", 8.0, 64.0, 1024.0),
    ] {
        let time = parse_time(metered).unwrap().true_time(Times::Dial);
        for (stops, expected) in [(3.0, three), (6.0, six), (10.0, ten)] {
            assert_eq!(filtered_time(time, Stops::new(stops)).get(), expected, "{metered}");
        }
    }
}
