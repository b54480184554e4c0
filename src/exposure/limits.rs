//! What a camera, a lens or an exposure can be: the same for the command line, for files and for
//! profiles, so that what one command takes every other takes too (ours, wide enough for anything
//! that was ever built).

use std::ops::RangeInclusive;

/// Exposure times in seconds, from electronic shutters to a day.
pub const TIME_S: RangeInclusive<f64> = 1e-6..=86_400.0;
/// ISO settings.
pub const ISO: RangeInclusive<f64> = 1.0..=1e7;
/// F-numbers, from the fastest lenses to pinholes.
pub const F_NUMBER: RangeInclusive<f64> = 0.3..=1000.0;
/// Focal lengths in millimetres.
pub const FOCAL_MM: RangeInclusive<f64> = 1.0..=10_000.0;
/// Sides of a sensor in millimetres.
pub const SENSOR_MM: RangeInclusive<f64> = 1.0..=200.0;
/// The same as people type them, narrower: a slip like 1x1 would put every angle far out (ours).
pub const SAID_SENSOR_MM: RangeInclusive<f64> = 3.0..=100.0;
/// Stops by which the light may differ across the frame: no filter takes more.
pub const TOLERANCE_STOPS: RangeInclusive<f64> = 1e-3..=64.0;
/// Multipliers of raw values that take out a cast: ten stops either way.
pub const GAIN: RangeInclusive<f64> = 0.0009..=1024.0;
