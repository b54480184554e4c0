//! Two filters at once: what of them stays, and in which order they are in the kit.

use super::*;
use serde_json::json;

/// Sums in another order are rounded otherwise.
const ROUNDED: f64 = 1e-6;
const DARK_STOPS: f64 = 2.0;
const WIDTH: f64 = 0.2;

/// Loss of the six beyond its middle, by the distance from the middle of the picture: half a stop
/// in the corners.
fn uneven(x: f64, y: f64) -> f64 {
    (x - 0.5).powi(2) + (y - 0.5).powi(2)
}

fn uneven_six() -> Profile {
    across("Heron Six", SIX, uneven)
}

/// A filter that takes so much in the middle, and more elsewhere.
fn across(name: &str, middle: [f64; 3], lost: fn(f64, f64) -> f64) -> Profile {
    let side = 16;
    let at = |i: usize| (i as f64 + 0.5) / side as f64;
    let map: Vec<f64> = (0..side * side).map(|i| lost(at(i % side), at(i / side))).collect();
    let directed = json!({"stops": 0.0, "u95": null, "angle": 0.0});
    let evenness = json!({
        "grid": {"columns": 0, "rows": 0, "stops": []}, "spread_stops": 0.5,
        "extremes_stops": 0.5,
        "corners_stops": {
            "top_left": 0.5, "top_right": 0.5, "bottom_left": 0.5, "bottom_right": 0.5
        },
        "maps": {"columns": side, "rows": side, "red": map, "green": map, "blue": map},
        "colour_spread": {"red_green_stops": 0.0, "blue_green_stops": 0.0},
        "pattern": {
            "valid": true, "falloff_stops": 0.5, "falloff_u95": null, "tilt": directed,
            "saddle": directed, "cross": directed, "residual_stops": 0.0, "noise_stops": 0.0
        },
        "dark_cross": {"state": "absent", "depth_stops": 0.0, "angle": null}
    });
    let mut of = profile(name, "solid", &[(None, middle)]);
    of.settings[0].evenness = Some(serde_json::from_value(evenness).unwrap());
    of
}

fn graduated() -> Profile {
    let mut edge = profile("Heron Edge", "graduated", &[(None, [2.05, 2.0, 1.95])]);
    let graduation = json!({
        "dark_end_stops": DARK_STOPS, "clear_end_stops": 0.02,
        "width_percent_of_height": 100.0 * WIDTH, "centre_percent_of_height": 50.0, "angle": 0.0,
        "shape": "medium"
    });
    edge.graduation = Some(serde_json::from_value(graduation).unwrap());
    edge
}

/// What lies across the frame, taken out of the light of a picture.
fn behind(mut picture: Picture, stops: impl Fn(f64, f64) -> f64) -> Picture {
    let scene = picture.scene.as_mut().unwrap();
    let (columns, rows) = (scene.columns, scene.rows);
    for (i, cell) in scene.cells.iter_mut().enumerate() {
        let (x, y) = ((i % columns) as f64, (i / columns) as f64);
        let lost = stops((x + 0.5) / columns as f64, (y + 0.5) / rows as f64) as f32;
        cell.iter_mut().for_each(|c| *c -= lost);
    }
    picture
}

/// An uneven filter and a graduated one together, at the head of a scene and later in it, as its line
/// moves: a kit is a bag, and its order says nothing.
#[test]
fn the_order_of_a_kit_changes_nothing() {
    let both = |clock, seconds, line: f64, light| {
        let dark = move |y: f64| DARK_STOPS * (0.5 - (y - line) / WIDTH).clamp(0.0, 1.0);
        behind(at(clock, 0, seconds, SIX, light), move |x, y| uneven(x, y) + dark(y))
    };
    let edge = |clock, seconds, line: f64, light| {
        let dark = move |y: f64| DARK_STOPS * (0.5 - (y - line) / WIDTH).clamp(0.0, 1.0);
        behind(at(clock, 0, seconds, BARE, light), move |_, y| dark(y))
    };
    let pictures = [
        both("18:00:00", 1.0, 0.45, 12.0),
        both("18:01:00", 1.0, 0.6, 12.0),
        edge("18:02:00", 1.0 / 64.0, 0.6, 12.0),
        at("18:03:00", 0, 1.0 / 64.0, BARE, 12.0),
        both("18:04:00", 1.0, 0.35, 12.0),
    ];
    let kit = [uneven_six(), graduated(), profile("Heron Ten", "solid", &[(None, TEN)])];
    let found = same_in_any_order(&pictures, &kit, &[&[1, 0, 2], &[2, 1, 0], &[0, 2, 1]]);
    assert_eq!(names(&found[4]), Some(vec![0, 1]), "{found:#?}");
}

/// Two filters together, either darker in other places than the other.
#[test]
fn two_uneven_filters_are_found_in_any_order() {
    let slanted = |x: f64, y: f64| 0.15 * (x - y);
    let kit = [across("Heron Six", SIX, uneven), across("Heron Ten", TEN, slanted)];
    let pictures = [
        behind(at("18:00:00", 0, 32.0, BOTH, 12.0), move |x, y| uneven(x, y) + slanted(x, y)),
        behind(at("18:01:00", 0, 32.0, BOTH, 12.0), move |x, y| uneven(x, y) + slanted(x, y)),
        behind(at("18:02:00", 0, 0.5, TEN, 12.0), slanted),
        at("18:03:00", 0, 1.0 / 2048.0, BARE, 12.0),
    ];
    let found = same_in_any_order(&pictures, &kit, &[&[1, 0]]);
    assert_eq!(names(&found[1]), Some(vec![0, 1]), "{found:#?}");
}

/// What is found with the kit as it is, the same in other orders of it.
fn same_in_any_order(pictures: &[Picture], kit: &[Profile], orders: &[&[usize]]) -> Vec<Finding> {
    let of = |order: &[usize]| -> Vec<Finding> {
        let kit: Vec<Profile> = order.iter().map(|&own| kit[own].clone()).collect();
        let in_place = |mut finding: Finding| {
            if let Verdict::Through(used) = &mut finding.verdict {
                used.iter_mut().for_each(|u| u.filter = order[u.filter]);
                used.sort_by_key(|u| u.filter);
            }
            finding.impossible = finding.impossible.iter().map(|&own| order[own]).collect();
            finding.impossible.sort_unstable();
            // Words name filters in the order of the kit.
            Finding { note: String::new(), ..finding }
        };
        judged(pictures, &kit).into_iter().map(in_place).collect()
    };
    let as_it_is: Vec<usize> = (0..kit.len()).collect();
    let found = of(&as_it_is);
    for order in orders {
        for (one, other) in found.iter().zip(of(order)) {
            assert!((one.probability - other.probability).abs() < ROUNDED, "{one:?} {other:?}");
            let other = Finding { probability: one.probability, ..other };
            assert_eq!(*one, Finding { note: one.note.clone(), ..other }, "{order:?}");
        }
    }
    found
}

/// A six before a ring, both off and on: each time the six comes off, the ring is turned to another mark,
/// four stops fewer in all. A filter of four stops and none would show as much, but for the ring's cast.
#[test]
fn a_ring_that_is_turned_as_another_comes_off_is_not_called_bare() {
    let evening = |cast: f64| {
        let mark = |stops: f64| [stops, stops, stops * (1.0 + cast)];
        let kit = [
            profile("Heron Six", "solid", &[(None, [6.05; 3])]),
            profile(
                "Heron Dial",
                "variable",
                &[(Some("1"), mark(1.5)), (Some("2"), mark(2.5)), (Some("3"), mark(3.5))],
            ),
            profile("Heron Four", "solid", &[(None, [4.05; 3])]),
        ];
        let both = |clock| at(clock, 0, 0.73, mark(1.5).map(|stops| stops + 6.05), 14.0);
        let ring = |clock| at(clock, 0, 1.0 / 22.6, mark(3.5), 14.0);
        let pictures = [
            both("18:00:00"),
            ring("18:01:00"),
            both("18:02:00"),
            ring("18:03:00"),
            both("18:04:00"),
            ring("18:05:00"),
            both("18:06:00"),
            ring("18:07:00"),
        ];
        judged(&pictures, &kit)
    };
    // A cast of a tenth of a stop leaves it open, a little more of one makes the ring likelier.
    for finding in evening(0.031) {
        assert!(!(finding.sure && finding.verdict == Verdict::Bare), "{finding:?}");
    }
    for finding in evening(0.037) {
        assert_ne!(finding.verdict, Verdict::Bare, "{finding:?}");
    }
}

/// A polariser takes half a stop more of the sky than of the land: no graduation has moved.
#[test]
fn a_polariser_that_darkens_the_sky_is_no_graduation() {
    let kit = [
        profile("Heron Pol", "polariser", &[(None, [1.55, 1.5, 1.5])]),
        graduated(),
        profile("Heron Ten", "solid", &[(None, TEN)]),
    ];
    let through = |clock| {
        let picture = at(clock, 0, 1.0 / 16.0, [1.55, 1.5, 1.5], 9.5);
        behind(picture, |_, y| if y < 0.4 { 0.5 } else { 0.0 })
    };
    let pictures = [
        through("18:00:00"),
        through("18:01:00"),
        at("18:02:00", 0, 1.0 / 45.0, BARE, 9.5),
        through("18:03:00"),
        at("18:04:00", 0, 32.0, TEN, 9.5),
    ];
    for finding in judged(&pictures, &kit) {
        assert!(names(&finding).is_none_or(|on| !on.contains(&1)), "{finding:?}");
    }
}
