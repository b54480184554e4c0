//! Damage to documents that stays JSON or CSV, so that it reaches what reads the values.

use super::mutations::{Damage, Mutated, text_damage};
use rand::Rng;
use rand::seq::IndexedRandom;
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};

/// Half of them by their bytes, half by their values.
pub fn json_damage(text: &str, random: &mut ChaCha8Rng, others: &[u8]) -> Mutated {
    if random.random_bool(0.2) {
        return text_damage(text.as_bytes(), random, others);
    }
    let mut value: Value = serde_json::from_str(text).unwrap();
    let paths = paths(&value);
    let mut damage = Damage::AbsurdNumbers;
    for _ in 0..random.random_range(1..3) {
        damage = change(&mut value, paths.choose(random).unwrap(), random);
    }
    Mutated { bytes: value.to_string().into_bytes(), damage, lacks_pixels: false }
}

/// Every place in a document; of long lists the first few.
fn paths(value: &Value) -> Vec<String> {
    let mut found = Vec::new();
    let mut waiting = vec![(String::new(), value)];
    while let Some((path, value)) = waiting.pop() {
        match value {
            Value::Object(map) => {
                waiting.extend(map.iter().map(|(k, v)| (format!("{path}/{k}"), v)));
            }
            Value::Array(list) => {
                let few = list.iter().take(3).enumerate();
                waiting.extend(few.map(|(i, v)| (format!("{path}/{i}"), v)));
            }
            _ => {}
        }
        if !path.is_empty() {
            found.push(path);
        }
    }
    found
}

fn change(value: &mut Value, path: &str, random: &mut ChaCha8Rng) -> Damage {
    let (parent, key) = path.rsplit_once('/').unwrap();
    match random.random_range(0..8) {
        0 => {
            match value.pointer_mut(parent) {
                Some(Value::Object(map)) => _ = map.remove(key),
                Some(Value::Array(list)) => list.clear(),
                _ => {}
            }
            Damage::Cut
        }
        1 => {
            // A part of the document in another place.
            let paths = paths(value);
            let from = value.pointer(paths.choose(random).unwrap()).cloned();
            if let (Some(from), Some(place)) = (from, value.pointer_mut(path)) {
                *place = from;
            }
            Damage::SwappedTags
        }
        2 => {
            if let Some(Value::Array(list)) = value.pointer_mut(path) {
                let times = random.random_range(0..4);
                *list = std::iter::repeat_n(list.clone(), times).flatten().take(100_000).collect();
            } else if let Some(place) = value.pointer_mut(path) {
                *place = nested(random.random_range(1..300));
            }
            Damage::Loop
        }
        _ => {
            if let Some(place) = value.pointer_mut(path) {
                let absurd = absurd(place, random);
                *place = absurd;
            }
            Damage::AbsurdNumbers
        }
    }
}

fn nested(depth: usize) -> Value {
    (0..depth).fold(json!(1), |inner, _| Value::Array(vec![inner]))
}

/// Of the same type mostly, so that it is not refused at once.
fn absurd(value: &Value, random: &mut ChaCha8Rng) -> Value {
    const NUMBERS: [f64; 20] = [
        0.0, -0.0, 1.0, -1.0, 0.5, 1e-9, -1e-9, 5e-324, 1e-300, 1e308, -1e308, 40.0, -40.0, 360.0,
        1000.0, 1e6, 1e9, 1e15, -1e15, 1e19,
    ];
    const INTEGERS: [u64; 9] = [0, 1, 2, 3, 64, 65_535, 1 << 31, 1 << 32, u64::MAX];
    const TEXTS: [&str; 14] = [
        "",
        " ",
        "../../escape",
        "/etc/escape",
        "a/b\\c:d",
        "\0",
        "=1+1",
        "<script>alert(1)</script>",
        "\u{202e}tfel",
        "\u{1f4f7}\u{fe0f}",
        "lightloss-profile/2",
        "lightloss-profile/1",
        "null",
        "-",
    ];
    let other =
        [json!(null), json!(true), json!([]), json!({}), json!("x"), json!(-1), json!([[1e300]])];
    if random.random_bool(0.15) {
        return other.choose(random).unwrap().clone();
    }
    match value {
        Value::Number(n) if n.is_u64() && random.random_bool(0.6) => {
            json!(INTEGERS.choose(random).unwrap())
        }
        Value::Number(n) if random.random_bool(0.3) => {
            json!(n.as_f64().unwrap_or(0.0) * [-1.0, 10.0, 1e-3, 1e6].choose(random).unwrap())
        }
        Value::Number(_) => json!(NUMBERS.choose(random).unwrap()),
        Value::String(_) if random.random_bool(0.1) => json!("n".repeat(20_000)),
        Value::String(_) => json!(TEXTS.choose(random).unwrap()),
        Value::Null if random.random_bool(0.7) => json!(NUMBERS.choose(random).unwrap()),
        _ => other.choose(random).unwrap().clone(),
    }
}

/// Damage to a table: by its bytes, or cells that say something else.
pub fn csv_damage(text: &str, random: &mut ChaCha8Rng, others: &[u8]) -> Mutated {
    const CELLS: [&str; 14] = [
        "",
        "none",
        "?",
        "Quay Six + Quay Six",
        " + ",
        "=cmd|' /C calc'!A0",
        "'=x",
        "../../escape.dng",
        "/dev/zero",
        "99999999999999999999",
        "\"",
        "a\"b",
        "-",
        "\u{feff}file",
    ];
    if random.random_bool(0.5) {
        return text_damage(text.as_bytes(), random, others);
    }
    let delimiter = if text.contains(';') { ';' } else { ',' };
    let mut rows: Vec<Vec<String>> =
        text.lines().map(|l| l.split(delimiter).map(str::to_owned).collect()).collect();
    let mut damage = Damage::AbsurdNumbers;
    for _ in 0..random.random_range(1..4) {
        let row = random.random_range(0..rows.len());
        let cells = rows[row].len();
        let cell = random.random_range(0..cells);
        match random.random_range(0..5) {
            0 => {
                let other = random.random_range(0..rows.len());
                rows.swap(row, other);
                damage = Damage::SwappedTags;
            }
            1 => {
                let again = rows[row].clone();
                rows.insert(row, again);
                damage = Damage::Spliced;
            }
            2 => {
                rows[row].truncate(cell.max(1));
                damage = Damage::Cut;
            }
            3 => rows[row][cell] = "n".repeat(70_000),
            _ => rows[row][cell] = (*CELLS.choose(random).unwrap()).to_owned(),
        }
    }
    let delimiter = delimiter.to_string();
    let text: Vec<String> = rows.iter().map(|r| r.join(&delimiter)).collect();
    Mutated { bytes: text.join("\n").into_bytes(), damage, lacks_pixels: false }
}
