//! Numbers to the fractions that TIFF and Exif store.

/// Denominators tried in turn until one holds the number exactly: binary ones for black levels,
/// decimal ones for dial values.
const DENOMINATORS: [u32; 8] = [1, 2, 4, 8, 10, 100, 10_000, 1_000_000];

/// The simplest of a few fractions that holds the number, to a millionth at worst.
#[must_use]
pub fn unsigned(value: f64) -> (u32, u32) {
    let value = value.max(0.0);
    for d in DENOMINATORS {
        let n = (value * f64::from(d)).round();
        if n <= f64::from(u32::MAX) && (n / f64::from(d) - value).abs() <= 1e-12 * value {
            return (n as u32, d);
        }
    }
    let d = if value < 4000.0 { 1_000_000 } else { 100 };
    ((value * f64::from(d)).round() as u32, d)
}

/// Four decimals at least, as colour matrices are published; six where they are needed.
#[must_use]
pub fn signed(value: f64) -> (i32, i32) {
    for d in [10_000, 1_000_000] {
        let n = (value * f64::from(d)).round();
        if (n / f64::from(d) - value).abs() <= 1e-12 {
            return (n as i32, d);
        }
    }
    ((value * 1e6).round() as i32, 1_000_000)
}

/// An exposure time as cameras write it: one over a whole number where it is that, seconds
/// otherwise.
#[must_use]
pub fn exposure_time(seconds: f64) -> (u32, u32) {
    if seconds > 0.0 && seconds < 1.0 {
        let inverse = (1.0 / seconds).round();
        if (1.0 / inverse - seconds).abs() <= 1e-9 * seconds {
            return (1, inverse as u32);
        }
    }
    unsigned(seconds)
}
