//! Comparisons of planted differences.

use super::profiles;
use lightloss::compare::leak::LeakVerdict;
use lightloss::compare::sharing::Sameness;
use lightloss::compare::{CompareError, Comparison, compare};
use lightloss::profile::{BudgetKind, BudgetLine, CautionRecord, FrameState, Grade, Profile};
use lightloss::quantity::{Kelvin, Stops};
use lightloss::report::compare_page::compare_page;
use lightloss::report::compare_page::compare_text;

fn compared(first: &Profile, second: &Profile) -> Comparison {
    compare(first, second).expect("a comparison")
}

fn sameness(comparison: &Comparison, what: &str) -> Sameness {
    comparison.shared.iter().find(|s| s.what == what).expect("the respect").sameness
}

#[test]
fn a_year_of_wear_is_found() {
    const ROUNDING_OF_GAINS: f64 = 2e-4;
    let (first, mut second) = (profiles::harbour_ten(), profiles::harbour_ten_later());
    // By another body: what one is off by twice, cancels.
    second.camera.serial = Some("000418".to_owned());
    let found = compared(&first, &second);
    let one = &found.settings[0];
    // Planted: 10.352 and 10.231 with 0.031 and 0.029.
    assert!((one.strength.difference + 0.121).abs() < 1e-9);
    assert!((one.strength.u95 - (0.031_f64.powi(2) + 0.029_f64.powi(2)).sqrt()).abs() < 1e-9);
    assert!(one.strength.shows());
    // Planted: 0.214 and 0.205 red, -0.061 and -0.058 blue; the gains' doubts are 0.0041 and 0.0048.
    assert!((one.red_green.difference + 0.009).abs() < ROUNDING_OF_GAINS);
    assert!((one.blue_green.difference - 0.003).abs() < ROUNDING_OF_GAINS);
    let gain = 0.214_f64.exp2();
    let expected = std::f64::consts::SQRT_2 * 0.0041 / (gain * std::f64::consts::LN_2);
    assert!((one.red_green.u95 - expected).abs() < ROUNDING_OF_GAINS);
    // The worn place: right of the middle, below it.
    let map = one.evenness.as_ref().and_then(|e| e.map.as_ref()).expect("maps of one grid");
    let at = |x: f64, y: f64| {
        let column = (x * map.columns as f64) as usize;
        let row = (y * map.rows as f64) as usize;
        map.stops[row * map.columns + column].expect("known")
    };
    assert!(at(0.9, 0.87) < -0.4, "{}", at(0.9, 0.87));
    assert!(at(0.2, 0.2).abs() < 0.03, "{}", at(0.2, 0.2));
    assert!(found.leak.is_none());
}

#[test]
fn what_one_body_is_off_by_counts_once() {
    let first = profiles::harbour_ten();
    let line = |source: &str, stops| BudgetLine {
        source: source.to_owned(),
        kind: BudgetKind::B,
        stops: Stops::new(stops),
    };
    let u95 = first.settings[0].strength.u95.get();
    let of = |lines: &[BudgetLine], change: &dyn Fn(&mut Profile)| {
        let (mut a, mut b) = (first.clone(), first.clone());
        (a.budget, b.budget) = (lines.to_vec(), lines.to_vec());
        change(&mut b);
        compared(&a, &b).settings[0].strength.u95 / u95
    };
    let same = |_: &mut Profile| ();
    let near = |found: f64, expected: f64| {
        assert!((found - expected).abs() < 1e-9, "{found} for {expected}");
    };
    let shutter = [line(BudgetLine::SHUTTER, 0.02)];
    // Three quarters of its variance stay: 1 + 1 - 2 x 0.75.
    near(of(&shutter, &same), 0.5_f64.sqrt());
    near(of(&shutter, &|b| b.camera.serial = None), 2_f64.sqrt());
    near(of(&shutter, &|b| b.camera.serial = Some("000418".to_owned())), 2_f64.sqrt());
    let at_another_time = |b: &mut Profile| {
        let filtered = b.frames.iter_mut().find(|f| f.state == FrameState::Setting);
        filtered.expect("a filtered frame").dial_time = Some("25".to_owned());
    };
    near(of(&shutter, &at_another_time), 2_f64.sqrt());
    // A black level is the body's own; the light is each day's.
    near(of(&[line(BudgetLine::BLACK, 0.02)], &same), 0.0);
    near(of(&[line("drift of the light", 0.02)], &same), 2_f64.sqrt());
    // 0.6 and 0.8: 2 - 1.5 x 0.36.
    let both = [line(BudgetLine::SHUTTER, 0.03), line("drift of the light", 0.04)];
    near(of(&both, &same), (2.0_f64 - 1.5 * 0.36).sqrt());
}

#[test]
fn a_profile_does_not_differ_from_itself() {
    for (name, profile) in profiles::all() {
        let found = compared(&profile, &profile);
        for one in &found.settings {
            let all = one.channels.iter().chain([&one.strength, &one.red_green, &one.blue_green]);
            for difference in all.chain(&one.mired) {
                assert!(difference.difference == 0.0 && !difference.shows(), "{name}");
            }
        }
        assert!(found.leak.is_none() && found.only_first.is_empty(), "{name}");
        // Its frames are its own: the two are not independent.
        assert_eq!(sameness(&found, "frames"), Sameness::Same, "{name}");
    }
}

#[test]
fn a_red_leak_shows_under_the_lamp_whichever_comes_first() {
    let (white, lamp) = (profiles::harbour_ten(), profiles::harbour_ten_lamp());
    for (a, b, tungsten_first) in [(&white, &lamp, false), (&lamp, &white, true)] {
        let leak = compared(a, b).leak.expect("two lights");
        // Planted: 0.083 under the lamp minus 0.214 in daylight.
        assert!((leak.x + 0.131).abs() < 2e-4, "{}", leak.x);
        assert_eq!((leak.verdict, leak.tungsten_first), (LeakVerdict::Leak, tungsten_first));
        assert!(leak.same_model);
    }
    let mut grey = lamp.clone();
    grey.settings[0].cast.gains = white.settings[0].cast.gains;
    assert_eq!(compared(&white, &grey).leak.expect("two lights").verdict, LeakVerdict::NoSign);
    grey.settings[0].cast.gains_u95.red = lightloss::quantity::Ratio::new(0.1);
    assert_eq!(compared(&white, &grey).leak.expect("two lights").verdict, LeakVerdict::Undecided);
    // Two lamps, or two daylights, are no check.
    assert!(compared(&lamp, &lamp).leak.is_none());
    let mut warm = lamp.clone();
    warm.light.as_mut().expect("a light").cct_k = Kelvin::new(3500.0);
    assert!(compared(&white, &warm).leak.is_none());
}

#[test]
fn marks_are_matched_by_name() {
    let first = profiles::tide_ring();
    let mut second = profiles::tide_ring();
    second.settings.remove(0);
    second.settings[2].strength.stops = second.settings[2].strength.stops + Stops::new(0.2);
    second.settings[6].mark = Some("max".to_owned());
    let found = compared(&first, &second);
    assert_eq!(found.only_first, ["1", "8"]);
    assert_eq!(found.only_second, ["max"]);
    let differing: Vec<_> =
        found.settings.iter().filter(|s| s.strength.shows()).map(|s| s.mark.clone()).collect();
    assert_eq!(differing, [Some("4".to_owned())]);
    let html = compare_page(&first, &second, &found).expect("a page").html;
    assert!(
        html.contains(
            "1 of 6 marks differs by more than its uncertainty; the largest difference, the second minus the first, is"
        )
    );
    assert!(
        html.contains("Mark max stand") || html.contains("Mark max "),
        "lonely marks are named"
    );
}

#[test]
fn what_cannot_be_compared_is_refused_with_its_names() {
    let error = compare(&profiles::harbour_ten(), &profiles::tide_ring()).expect_err("two kinds");
    assert!(matches!(error, CompareError::Kinds { .. }));
    let text = error.to_string();
    assert!(text.contains("Harbour Ten") && text.contains("variable"), "{text}");
    let mut other = profiles::tide_ring();
    for setting in &mut other.settings {
        setting.mark = setting.mark.as_ref().map(|m| format!("line {m}"));
    }
    let text = compare(&profiles::tide_ring(), &other).expect_err("no mark in common").to_string();
    assert!(text.contains("line 1"), "{text}");
}

#[test]
fn what_is_shared_is_said() {
    let first = profiles::harbour_ten();
    let mut second = profiles::harbour_ten_later();
    let found = compared(&first, &second);
    for (what, expected) in [
        ("frames", Sameness::Differs),
        ("camera", Sameness::Same),
        ("lens", Sameness::Same),
        ("shutter times", Sameness::Same),
        ("bare light", Sameness::Same),
    ] {
        assert_eq!(sameness(&found, what), expected, "{what}");
    }
    second.camera.serial = Some("other".to_owned());
    second.camera.focal_length_mm = None;
    second.light = None;
    let found = compared(&first, &second);
    for (what, expected) in [
        ("camera", Sameness::Differs),
        ("lens", Sameness::Differs),
        ("bare light", Sameness::Unknown),
    ] {
        assert_eq!(sameness(&found, what), expected, "{what}");
    }
}

#[test]
fn the_terminal_gets_the_answer_first_and_at_most_80_columns() {
    let (first, second) = (profiles::harbour_ten(), profiles::harbour_ten_lamp());
    let text = compare_text(&first, &second, &compared(&first, &second), false);
    let words: Vec<&str> = text.split_whitespace().collect();
    let answer = "No difference in strength shows: Harbour Ten of 2027-10-11 takes 0.008 +- ";
    assert!(words.join(" ").starts_with(answer), "{text}");
    assert!(words.join(" ").contains("x = -0.131 +- 0.008 stop"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    assert!(text.is_ascii(), "{text}");
}

#[test]
fn hostile_names_do_nothing_to_a_comparison() {
    let profile = profiles::odd_names();
    let html =
        compare_page(&profile, &profile, &compared(&profile, &profile)).expect("a page").html;
    for raw in ["<script", "<img", "<b>", "<Field"] {
        assert!(!html.contains(raw), "{raw}");
    }
}

#[test]
fn the_two_are_named_and_every_figure_is_the_same_on_page_and_terminal() {
    let (first, second) = (profiles::harbour_ten(), profiles::harbour_ten_later());
    let found = compared(&first, &second);
    let html = compare_page(&first, &second, &found).expect("a page").html;
    let text = compare_text(&first, &second, &found, false);
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    // One name and two days: days tell them apart. Planted: 0.121 with 0.031^2 + 0.029^2, less two
    // covariances of 0.031 x 0.029: three quarters of (141/150.5)^2, and (9/150.5)^2.
    assert!(flat.contains("takes 0.121 +- 0.025 stop less than Harbour Ten of 2"), "{flat}");
    assert!(!flat.contains("The second takes") && !html.contains("The second takes"));
    let figures =
        html.replace(['\u{a0}', '\n'], " ").replace('\u{2212}', "-").replace('\u{b1}', "+-");
    let mut compared = 0;
    for (name, difference) in lightloss::say::comparison::rows(&found, first.filter.kind) {
        let shown = lightloss::say::figures::plain(&lightloss::say::figures::signed_with_doubt(
            difference.difference,
            difference.u95,
        ));
        assert!(flat.contains(&format!("{name} ")) && flat.contains(&shown), "{name}: {flat}");
        assert!(figures.contains(&shown), "{name}: {shown}");
        compared += 1;
    }
    assert!(compared >= 6);
    // Two graduations: a verdict with the uncertainty of both.
    let (mut a, mut b) = (profiles::moor_edge(), profiles::moor_edge());
    b.filter.name = "Fell Edge".to_owned();
    let (one, two) = (a.graduation.as_mut().expect("an edge"), b.graduation.as_mut().expect("one"));
    (one.dark_end_stops, one.dark_end_u95) = (Stops::new(3.0), Some(Stops::new(0.03)));
    (two.dark_end_stops, two.dark_end_u95) = (Stops::new(3.2), Some(Stops::new(0.04)));
    let text = compare_text(&a, &b, &compare(&a, &b).expect("two of a kind"), false);
    assert!(text.contains("Fell Edge takes 0.20 +- 0.05 stop more than Moor Edge"), "{text}");
}

/// Profiles hold plain signs; every page prints the typographic one, the terminal the plain one.
#[test]
fn cautions_are_printed_in_the_signs_of_their_place() {
    let mut profile = profiles::harbour_ten();
    profile.cautions.push(CautionRecord {
        code: "tried".into(),
        grade: Grade::Number,
        text: "Off by 0.30 +- 0.05 stop.".into(),
    });
    let found = compared(&profile, &profile);
    let compared = compare_page(&profile, &profile, &found).expect("a page").html;
    let report = lightloss::report::page(&profile).expect("a page").html;
    for page in [compared, report] {
        assert!(page.contains("Off by 0.30 \u{b1} 0.05 stop.") && !page.contains("+-"));
    }
    let page = std::path::Path::new("report.html");
    let told = lightloss::report::terminal::summary(&profile, page, false);
    assert!(told.contains("Off by 0.30 +- 0.05 stop.") && told.is_ascii(), "{told}");
}
