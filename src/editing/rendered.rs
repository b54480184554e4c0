//! Taking a cast out of pictures: a filter works on the channels of the raw file, and a camera matrix
//! has mixed them since.
//!
//! A converter balances the raw channels, takes them to XYZ by the camera's matrix, and from there to
//! the picture's colours (DNG specification, mapping camera colour space to CIE XYZ). All of that is
//! linear, so that the way back to balanced raw channels, the gains, and the way forth are one matrix.

use super::encoding::Encoding;
use super::evenness::Through;
use super::white::natural_xy;
use crate::measure::colour::{DAYLIGHT, Xyz};
use crate::quantity::Kelvin;
use nalgebra::{Matrix3, Vector3};

/// Linear Bradford transform (ICC.1:2022, annex E).
const BRADFORD: [f64; 9] =
    [0.8951, 0.2664, -0.1614, -0.7502, 1.7135, 0.0367, 0.0389, -0.0685, 1.0296];
/// The white of profiles, D50 (ICC.1:2022, 7.2.16).
const PROFILE_WHITE: [f64; 3] = [0.9642, 1.0, 0.8249];

/// Ratios, row by row, for linear colours of a picture that was made through these filters; `preset` is
/// the light of the balance that it was rendered with, daylight where it does not tell.
///
/// # Errors
/// Why its cast cannot be taken out, and what can be done instead.
pub fn mixing(
    encoding: &Encoding,
    preset: Option<Kelvin>,
    through: &[Through<'_>],
    gains: [f64; 3],
) -> Result<[f64; 9], String> {
    let known = through.iter().find_map(|t| t.profile.camera.colour_matrix.as_ref());
    let name = through.first().map_or("", |t| t.profile.filter.name.as_str());
    let camera = known.ok_or_else(|| {
        format!(
            "its colours were mixed by the camera's colour matrix, which the profile of {name:?} does not \
             hold: correct the raw file"
        )
    })?;
    // The scene's own light: that of the wall that the filter was measured on is another.
    let light = preset.unwrap_or(DAYLIGHT);
    cast_out(gains, &camera.xyz_to_camera, light, &encoding.to_xyz()).ok_or_else(|| {
        format!(
            "its colours cannot be traced back through the colour matrix in the profile of {name:?}: \
             correct the raw file"
        )
    })
}

/// By how much ratios that take a cast out raise what they make grey, in stops of luminance: what was
/// white may get no darker in any channel. `to_xyz` leads from the picture's linear colours to XYZ.
#[must_use]
pub fn raised_stops(mixing: &[f64; 9], to_xyz: &[f64; 9]) -> Option<f64> {
    let with_cast = Matrix3::from_row_slice(mixing).try_inverse()? * Vector3::repeat(1.0);
    let luminance = |rgb: Vector3<f64>| (Matrix3::from_row_slice(to_xyz) * rgb).y;
    let raised = (luminance(Vector3::repeat(1.0)) / luminance(with_cast)).log2();
    raised.is_finite().then_some(raised)
}

/// Row-major: what takes the cast out of linear colours of a picture. White comes out no darker than it
/// went in, in any channel.
///
/// `gains` are those of the raw channels, `camera` leads from XYZ to them, `light` is that of the
/// scene, and `to_xyz` leads from the picture's linear colours to XYZ under D50, as colour profiles
/// have it. `None` where a matrix cannot be turned round or the result is no colour.
#[must_use]
pub fn cast_out(
    gains: [f64; 3],
    camera: &[f64; 9],
    light: Kelvin,
    to_xyz: &[f64; 9],
) -> Option<[f64; 9]> {
    let white = Vector3::from(Xyz::from_xy(natural_xy(light)).0);
    let camera = Matrix3::from_row_slice(camera);
    let neutral = camera * white;
    if !neutral.iter().all(|v| v.is_finite() && *v > 0.0) {
        return None;
    }
    let balanced = Matrix3::from_diagonal(&neutral.map(|v| 1.0 / v)) * camera;
    let bradford = Matrix3::from_row_slice(&BRADFORD);
    let scale = (bradford * white).component_div(&(bradford * Vector3::from(PROFILE_WHITE)));
    let adapted = bradford.try_inverse()? * Matrix3::from_diagonal(&scale) * bradford;
    let to_raw = balanced * adapted * Matrix3::from_row_slice(to_xyz);
    // White is white to the last digit, whatever the profile rounds.
    let of_white = to_raw * Vector3::repeat(1.0);
    let to_raw = Matrix3::from_diagonal(&of_white.map(|v| 1.0 / v)) * to_raw;
    let out = to_raw.try_inverse()? * Matrix3::from_diagonal(&Vector3::from(gains)) * to_raw;
    let least = (out * Vector3::repeat(1.0)).min();
    let out = out / least;
    (least > 0.0 && out.iter().all(|v| v.is_finite()))
        .then(|| std::array::from_fn(|i| out[(i / 3, i % 3)]))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// sRGB to XYZ under D50, as its profiles have it (IEC 61966-2-1 with the Bradford transform;
    /// published with ICC's sRGB profiles).
    const SRGB_D50: [f64; 9] =
        [0.436_03, 0.385_10, 0.143_08, 0.222_49, 0.716_91, 0.060_60, 0.013_93, 0.097_08, 0.713_90];
    const CAMERA: [f64; 9] = [0.97, -0.25, -0.09, -0.50, 1.20, 0.25, -0.19, 0.28, 0.69];

    fn times(m: &[f64; 9], v: [f64; 3]) -> [f64; 3] {
        std::array::from_fn(|r| (0..3).map(|c| m[3 * r + c] * v[c]).sum())
    }

    #[test]
    fn without_a_cast_nothing_changes() {
        let out = cast_out([1.0; 3], &CAMERA, Kelvin::new(5500.0), &SRGB_D50).unwrap();
        for (i, value) in out.into_iter().enumerate() {
            let one = f64::from(u8::from(i % 4 == 0));
            assert!((value - one).abs() < 1e-9, "{out:?}");
        }
    }

    /// Where the camera's channels are the picture's own colours, gains are gains: the matrix of XYZ
    /// under D65 to sRGB (IEC 61966-2-1), in the light of 6504 K.
    #[test]
    fn channels_that_were_not_mixed_are_multiplied() {
        let to_srgb = [3.2406, -1.5372, -0.4986, -0.9689, 1.8758, 0.0415, 0.0557, -0.2040, 1.0570];
        let out = cast_out([1.2, 1.0, 0.9], &to_srgb, Kelvin::new(6504.0), &SRGB_D50).unwrap();
        for (found, gain) in times(&out, [1.0; 3]).into_iter().zip([1.2, 1.0, 0.9]) {
            assert!((found - gain / 0.9).abs() < 3e-3, "{out:?}");
        }
    }

    /// Channels that were not mixed: grey through the filter is (1, 1.2, 1.2 / 0.9) / 1.2 of what it
    /// becomes, of which sRGB's luminance (IEC 61966-2-1) is 0.2126, 0.7152 and 0.0722 parts.
    #[test]
    fn what_grey_is_raised_by_is_told() {
        let gains = [1.2, 1.0, 0.9];
        let mixing: [f64; 9] =
            std::array::from_fn(|i| if i % 4 == 0 { gains[i / 3] / 0.9 } else { 0.0 });
        let darker = 0.9 * (0.2126 / 1.2 + 0.7152 + 0.0722 / 0.9);
        let raised = raised_stops(&mixing, &SRGB_D50).unwrap();
        // The rounding of D50 moves the parts a little.
        assert!((raised + f64::log2(darker)).abs() < 0.005, "{raised}");
        assert_eq!(raised_stops(&[0.0; 9], &SRGB_D50), None);
    }

    #[test]
    fn white_stays_white_and_a_matrix_that_is_none_is_refused() {
        let out = cast_out([1.3, 1.0, 0.8], &CAMERA, Kelvin::new(5500.0), &SRGB_D50).unwrap();
        assert!(times(&out, [1.0; 3]).into_iter().all(|v| v >= 1.0 - 1e-12), "{out:?}");
        assert!(cast_out([1.0; 3], &[0.0; 9], Kelvin::new(5500.0), &SRGB_D50).is_none());
        assert!(cast_out([1.0; 3], &CAMERA, Kelvin::new(5500.0), &[0.0; 9]).is_none());
    }
}
