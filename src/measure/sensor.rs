//! The sensor's size: what the user says, or what a file tells of it.

use crate::frame::{Camera, FocalPlane};
use crate::profile::SensorSize;
use crate::quantity::Millimetres;

/// Diagonal of 36 x 24 mm, to which 35 mm equivalents refer (CIPA DCG-001, from memory).
const FULL_DIAGONAL_MM: f64 = 43.267;
/// Diagonals of usual sensors in millimetres (common practice, no source).
const USUAL_MM: [f64; 7] = [54.8, 43.267, 28.3, 26.8, 21.63, 15.9, 9.5];

/// As the user says.
#[must_use]
pub fn said((width, height): (Millimetres, Millimetres)) -> SensorSize {
    SensorSize { width, height, source: "said with --sensor".to_owned() }
}

/// As a file of so many pixels across and down tells: by the 35 mm equivalent of its focal length,
/// else by the resolution of its focal plane.
#[must_use]
pub fn of_file(camera: &Camera, size_px: (usize, usize)) -> Option<SensorSize> {
    from_equivalent(camera, size_px).or_else(|| {
        let (width, height) = of_plane(&camera.focal_plane?, size_px)?;
        Some(SensorSize { width, height, source: FOCAL_PLANE.to_owned() })
    })
}

/// What a sensor size says of itself where it comes from the resolution of the focal plane.
pub const FOCAL_PLANE: &str = "focal plane resolution in the files";
/// Diagonals of sensors that a lens with a filter sits on, in millimetres (ours).
const PLAUSIBLE_MM: std::ops::Range<f64> = 4.0..90.0;
/// Width over height by the resolution differs by less than this share from the picture's (ours).
const SAME_SHAPE: f64 = 0.05;

/// From the number of pixels and how closely they lie.
fn of_plane(plane: &FocalPlane, size: (usize, usize)) -> Option<(Millimetres, Millimetres)> {
    let stored = [size.0 as f64, size.1 as f64];
    let pixels = plane.pixels.unwrap_or(stored);
    let [width, height] = [pixels[0] / plane.per_mm[0], pixels[1] / plane.per_mm[1]];
    let shape = (width / height) / (stored[0] / stored[1]);
    let good = PLAUSIBLE_MM.contains(&width.hypot(height)) && (shape - 1.0).abs() < SAME_SHAPE;
    good.then(|| (tenth(width), tenth(height)))
}

fn tenth(millimetres: f64) -> Millimetres {
    Millimetres::new((10.0 * millimetres).round() / 10.0)
}

/// Sensor size from the focal length's 35 mm equivalent and the shape of the picture.
fn from_equivalent(camera: &Camera, size_px: (usize, usize)) -> Option<SensorSize> {
    let (focal, equivalent) = (camera.focal_length?.get(), camera.focal_length_35mm?.get());
    let diagonal = diagonal(focal, equivalent)?;
    let (width, height) = (size_px.0 as f64, size_px.1 as f64);
    let mm = diagonal / width.hypot(height);
    Some(SensorSize {
        width: tenth(width * mm),
        height: tenth(height * mm),
        source: "35 mm equivalent in the files".to_owned(),
    })
}

/// The equivalent is a whole number, so a usual size within its rounding is taken.
fn diagonal(focal: f64, equivalent: f64) -> Option<f64> {
    if !(focal > 0.0 && equivalent > 0.0) {
        return None;
    }
    let of = |equivalent: f64| FULL_DIAGONAL_MM * focal / equivalent;
    let (least, plain, most) = (of(equivalent + 0.5), of(equivalent), of(equivalent - 0.5));
    let usual = USUAL_MM.into_iter().filter(|d| (least..=most).contains(d));
    let nearest = usual.min_by(|a, b| (a - plain).abs().total_cmp(&(b - plain).abs()));
    Some(nearest.unwrap_or(plain))
}

/// Sensor width and height as a picture of this shape is viewed, in millimetres.
#[must_use]
pub fn as_viewed(sensor: &SensorSize, upright: bool) -> (f64, f64) {
    let (w, h) = (sensor.width.get(), sensor.height.get());
    if upright { (w.min(h), w.max(h)) } else { (w.max(h), w.min(h)) }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn pixels_and_their_pitch_make_a_size() {
        // 6000 x 4000 pixels of 6 micrometres: 36 x 24 mm, whichever picture the pixels are of
        let fine = FocalPlane { per_mm: [1000.0 / 6.0; 2], pixels: Some([6000.0, 4000.0]) };
        let halved = FocalPlane { per_mm: [1000.0 / 12.0; 2], pixels: Some([3000.0, 2000.0]) };
        let own = FocalPlane { pixels: None, ..fine };
        for plane in [fine, halved, own] {
            let (width, height) = of_plane(&plane, (6000, 4000)).unwrap();
            assert!((width.get() - 36.0).abs() < 0.06 && (height.get() - 24.0).abs() < 0.06);
        }
        // of a picture of another shape, and of a size that no camera has
        let square = FocalPlane { pixels: Some([4000.0, 4000.0]), ..fine };
        assert_eq!(of_plane(&square, (6000, 4000)), None);
        let dots = FocalPlane { per_mm: [72.0 / 25.4; 2], pixels: None };
        assert_eq!(of_plane(&dots, (6000, 4000)), None);
    }

    #[test]
    fn usual_sizes_are_found_through_the_rounding() {
        // equivalents as files write them, for sensors of 43.3, 28.3 and 21.6 mm
        for (focal, equivalent, found) in
            [(20.0, 20.0, 43.267), (20.8, 21.0, 43.267), (16.0, 24.0, 28.3), (12.0, 24.0, 21.63)]
        {
            assert!((diagonal(focal, equivalent).unwrap() - found).abs() < 1e-9, "{focal}");
        }
        assert_eq!(diagonal(20.0, 0.0), None);
        // an unusual one is taken as it is
        assert!((diagonal(50.0, 100.0 / 1.1).unwrap() - 23.797).abs() < 0.001);
    }
}
