//! Graduations, polarisers, stacks, and shading by rings and holders, in sentences.

use super::figures::{self, fixed, significant};
use crate::profile::{
    DARKEST_AT_LINE, Graduation, Polarising, Profile, ShadingAt, StopsU95, Vignetting,
};
use crate::quantity::Percent;
use std::f64::consts::LN_2;

/// "soft edge" of a shape, as a person would say it.
#[must_use]
pub fn shaped(shape: &str) -> String {
    match shape {
        DARKEST_AT_LINE => "edge that is darkest at its line".to_owned(),
        _ => format!("{shape} edge"),
    }
}

/// Its article, at the start of a sentence.
fn article(shape: &str) -> &'static str {
    if shape == DARKEST_AT_LINE { "An" } else { "A" }
}

/// The edge of a graduated filter.
#[must_use]
pub fn edge(found: &Graduation) -> String {
    format!(
        "{} {}: the change from clear to dark takes {} % of the frame's height, its middle {} % \
         from the top, turned by {}\u{b0}. The clear end itself takes {} {}.",
        article(&found.shape),
        shaped(&found.shape),
        fixed(found.width_percent_of_height.get(), 0),
        fixed(found.centre_percent_of_height.get(), 0),
        fixed(found.angle.get(), 1),
        fixed(found.clear_end_stops.get(), 2),
        figures::unit(found.clear_end_stops.get()),
    )
}

/// How well that is known.
#[must_use]
pub fn edge_doubt(found: &Graduation) -> Option<String> {
    let percent = |u95: Option<Percent>| Some(significant(u95?.get(), 2));
    Some(format!(
        "The width is good to {} % of the height, the middle to {} %, the angle to {}\u{b0}, the clear end to \
         {} {}, nineteen times in twenty.",
        percent(found.width_u95)?,
        percent(found.centre_u95)?,
        significant(found.angle_u95?.get(), 1),
        significant(found.clear_end_u95?.get(), 1),
        figures::unit(found.clear_end_u95?.get()),
    ))
}

/// The same in one line.
#[must_use]
pub fn edge_short(found: &Graduation) -> String {
    format!(
        "Graduated: {} {} over {} % of the frame's height.",
        article(&found.shape).to_lowercase(),
        shaped(&found.shape),
        fixed(found.width_percent_of_height.get(), 0)
    )
}

/// What the width belongs to.
#[must_use]
pub fn edge_belongs_to(profile: &Profile) -> String {
    let camera = &profile.camera;
    let mut at = Vec::new();
    at.extend(camera.focal_length_mm.map(|f| format!("{} mm", fixed(f.get(), 0))));
    at.extend(camera.f_number.map(|n| format!("f/{}", figures::rating(n.get()))));
    let measured = if at.is_empty() {
        String::new()
    } else {
        format!(" It was measured at {}.", at.join(" and "))
    };
    format!(
        "Aperture and focal length blur an edge, so the width belongs to them.{measured} What is \
         called hard or soft follows no standard; the limits are ours."
    )
}

/// "red 1.015, blue 0.987": what takes the cast out of the dark half.
#[must_use]
pub fn dark_half_gains(found: &Graduation) -> Option<String> {
    let gains = found.dark_half_gains?;
    Some(format!("red {}, blue {}", fixed(gains.red.get(), 3), fixed(gains.blue.get(), 3)))
}

/// From the lightest to the darkest rotation of a polariser in polarised light.
#[must_use]
pub fn extinction(profile: &Profile) -> Option<String> {
    let found = profile.polarising.as_ref().filter(|p| p.light_polarised)?;
    let most =
        most_light(found).map_or_else(String::new, |angle| format!(", most light at {angle}"));
    let extinction = apart(found.extinction_stops?);
    Some(format!("From lightest to darkest rotation {extinction}{most}."))
}

/// From this expanded uncertainty on, in stops, light near none is only known to be no more than that
/// (ours).
const ONE_SIDED: f64 = 1.0;

/// How far two rotations lie apart: "2.10 ± 0.03 stops"; "at least 7.6 stops" where the darker one
/// is hardly told from no light. A doubt of u95 stops is one of u95 ln 2 of that light itself, and
/// it is the light whose errors are alike to either side.
#[must_use]
pub fn apart(extinction: StopsU95) -> String {
    let (stops, u95) = (extinction.stops.get(), extinction.u95.get());
    if u95 <= ONE_SIDED {
        return format!("{} stops", figures::stops(extinction));
    }
    let tenths = (10.0 * (stops - (u95 * LN_2).ln_1p() / LN_2)).floor();
    if tenths < 1.0 {
        return "an unknown number of stops".to_owned();
    }
    format!("at least {} stops", fixed(tenths / 10.0, 1))
}

/// The rotation of the most light: "40 ± 2°".
#[must_use]
pub fn most_light(found: &Polarising) -> Option<String> {
    let angle = found.angle_of_maximum?.get();
    let angle = match found.angle_u95 {
        Some(u95) => figures::pair(angle, u95.get(), 0),
        None => fixed(angle, 0),
    };
    Some(format!("{angle}\u{b0}"))
}

/// A stack against its parts.
#[must_use]
pub fn stack(profile: &Profile) -> Option<String> {
    let stack = profile.stack.as_ref()?;
    let StopsU95 { stops, u95 } = stack.difference;
    Some(format!(
        "{}: {} stops by their own profiles; measured minus that {} {}.",
        stack.parts.join(" and "),
        figures::stops(stack.predicted),
        figures::signed_with_doubt(stops.get(), u95.get()),
        figures::unit(stops.get())
    ))
}

/// Shading by a ring or holder; empty where it was not looked at.
#[must_use]
pub fn shading(profile: &Profile) -> Vec<String> {
    let Some(found) = &profile.vignetting else { return Vec::new() };
    let mut said = vec![match (found.mechanical, found.onset_percent_of_half_diagonal) {
        (false, _) => "No ring or holder shades the corners.".to_owned(),
        (true, Some(onset)) => format!(
            "A ring or holder shades the corners from {} % of the half diagonal outwards.",
            fixed(onset.get(), 0)
        ),
        (true, None) => "A ring or holder shades the corners.".to_owned(),
    }];
    said.extend((!found.by_focal_length.is_empty()).then(|| widest_safe(found)));
    said
}

fn widest_safe(found: &Vignetting) -> String {
    let names: Vec<String> =
        found.by_focal_length.iter().map(|r| fixed(r.focal_length_mm.get(), 0)).collect();
    let tried = names.join(", ");
    match found.widest_safe_mm {
        Some(focal) => format!(
            "The widest focal length that stays clear is {} mm, of {tried} mm that were tried.",
            fixed(focal.get(), 0)
        ),
        None => format!("None of the focal lengths that were tried stays clear ({tried} mm)."),
    }
}

/// Where the shade begins at each focal length of the shoot.
#[must_use]
pub fn shading_by_focal_length(profile: &Profile) -> Option<String> {
    let found = profile.vignetting.as_ref().filter(|v| !v.by_focal_length.is_empty())?;
    let row = |row: &ShadingAt| {
        let focal = row.focal_length_mm.get();
        let onset = row.onset_percent_of_half_diagonal.filter(|_| row.mechanical);
        match onset.zip(row.darkest_corner_stops) {
            Some((onset, darkest)) => format!(
                "{focal:.0} mm shaded from {:.0} % of the half diagonal, {:.2} {} at most",
                onset.get(),
                darkest.get(),
                figures::unit(darkest.get())
            ),
            None if row.mechanical => format!("{focal:.0} mm shaded"),
            None => format!("{focal:.0} mm clear"),
        }
    };
    let rows: Vec<String> = found.by_focal_length.iter().map(row).collect();
    Some(format!("By focal length: {}.", rows.join("; ")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Stops;

    /// A thousandth of the light, known to three thousandths, is four thousandths at most: 7.966 stops.
    #[test]
    fn what_is_hardly_told_from_no_light_is_said_to_one_side() {
        let of = |stops: f64, u95: f64| {
            apart(StopsU95 { stops: Stops::new(stops), u95: Stops::new(u95) })
        };
        assert_eq!(of(1000.0_f64.log2(), 3.0 / LN_2), "at least 7.9 stops");
        assert_eq!(of(2.104, 0.031), "2.10\u{a0}\u{b1}\u{a0}0.03 stops");
        assert_eq!(of(0.5, 4.0), "an unknown number of stops");
    }
}
