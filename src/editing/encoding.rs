//! How a picture's values stand for light: by its colour profile, sRGB where it has none.

use moxcms::{ColorProfile, DataColorSpace, ToneReprCurve};
use palette::encoding::{FromLinear, IntoLinear, Srgb};
use rayon::prelude::*;

/// Full scale of the light that pictures are decoded to, by the curve of sRGB whatever they say.
const FULL: f64 = 65_535.0;

/// A colour profile as far as light goes.
pub struct Encoding(Box<ColorProfile>);

impl Encoding {
    /// Of a picture's colour profile.
    ///
    /// # Errors
    /// Why its light is not known, with what to do.
    pub fn of(icc: Option<&[u8]>) -> Result<Self, String> {
        let Some(icc) = icc else { return Ok(Self(Box::new(ColorProfile::new_srgb()))) };
        let unknown = |what: &str| {
            format!("{what}, so its light is not known: export it as sRGB, or correct the raw file")
        };
        let profile = ColorProfile::new_from_slice(icc)
            .map_err(|_| unknown("its colour profile cannot be read"))?;
        if profile.color_space != DataColorSpace::Rgb {
            return Err(unknown("its colour profile is not one of red, green and blue"));
        }
        let curves = [&profile.red_trc, &profile.green_trc, &profile.blue_trc];
        let usable = |curve: &Option<ToneReprCurve>| {
            let curve = curve.as_ref();
            curve.is_some_and(|c| {
                c.make_linear_evaluator().is_ok() && c.make_gamma_evaluator().is_ok()
            })
        };
        if !curves.into_iter().all(usable) || profile.lut_a_to_b_perceptual.is_some() {
            return Err(unknown("its colour profile is a table instead of curves and a matrix"));
        }
        Ok(Self(Box::new(profile)))
    }

    /// Row-major, from linear colours to XYZ under D50.
    #[must_use]
    pub fn to_xyz(&self) -> [f64; 9] {
        let rows = self.0.colorant_matrix().v;
        std::array::from_fn(|i| rows[i / 3][i % 3])
    }

    /// By channel: light as this profile has it, from 0 to 1, of each value that was decoded as sRGB;
    /// and back.
    ///
    /// # Errors
    /// In words, where a curve cannot be evaluated after all.
    pub fn curves(&self) -> Result<[Curve; 3], String> {
        let of = |curve: &Option<ToneReprCurve>| {
            let curve = curve.as_ref().and_then(Curve::of);
            curve.ok_or_else(|| "its colour profile cannot be used".to_owned())
        };
        let ColorProfile { red_trc, green_trc, blue_trc, .. } = &*self.0;
        Ok([of(red_trc)?, of(green_trc)?, of(blue_trc)?])
    }
}

/// Tables of one channel, there and back.
pub struct Curve {
    light: Vec<f32>,
    back: Vec<u16>,
}

impl Curve {
    fn of(curve: &ToneReprCurve) -> Option<Self> {
        let there = curve.make_linear_evaluator().ok()?;
        let back = curve.make_gamma_evaluator().ok()?;
        let light = |v: u16| {
            let shown: f64 = Srgb::from_linear(f64::from(v) / FULL);
            there.evaluate_value(shown as f32)
        };
        let stored = |v: u16| {
            let shown =
                f64::from(back.evaluate_value((f64::from(v) / FULL) as f32)).clamp(0.0, 1.0);
            let light: f64 = Srgb::into_linear(shown);
            (light * FULL).round() as u16
        };
        Some(Self {
            light: (0..=u16::MAX).into_par_iter().map(light).collect(),
            back: (0..=u16::MAX).into_par_iter().map(stored).collect(),
        })
    }

    /// Light from 0 to 1 of a value that was decoded as sRGB.
    #[must_use]
    pub fn light(&self, value: u16) -> f32 {
        self.light[usize::from(value)]
    }

    /// The value for a light from 0 to 1; what lies beyond is clipped.
    #[must_use]
    pub fn back(&self, light: f32) -> u16 {
        self.back[usize::from((light * 65_535.0).round().clamp(0.0, 65_535.0) as u16)]
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// Sixteen-bit steps of a table, and what its curves lose in single precision (ours).
    const STEPS: f64 = 4.0 / 65_535.0;

    /// A value as it is decoded, from a display value.
    fn value_of(shown: f64) -> u16 {
        let light: f64 = Srgb::into_linear(shown);
        (light * FULL).round() as u16
    }

    /// Gamma 563/256 of one space and the curve of sRGB of two, after their published definitions
    /// (IEC 61966-2-1 above its straight part).
    #[test]
    fn light_is_that_of_the_profile_and_comes_back() {
        let srgb = |shown: f64| ((shown + 0.055) / 1.055).powf(2.4);
        let adobe = |shown: f64| shown.powf(563.0 / 256.0);
        let cases: [(ColorProfile, &dyn Fn(f64) -> f64); 3] = [
            (ColorProfile::new_srgb(), &srgb),
            (ColorProfile::new_display_p3(), &srgb),
            (ColorProfile::new_adobe_rgb(), &adobe),
        ];
        for (profile, published) in cases {
            let encoding = Encoding::of(Some(&profile.encode().unwrap())).unwrap();
            let [red, ..] = encoding.curves().unwrap();
            for shown in [0.1, 0.25, 0.5, 0.75, 1.0] {
                let value = value_of(shown);
                let light = f64::from(red.light(value));
                assert!((light - published(shown)).abs() < 20.0 * STEPS, "{shown}: {light}");
                let back = f64::from(red.back(light as f32)) / FULL;
                assert!((back - f64::from(value) / FULL).abs() < STEPS, "{shown}: {back}");
            }
        }
    }

    #[test]
    fn what_is_no_profile_of_curves_is_refused_with_what_to_do() {
        let mut grey = ColorProfile::new_srgb();
        grey.color_space = DataColorSpace::Gray;
        for bytes in [b"no profile".to_vec(), grey.encode().unwrap()] {
            let said = Encoding::of(Some(&bytes)).err().unwrap();
            assert!(said.contains("export it as sRGB, or correct the raw file"), "{said}");
        }
        assert!(Encoding::of(None).is_ok());
    }
}
