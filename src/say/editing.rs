//! What to set in an editor for photographs made through a filter, and what to click, in plain words.

use super::cast as said;
use super::special;
use crate::measure::colour::DAYLIGHT;
use crate::profile::{Kind, Profile};

/// The setting for daylight, in a sentence.
#[must_use]
pub fn answer(profile: &Profile) -> String {
    let Some(setting) = said::representative(profile) else {
        return "Nothing was measured.".to_owned();
    };
    let at_mark = said::at_mark(setting);
    let seen_by = said::seen_by(profile);
    let Some((behind, _)) = said::kelvin_behind(&setting.cast, seen_by, DAYLIGHT) else {
        return format!("Multiply the raw channels{at_mark}: {}.", said::gains(&setting.cast));
    };
    let kelvin = if said::is_as_it_was(behind, DAYLIGHT) {
        "keep its kelvin".to_owned()
    } else {
        format!("set {}", said::kelvin(behind))
    };
    let what = match said::tint(&setting.cast) {
        Some(way) => format!("{kelvin} and move the tint {way}"),
        None if said::is_as_it_was(behind, DAYLIGHT) => {
            "leave the white balance as it is".to_owned()
        }
        None => format!("{kelvin} and leave the tint"),
    };
    format!("In daylight of {}{at_mark}, {what}.", said::kelvin(DAYLIGHT))
}

/// What to do in the editor, way by way, the surest first.
#[must_use]
pub fn steps(profile: &Profile) -> Vec<String> {
    let known = profile.settings.iter().any(|setting| setting.cast.mired_shift.is_some());
    let by_temperature = if known {
        "By temperature: find the light in the table, set the kelvin given for it with the filter, and \
         move the tint as it says. For another temperature take the nearest row, and move by as many \
         mired (a million over the kelvin) as it does."
    } else {
        "By temperature: not from this measurement. The camera\u{2019}s file brought no colour matrix; \
         the multipliers need none."
    };
    let steps = [
        "Files that lightloss correct wrote: open them with the white balance as shot, and leave \
         temperature and tint alone. The cast is out already.",
        "By a grey: click the pipette on something grey in a photograph made through the filter, in \
         the same light. This also takes out the light\u{2019}s own colour.",
        by_temperature,
        "By channel, where the editor multiplies raw channels: multiply red, green and blue by the \
         numbers in the table, in any light, before any other change of the balance.",
    ];
    let mut steps = Vec::from(steps.map(str::to_owned));
    if profile.filter.kind == Kind::Graduated {
        steps.push(in_parts(profile));
    }
    steps
}

/// What the figures of a graduated filter are of: nothing is known of the cast of its clear part.
fn in_parts(profile: &Profile) -> String {
    let gains = profile.graduation.as_ref().and_then(special::dark_half_gains);
    let dark = gains.map_or_else(String::new, |gains| {
        format!(" Those of its dark half are {gains} (green 1).")
    });
    format!(
        "By parts: the multipliers in the table are those of the middle of the frame.{dark} The clear \
         part may have the same cast or none, so look at it before you mask along the line."
    )
}

/// What these numbers cannot do.
#[must_use]
pub fn bounds(profile: &Profile) -> Vec<&'static str> {
    let mut bounds = vec![
        "Temperature and tint are a scale of each editor\u{2019}s own: where its number for the bare \
         light is another than the table\u{2019}s, start from its own and keep the step. The multipliers \
         are the measurement; the kelvin follows from them through this camera\u{2019}s colour matrix. \
         Another camera sees the cast a little differently.",
    ];
    if profile.filter.kind == Kind::Polariser {
        bounds.push(
            "An uneven sky through a polariser is the polarisation of the sky itself: no balance takes \
             it out.",
        );
    }
    bounds
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::frame::ColourMatrix;
    use crate::measure::cast::cast;
    use crate::measure::colour::{Xyz, light_of};
    use crate::measure::strength::ChannelStrengths;
    use crate::profile::{Cast, DuvU95, Gains, GainsU95, MatrixRecord, MiredU95};
    use crate::quantity::{Kelvin, Ratio};

    /// XYZ to a camera that is not sRGB, and back (worked by the adjugate below).
    const CAMERA: [f64; 9] = [0.97, -0.25, -0.09, -0.50, 1.20, 0.25, -0.19, 0.28, 0.69];

    fn times(m: [f64; 9], v: [f64; 3]) -> [f64; 3] {
        std::array::from_fn(|r| (0..3).map(|c| m[3 * r + c] * v[c]).sum())
    }

    fn inverse(m: [f64; 9]) -> [f64; 9] {
        let minor = |a: usize, b: usize, c: usize, d: usize| m[a] * m[d] - m[b] * m[c];
        let adjugate = [
            minor(4, 5, 7, 8),
            -minor(1, 2, 7, 8),
            minor(1, 2, 4, 5),
            -minor(3, 5, 6, 8),
            minor(0, 2, 6, 8),
            -minor(0, 2, 3, 5),
            minor(3, 4, 6, 7),
            -minor(0, 1, 6, 7),
            minor(0, 1, 3, 4),
        ];
        let determinant = m[0] * adjugate[0] + m[1] * adjugate[3] + m[2] * adjugate[6];
        adjugate.map(|value| value / determinant)
    }

    fn whole([x, y]: [f64; 2]) -> [f64; 3] {
        [x / y, 1.0, (1.0 - x - y) / y]
    }

    /// Mired of any light: the nearest black body, which is held against published values by itself.
    fn mired([x, y, z]: [f64; 3]) -> f64 {
        light_of(Xyz([x, y, z])).unwrap().cct_k.mired().get()
    }

    /// Phases of daylight: chromaticities of CIE 15:2018, as in fixtures/cct_vectors.json.
    fn daylight(name: &str) -> ([f64; 2], f64) {
        let text = include_str!("../../fixtures/cct_vectors.json");
        let vectors: serde_json::Value = serde_json::from_str(text).unwrap();
        let all = vectors["illuminants"].as_array().unwrap();
        let one = all.iter().find(|light| light["name"] == name).unwrap();
        let xy = [one["xy"][0].as_f64().unwrap(), one["xy"][1].as_f64().unwrap()];
        (xy, one["cct"].as_f64().unwrap())
    }

    /// A cast as it is measured in one light.
    fn measured(stops: [f64; 3], light: [f64; 2]) -> Cast {
        let bare = times(CAMERA, whole(light));
        let channels = ChannelStrengths {
            stops,
            covariance: [[0.0; 3]; 3],
            dof: [f64::INFINITY; 3],
            difference_dof: f64::INFINITY,
        };
        let matrix =
            ColourMatrix { illuminant: Some(21), xyz_to_camera: CAMERA, source: "file".into() };
        let found = cast(&channels, bare.map(|v| v / bare[1]), &[matrix]).unwrap();
        let (mired, duv) = (found.mired_shift.unwrap(), found.duv_shift.unwrap());
        let gain = |channel: usize| Ratio::new((stops[channel] - stops[1]).exp2());
        Cast {
            gains: Gains { red: gain(0), green: Ratio::new(1.0), blue: gain(2) },
            gains_u95: GainsU95 { red: Ratio::new(0.0), blue: Ratio::new(0.0) },
            mired_shift: Some(MiredU95 { value: mired.value(), u95: mired.u95() }),
            duv_shift: Some(DuvU95 { value: duv.value(), u95: duv.u95() }),
            lab: found.lab,
            delta_e_2000: found.delta_e_2000,
            words: found.words,
        }
    }

    /// How far a phase of daylight may lie from the round number of kelvin that stands for it: 5 K in
    /// 7500, and the step of the search for the nearest black body (ours).
    const NEAR_MIRED: f64 = 0.15;
    /// The same where the file brought no matrix, and mired shifts are added (ours).
    const ADDED_MIRED: f64 = 15.0;

    /// Measured in sunshine, the kelvin for each light must be what the camera's matrix makes of that
    /// phase of daylight behind the filter.
    #[test]
    fn the_kelvin_for_each_light_is_the_daylight_locus_behind_the_filter() {
        for stops in [[10.2, 10.0, 9.83], [6.0, 6.05, 6.1], [2.9, 3.0, 3.1], [10.0, 9.9, 10.3]] {
            let cast = measured(stops, daylight("D55").0);
            for ((words, light), name) in said::LIGHTS.into_iter().zip(["D55", "D65", "D75"]) {
                let (xy, cct) = daylight(name);
                // The lights of the sheet are those phases of daylight.
                assert!((light.get() - cct).abs() < 6.0, "{words}: {cct}");
                let bare = times(CAMERA, whole(xy));
                let behind = std::array::from_fn(|c| bare[c] * (-stops[c]).exp2());
                let exact = mired(times(inverse(CAMERA), behind));
                let record =
                    MatrixRecord { source: "file".into(), illuminant: None, xyz_to_camera: CAMERA };
                let d55 = Kelvin::new(daylight("D55").1);
                for (seen_by, near) in [(Some((&record, d55)), NEAR_MIRED), (None, ADDED_MIRED)] {
                    let (kelvin, u95) = said::kelvin_behind(&cast, seen_by, light).unwrap();
                    let off = (kelvin.mired().get() - exact).abs();
                    assert!(off < near, "{name} {stops:?}: {off} mired");
                    assert!(u95 > Kelvin::new(0.0), "{u95:?}");
                }
            }
        }
    }

    /// A filter that holds green back leaves magenta, and the other way round.
    #[test]
    fn the_tint_moves_against_the_filter() {
        let of = |stops| said::tint(&measured(stops, daylight("D55").0));
        assert_eq!(of([10.0, 10.15, 10.0]), Some("a little to green"));
        assert_eq!(of([10.0, 9.85, 10.0]), Some("a little to magenta"));
        assert_eq!(of([10.0; 3]), None);
    }

    #[test]
    fn without_a_matrix_only_the_multipliers_are_given() {
        let text = include_str!("../../fixtures/profiles/harbour-ten/profile.json");
        let mut profile = crate::profile::json::Document::parse(text).unwrap().profile;
        assert!(
            answer(&profile).starts_with("In daylight of 5500 K, set "),
            "{}",
            answer(&profile)
        );
        assert!(!steps(&profile).join(" ").contains("brought no colour matrix"));
        profile.settings.iter_mut().for_each(|s| s.cast.mired_shift = None);
        assert!(answer(&profile).starts_with("Multiply the raw channels: red "));
        assert!(steps(&profile).join(" ").contains("brought no colour matrix"));
    }

    /// Nothing was measured of the colour of a clear part, so nothing is said of it.
    #[test]
    fn a_graduated_filter_is_told_of_part_by_part() {
        let text = include_str!("../../fixtures/profiles/moor-edge/profile.json");
        let mut profile = crate::profile::json::Document::parse(text).unwrap().profile;
        let ratio = Ratio::new;
        let gains = Gains { red: ratio(1.015), green: ratio(1.0), blue: ratio(0.987) };
        profile.graduation.as_mut().unwrap().dark_half_gains = Some(gains);
        let said = steps(&profile).join(" ");
        assert!(said.contains("dark half are red 1.015, blue 0.987 (green 1)."), "{said}");
        assert!(said.contains("may have the same cast or none"), "{said}");
        profile.graduation = None;
        assert!(!steps(&profile).join(" ").contains("dark half"));
    }
}
