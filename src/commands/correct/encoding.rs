//! Whether a picture is encoded as it is decoded here, with the curve of sRGB.

use crate::write::picture::encoded;
use moxcms::{ColorProfile, ToneReprCurve};

/// Light, of white, by which a curve may differ and still be that of sRGB: profiles hold it in
/// tables of few bits.
const ALIKE: f64 = 0.002;
/// Display values at which curves are compared.
const STEPS: u8 = 32;

/// What to say of a picture's colour profile; `None` where its curve is that of sRGB.
#[must_use]
pub fn caution(icc: &[u8]) -> Option<&'static str> {
    let Ok(profile) = ColorProfile::new_from_slice(icc) else {
        return Some(
            "the colour profile cannot be read, so the curve of sRGB is assumed: export as sRGB, or \
             correct the raw file",
        );
    };
    let curves = [&profile.red_trc, &profile.green_trc, &profile.blue_trc];
    let alike = curves.into_iter().all(|curve| curve.as_ref().is_some_and(as_srgb));
    (!alike).then_some(
        "the colour profile has another curve than sRGB, so the gains hold only roughly: export as \
         sRGB, or correct the raw file",
    )
}

/// Encoding undone by the profile and done again as sRGB must give the value back.
fn as_srgb(curve: &ToneReprCurve) -> bool {
    let Ok(evaluator) = curve.make_linear_evaluator() else { return false };
    (0..=STEPS).map(|i| f64::from(i) / f64::from(STEPS)).all(|light| {
        let seen = f64::from(evaluator.evaluate_value(encoded(light) as f32));
        (seen - light).abs() <= ALIKE
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn said(profile: &ColorProfile) -> Option<&'static str> {
        caution(&profile.encode().unwrap())
    }

    #[test]
    fn only_another_curve_is_said() {
        assert_eq!(said(&ColorProfile::new_srgb()), None);
        // Other primaries, the same curve (IEC 61966-2-1 in both).
        assert_eq!(said(&ColorProfile::new_display_p3()), None);
        // Gamma 563/256 and 1.8, after the published definitions of the two spaces.
        for other in [ColorProfile::new_adobe_rgb(), ColorProfile::new_pro_photo_rgb()] {
            assert!(said(&other).unwrap().contains("another curve"));
        }
        assert!(caution(b"no profile").unwrap().contains("cannot be read"));
    }
}
