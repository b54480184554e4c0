//! Values that several tests of this part need.
#![allow(clippy::unwrap_used)]

use crate::frame::{Camera, Capture, Exposure, FrameInfo, Origin};
use crate::quantity::{FNumber, Iso, Millimetres, Seconds};

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
        },
        exposure: Exposure {
            time: Some(Seconds::new(seconds)),
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
    }
}
