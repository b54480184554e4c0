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
    let range = match key {
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
    }
}
