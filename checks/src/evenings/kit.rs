//! The photographer's filters, and the profiles that the program has of them.

use lightloss::profile::Profile;
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use serde_json::{Value, json};

/// A filter in the bag.
#[derive(Clone)]
pub struct Glass {
    pub name: &'static str,
    pub kind: &'static str,
    /// Per mark (one for fixed filters): label, loss of green, and of red and blue beyond it.
    pub marks: Vec<(Option<String>, f64, [f64; 2])>,
    /// Saddle in the corner per stop of loss, of a ring.
    pub saddle: f64,
    pub known: bool,
}

/// Filters of this photographer: three or four of his own, and sometimes a borrowed one.
pub fn bag(r: &mut ChaCha8Rng) -> Vec<Glass> {
    let solid = |name, low, high, r: &mut ChaCha8Rng| Glass {
        name,
        kind: "solid",
        marks: vec![(None, r.random_range(low..high), cast(r))],
        saddle: 0.0,
        known: true,
    };
    let mut bag = vec![
        solid("Skerry Ten", 9.6, 10.8, r),
        solid("Skerry Six", 5.7, 6.5, r),
        solid("Skerry Three", 2.7, 3.4, r),
    ];
    if r.random_bool(0.5) {
        let base = r.random_range(1.4..2.0);
        bag.push(Glass {
            name: "Dial Ring",
            kind: "variable",
            marks: dial(base, r),
            saddle: r.random_range(0.05..0.15),
            known: true,
        });
    }
    if r.random_bool(0.3) {
        bag.push(Glass {
            name: "Moor Grad",
            kind: "graduated",
            marks: vec![(None, r.random_range(1.8..3.0), [0.05, -0.05])],
            saddle: 0.0,
            known: true,
        });
    }
    if r.random_bool(0.3) {
        bag.push(Glass {
            name: "Tarn Pol",
            kind: "polariser",
            marks: vec![(None, r.random_range(1.2..1.8), cast(r).map(|c| 0.3 * c))],
            saddle: 0.0,
            known: true,
        });
    }
    if r.random_bool(0.25) {
        bag.push(Glass { known: false, ..solid("Borrowed", 3.8, 8.8, r) });
    }
    bag
}

/// Everything that a careful collector carries: eight solid filters, two rings, a graduated one and a
/// polariser.
pub fn dozen(r: &mut ChaCha8Rng) -> Vec<Glass> {
    const SOLID: [(&str, f64); 8] = [
        ("Skerry One", 1.1),
        ("Skerry Two", 2.0),
        ("Skerry Three", 3.1),
        ("Skerry Four", 4.2),
        ("Skerry Six", 6.1),
        ("Skerry Eight", 8.0),
        ("Skerry Ten", 10.2),
        ("Skerry Twelve", 12.1),
    ];
    let glass = |name, kind, marks, saddle| Glass { name, kind, marks, saddle, known: true };
    let mut bag: Vec<Glass> = SOLID
        .iter()
        .map(|&(name, loss)| glass(name, "solid", vec![(None, loss, cast(r))], 0.0))
        .collect();
    for (name, base) in [("Dial Ring", 1.6), ("Other Ring", 2.1)] {
        bag.push(glass(name, "variable", dial(base, r), 0.1));
    }
    bag.push(glass("Moor Grad", "graduated", vec![(None, 2.4, [0.05, -0.05])], 0.0));
    let colour = cast(r).map(|c| 0.3 * c);
    bag.push(glass("Tarn Pol", "polariser", vec![(None, 1.5, colour)], 0.0));
    bag
}

fn cast(r: &mut ChaCha8Rng) -> [f64; 2] {
    [r.random_range(-0.3..0.3), r.random_range(-0.3..0.3)]
}

/// Marks of a ring: label, loss, and colour beyond green, which grows with the loss.
fn dial(base: f64, r: &mut ChaCha8Rng) -> Vec<(Option<String>, f64, [f64; 2])> {
    let colour = cast(r);
    let mark = |i: u32| {
        let loss = base + 0.9 * f64::from(i) + r.random_range(-0.1..0.1);
        let share = f64::from(i) / 6.0;
        (Some((i + 1).to_string()), loss, colour.map(|c| c * (0.4 + share)))
    };
    (0..7).map(mark).collect()
}

pub fn profile(glass: &Glass, r: &mut ChaCha8Rng) -> Profile {
    let doubt = Normal::new(0.0, 0.01).unwrap();
    let settings: Vec<Value> = glass
        .marks
        .iter()
        .map(|(mark, loss, colour)| {
            let channel = |stops: f64| json!({"stops": stops, "u95": 0.03});
            let green = loss + doubt.sample(r);
            let [red, blue] = colour.map(|c| c + 0.3 * doubt.sample(r));
            let mut setting = json!({
                "mark": mark,
                "strength": {
                    "stops": green, "u95": 0.03, "density": green * std::f64::consts::LOG10_2,
                    "factor": green.exp2(), "transmittance": (-green).exp2()
                },
                "channels": {
                    "red": channel(green + red), "green": channel(green), "blue": channel(green + blue)
                },
                "cast": {
                    "gains": {"red": red.exp2(), "green": 1.0, "blue": blue.exp2()},
                    "gains_u95": {"red": 0.003, "blue": 0.003}, "words": ""
                },
                "frames": {"bare": [], "filtered": []}, "cautions": []
            });
            if glass.saddle > 0.0 {
                setting["evenness"] = evenness(glass.saddle * loss);
            }
            setting
        })
        .collect();
    let mut document = json!({
        "schema": lightloss::profile::SCHEMA,
        "made_by": {"program": "lightloss", "version": "0"},
        "filter": {"name": glass.name, "kind": glass.kind},
        "camera": {"make": "Testmaker", "model": "One", "focal_length_mm": 24.0},
        "settings": settings, "budget": [], "frames": [], "cautions": []
    });
    if glass.kind == "graduated" {
        document["graduation"] = json!({
            "dark_end_stops": glass.marks[0].1, "clear_end_stops": 0.02,
            "width_percent_of_height": 20.0, "centre_percent_of_height": 50.0, "angle": 0.0,
            "shape": "medium"
        });
    }
    serde_json::from_value(document).unwrap()
}

/// The least that a profile says of evenness: a map of a saddle.
fn evenness(corner: f64) -> Value {
    let (columns, rows) = (30, 20);
    let map: Vec<f64> = (0..columns * rows)
        .map(|i| {
            let x = (i % columns) as f64 / columns as f64 - 0.48;
            let y = (i / columns) as f64 / rows as f64 - 0.48;
            saddle(x, y, corner)
        })
        .collect();
    json!({
        "grid": {"columns": 0, "rows": 0, "stops": []},
        "spread_stops": corner, "extremes_stops": corner,
        "corners_stops": {"top_left": 0.0, "top_right": 0.0, "bottom_left": 0.0, "bottom_right": 0.0},
        "maps": {"columns": columns, "rows": rows, "red": map, "green": map, "blue": map},
        "colour_spread": {"red_green_stops": 0.0, "blue_green_stops": 0.0},
        "specks": [],
        "pattern": {
            "valid": true, "falloff_stops": 0.0, "tilt": {"stops": 0.0, "angle": 0.0},
            "saddle": {"stops": corner, "angle": 0.0}, "cross": {"stops": 0.0, "angle": 0.0},
            "residual_stops": 0.0, "noise_stops": 0.0
        },
        "dark_cross": {"state": "absent", "depth_stops": 0.0, "angle": 0.0}
    })
}

pub fn saddle(x: f64, y: f64, corner: f64) -> f64 {
    // r = 1 at the corner; r^2 cos 2(phi - 40 degrees)
    let (x, y) = (x * 1.2 / 0.72, y * 0.8 / 0.72);
    let turn = 40f64.to_radians() * 2.0;
    corner * ((x * x - y * y) * turn.cos() + 2.0 * x * y * turn.sin())
}
