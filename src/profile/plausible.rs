//! Numbers that no filter, lens or camera has. What reads a profile draws axes and tables over its
//! numbers, so a damaged one must not ask for a billion ticks.

use crate::exposure::limits::{F_NUMBER, FOCAL_MM, GAIN, ISO, SENSOR_MM, TIME_S};
use serde_json::Value;

/// Stops, either way: 64 are a factor of 10^19, beyond any light that can be measured; columns and
/// rows of maps, 64 at most, stay within it, too.
const MOST_STOPS: f64 = 64.0;
/// The curve across a graduation: percent of the height and stops side by side.
const MOST_ALONG: f64 = 200.0;
/// Factors, times and all others.
const MOST: f64 = 1e18;

/// The first number that cannot be: where it stands and what it is.
pub(super) fn implausible(document: &Value) -> Option<(String, f64)> {
    let mut waiting = vec![(String::new(), MOST, document)];
    while let Some((path, most, value)) = waiting.pop() {
        if let Some(found) = beyond_its_kind(&path, value) {
            return Some((path.trim_start_matches('/').to_owned(), found));
        }
        match value {
            Value::Object(map) => {
                // An uncertainty beside a strength is in stops as well.
                let in_stops = map.contains_key("stops");
                waiting.extend(map.iter().map(|(key, value)| {
                    let stops =
                        key.contains("stops") || key == "maps" || (in_stops && key == "u95");
                    let own = match key.as_str() {
                        _ if stops => MOST_STOPS,
                        "profile" => MOST_ALONG,
                        _ => MOST,
                    };
                    (format!("{path}/{key}"), own.min(most), value)
                }));
            }
            Value::Array(list) => {
                let inside = list.iter().enumerate();
                waiting.extend(inside.map(|(i, value)| (format!("{path}/{i}"), most, value)));
            }
            Value::Number(number) => {
                let number = number.as_f64().unwrap_or(f64::INFINITY);
                if number.is_nan() || number.abs() > most {
                    return Some((path.trim_start_matches('/').to_owned(), number));
                }
            }
            Value::Null | Value::Bool(_) | Value::String(_) => {}
        }
    }
    None
}

/// A number outside the range that its own name has.
fn beyond_its_kind(path: &str, value: &Value) -> Option<f64> {
    let mut keys = path.rsplit('/');
    let (key, within) = (keys.next()?, keys.next());
    let is_doubt = key == "u95" || key.ends_with("_u95") || within == Some("gains_u95");
    let range = match key {
        _ if is_doubt => 0.0..=MOST,
        "iso" => ISO,
        "f_number" => F_NUMBER,
        "focal_length_mm" => FOCAL_MM,
        "exposure_s" => TIME_S,
        "red" | "green" | "blue" if within == Some("gains") => GAIN,
        "width" | "height" if within == Some("sensor_mm") => SENSOR_MM,
        _ => return None,
    };
    value.as_f64().filter(|number| !range.contains(number))
}

/// Two numbers of a profile that ought to be one.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Disagreement {
    /// Where the first stands.
    pub place: String,
    /// What it is.
    pub found: f64,
    /// Where the second stands.
    pub other: String,
    /// What the first would have to be by it.
    pub told: f64,
}

/// Numbers that say the same may differ by so many stops: each may have been rounded (ours).
const AGREE_STOPS: f64 = 0.05;

/// The strength is that of green; a gain is what the channel takes beyond green, as a factor.
pub(super) fn disagreement(document: &Value) -> Option<Disagreement> {
    let settings = document.get("settings")?.as_array()?;
    let of = |(number, setting): (usize, &Value)| {
        let at = |place: &str| setting.pointer(place).and_then(Value::as_f64);
        let full = |place: &str| format!("settings/{number}{place}");
        let stops = |channel: &str| at(&format!("/channels/{channel}/stops"));
        let (strength, green) = ("/strength/stops", "/channels/green/stops");
        let differs = |a: f64, b: f64| (a - b).abs() > AGREE_STOPS;
        if let (Some(found), Some(told)) = (at(strength), at(green))
            && differs(found, told)
        {
            return Some(Disagreement { place: full(strength), found, other: full(green), told });
        }
        ["red", "blue"].into_iter().find_map(|channel| {
            let place = format!("/cast/gains/{channel}");
            let (gain, of_green) = (at(&place)?, at("/cast/gains/green")?);
            let beyond = stops(channel)? - stops("green")?;
            differs((gain / of_green).log2(), beyond).then(|| Disagreement {
                place: full(&place),
                found: gain,
                other: full("/channels"),
                told: of_green * beyond.exp2(),
            })
        })
    };
    settings.iter().enumerate().find_map(of)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_number_beyond_reason_is_found_with_its_place() {
        let place = |value: Value| implausible(&value).map(|(path, _)| path);
        let profile =
            json!({"settings": [{"strength": {"stops": 10.2, "factor": 1e17, "u95": 0.1}}]});
        assert_eq!(place(profile), None);
        let wrong = json!({"settings": [{"strength": {"stops": 1e19}}]});
        assert_eq!(place(wrong).as_deref(), Some("settings/0/strength/stops"));
        let grid = json!({"grid": {"stops": [[0.1, 0.2], [0.0, -65.0]]}});
        assert_eq!(place(grid).as_deref(), Some("grid/stops/1/1"));
        assert_eq!(place(json!({"stops": 1, "u95": 100})).as_deref(), Some("u95"));
        let maps = json!({"maps": {"columns": 64, "green": [1e15]}});
        assert_eq!(place(maps).as_deref(), Some("maps/green/0"));
        let curve = json!({"graduation": {"profile": [[100.0, 2.9], [2.0, 3e6]]}});
        assert_eq!(place(curve).as_deref(), Some("graduation/profile/1/1"));
        assert_eq!(place(json!({"mired": {"value": 5, "u95": 100}})), None);
        assert_eq!(place(json!({"iso": 1e8})).as_deref(), Some("iso"));
        let cast = |red: f64| json!({"cast": {"gains": {"red": red, "green": 1.0, "blue": 2.0}}});
        assert_eq!(place(cast(1.2)), None);
        for red in [0.0, -1.0, 1e4] {
            assert_eq!(place(cast(red)).as_deref(), Some("cast/gains/red"));
        }
        let doubt = json!({"strength": {"stops": 10.37, "u95": -1.0}});
        assert_eq!(place(doubt).as_deref(), Some("strength/u95"));
        let doubt = json!({"cast": {"gains_u95": {"red": -0.1, "blue": 0.1}}});
        assert_eq!(place(doubt).as_deref(), Some("cast/gains_u95/red"));
        assert_eq!(place(json!({"dark_end_u95": -0.1})).as_deref(), Some("dark_end_u95"));
    }

    /// Red takes a stop more than green, so that raw red is to be doubled (definition of the gains).
    #[test]
    fn what_ought_to_be_one_number_is_held_together() {
        let profile = |strength: f64, red: f64| {
            json!({"settings": [{
                "strength": {"stops": strength},
                "channels": {"red": {"stops": 11.37}, "green": {"stops": 10.37}, "blue": {"stops": 10.37}},
                "cast": {"gains": {"red": red, "green": 1.0, "blue": 1.0}},
            }]})
        };
        assert_eq!(disagreement(&profile(10.37, 2.0)), None);
        assert_eq!(disagreement(&profile(10.4, 1.95)), None, "rounded");
        let found = disagreement(&profile(12.0, 2.0)).map(|d| (d.place, d.told));
        assert_eq!(found, Some(("settings/0/strength/stops".to_owned(), 10.37)));
        let found = disagreement(&profile(10.37, 9.0)).map(|d| d.place);
        assert_eq!(found.as_deref(), Some("settings/0/cast/gains/red"));
    }
}
