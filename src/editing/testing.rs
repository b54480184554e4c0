//! Values that several tests of this part need.
#![allow(clippy::unwrap_used)]

use crate::frame::{Camera, Capture, Exposure, FrameInfo, Origin};
use crate::profile::Profile;
use crate::quantity::{FNumber, Iso, Millimetres, Seconds};
use serde_json::json;

/// A frame of an invented camera on one evening, f/8, ISO 100, 24 mm.
pub(crate) fn info(clock: &str, seconds: f64) -> FrameInfo {
    FrameInfo {
        file: format!("{clock}.dng"),
        sha256: String::new(),
        origin: Origin::Raw,
        camera: Camera {
            make: Some("Testmaker".into()),
            model: Some("One".into()),
            serial: Some("1".into()),
            lens: Some("24".into()),
            focal_length: Some(Millimetres::new(24.0)),
            focal_length_35mm: None,
            focal_plane: None,
        },
        exposure: Exposure {
            time: Some(Seconds::new(seconds)),
            from_apex: false,
            apex_time: None,
            bulb: false,
            f_number: Some(FNumber::new(8.0)),
            iso: Some(Iso::new(100.0)),
        },
        capture: Capture { at: Some(format!("2031-05-04T{clock}").parse().unwrap()), offset: None },
        orientation: 1,
        as_shot_neutral: None,
        matrices: Vec::new(),
        noise_reduction: None,
        subject: Vec::new(),
    }
}

/// A profile of an invented filter: kind, and per mark the stops of red, green and blue.
pub(crate) fn profile(name: &str, kind: &str, marks: &[(Option<&str>, [f64; 3])]) -> Profile {
    let settings: Vec<_> = marks
        .iter()
        .map(|(mark, [red, green, blue])| {
            let channel = |stops: f64| json!({"stops": stops, "u95": 0.02});
            json!({
                "mark": mark,
                "strength": {
                    "stops": green, "u95": 0.02, "density": green * std::f64::consts::LOG10_2,
                    "factor": green.exp2(), "transmittance": (-green).exp2()
                },
                "channels": {
                    "red": channel(*red), "green": channel(*green), "blue": channel(*blue)
                },
                "cast": {
                    "gains": {
                        "red": (red - green).exp2(), "green": 1.0, "blue": (blue - green).exp2()
                    },
                    "gains_u95": {"red": 0.01, "blue": 0.01}, "words": ""
                },
                "frames": {"bare": [], "filtered": []}, "cautions": []
            })
        })
        .collect();
    serde_json::from_value(json!({
        "schema": crate::profile::SCHEMA,
        "made_by": {"program": "lightloss", "version": "0"},
        "filter": {"name": name, "kind": kind},
        "camera": {"make": "Testmaker", "model": "One", "focal_length_mm": 24.0},
        "settings": settings, "budget": [], "frames": [], "cautions": []
    }))
    .unwrap()
}
