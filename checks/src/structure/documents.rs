//! Documents beside the frames that are well formed and wrong.

use rand::Rng;
use rand::seq::IndexedRandom;
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};
use std::path::Path;

/// Puts a `shoot.json` or a sidecar there; says what.
pub fn put(folder: &Path, shoot: &[(String, Vec<u8>)], random: &mut ChaCha8Rng) -> String {
    if random.random_ratio(1, 4) {
        let (name, _) = shoot.choose(random).unwrap();
        let file = folder.join(name).with_extension("xmp");
        let word =
            *["</rdf:li>", "Harbour Ten", "&amp;&lt;", "\u{202e}", "]]>"].choose(random).unwrap();
        let depth = *[1, 3, 60, 3000].choose(random).unwrap();
        let text = format!(
            "<x:xmpmeta><dc:subject>{}{word}{}</dc:subject>",
            "<rdf:Bag><rdf:li>".repeat(depth),
            "</rdf:li></rdf:Bag>".repeat(depth)
        );
        std::fs::write(file, text).unwrap();
        return "a sidecar of a frame".to_owned();
    }
    let mut document = planned();
    let what = spoil(&mut document, random);
    std::fs::write(folder.join("shoot.json"), document.to_string()).unwrap();
    format!("shoot.json of {what}")
}

fn planned() -> Value {
    let shot = |order: u32, state: &str, time: &str| json!({"order": order, "state": state, "dial_time": time, "count": 3});
    json!({
        "schema": "lightloss-shoot/1",
        "filter": {"name": "Quay Six", "kind": "solid", "rated": [6.0]},
        "planned": [shot(1, "bare", "1/60"), shot(2, "filtered", "1"), shot(3, "bare", "1/60")],
        "frames": []
    })
}

/// Changes one value somewhere in the document.
fn spoil(document: &mut Value, random: &mut ChaCha8Rng) -> String {
    let mut places = Vec::new();
    pointers(document, "", &mut places);
    let place = places.choose(random).unwrap();
    let others = [
        Value::Null,
        json!(-1),
        json!(0),
        json!(1e300),
        json!(4_000_000_000_u64),
        json!("dark"),
        json!("filtered"),
        json!("bare"),
        json!("variable"),
        json!("1/0"),
        json!("30s"),
        json!([]),
        json!({}),
        json!(true),
    ];
    *document.pointer_mut(place).unwrap() = others.choose(random).unwrap().clone();
    place.clone()
}

/// Every place in a document, as a pointer (RFC 6901).
fn pointers(value: &Value, at: &str, found: &mut Vec<String>) {
    found.push(at.to_owned());
    match value {
        Value::Object(map) => {
            map.iter().for_each(|(key, v)| pointers(v, &format!("{at}/{key}"), found));
        }
        Value::Array(list) => {
            list.iter().enumerate().for_each(|(i, v)| pointers(v, &format!("{at}/{i}"), found));
        }
        _ => {}
    }
}
