//! What a terminal shows of everything across the frame: lenses for a ring, a graduation, a
//! polariser, a stack, shading.

use super::view::special;
use crate::profile::{Profile, ShadingAt, Vignetting};
use crate::rounding;

/// Columns of figures beside the label.
const COLUMNS: usize = 10;

/// For each mark the widest lens, for each lens the last mark; at most 80 columns.
pub fn lenses(profile: &Profile) -> Vec<String> {
    let Some(pair) = &profile.polariser_pair else { return Vec::new() };
    if pair.last_mark.is_empty() {
        return Vec::new();
    }
    let cells = |label: &str, texts: Vec<String>| {
        format!("{label:<17}{}", texts.iter().map(|t| format!("{t:>6}")).collect::<String>())
    };
    let focal = |f: f64| format!("{f:.0}");
    let widest = pair
        .widest_lens_mm
        .iter()
        .map(|w| w.focal_length_mm.map_or_else(|| "none".to_owned(), |f| focal(f.get())));
    let names = pair.widest_lens_mm.iter().map(|w| short(&w.mark)).collect::<Vec<_>>();
    let lenses = pair.last_mark.iter().map(|l| focal(l.focal_length_mm.get()));
    let last = pair.last_mark.iter().map(|l| short(l.mark.as_deref().unwrap_or("none")));
    let mut lines = vec![String::new()];
    for (names, widest) in names.chunks(COLUMNS).zip(widest.collect::<Vec<_>>().chunks(COLUMNS)) {
        lines.push(cells("mark", names.to_vec()));
        lines.push(cells("widest lens, mm", widest.to_vec()));
    }
    lines.push(cells("lens, mm", lenses.collect()));
    lines.push(cells("last mark", last.collect()));
    lines.extend(profile.camera.sensor_mm.as_ref().map(|sensor| {
        let (width, height) = (sensor.width.get(), sensor.height.get());
        format!("(on a sensor of {width:.1} x {height:.1} mm: {})", sensor.source)
    }));
    lines
}

/// A label that fits a column.
fn short(label: &str) -> String {
    label.chars().take(5).collect()
}

/// The edge of a graduated filter.
pub fn graduation(profile: &Profile) -> Vec<String> {
    let Some(found) = &profile.graduation else { return Vec::new() };
    let mut lines = vec![format!(
        "Edge: {} (our limits, there is no standard), {:.0} % of the height from 10 to 90 %, its \
         middle {:.0} % from the top, turned by {:.1} degrees. The clear end takes {:.2} stop.",
        found.shape,
        found.width_percent_of_height.get(),
        found.centre_percent_of_height.get(),
        found.angle.get(),
        found.clear_end_stops.get(),
    )];
    if let Some(gains) = found.dark_half_gains {
        lines.push(format!(
            "Dark half: raw gains red {}, blue {} (green 1).",
            rounding::fixed(gains.red.get(), 3),
            rounding::fixed(gains.blue.get(), 3)
        ));
    }
    lines
}

/// What a polariser does.
pub fn polarising(profile: &Profile) -> Vec<String> {
    let Some(found) = &profile.polarising else { return Vec::new() };
    let mut lines = Vec::new();
    if let (true, Some(extinction)) = (found.light_polarised, found.extinction_stops) {
        let value = rounding::with_doubt(extinction.stops.get(), extinction.u95.get());
        let most = found
            .angle_of_maximum
            .map_or_else(String::new, |a| format!(", most light at {:.0} degrees", a.get()));
        lines.push(format!("From lightest to darkest rotation {value} stops{most}."));
    }
    lines
}

/// A stack against its parts.
pub fn stack(profile: &Profile) -> Vec<String> {
    let Some(stack) = &profile.stack else { return Vec::new() };
    let value = |v: crate::profile::StopsU95| rounding::with_doubt(v.stops.get(), v.u95.get());
    vec![format!(
        "{}: {} stops by their own profiles; measured minus that {} stop.",
        stack.parts.join(" and "),
        value(stack.predicted),
        value(stack.difference)
    )]
}

/// Shading by a ring or holder, where there is any.
pub fn vignetting(profile: &Profile) -> Vec<String> {
    let told = |v: &Vignetting| v.mechanical || !v.by_focal_length.is_empty();
    let told = profile.vignetting.as_ref().is_some_and(told);
    let part = special::vignetting(profile).filter(|_| told);
    let mut lines = part.map_or_else(Vec::new, |part| part.lead);
    lines.extend(shading_by_focal_length(profile));
    lines
}

/// Where the shade begins at each focal length of the shoot.
fn shading_by_focal_length(profile: &Profile) -> Option<String> {
    let found = profile.vignetting.as_ref().filter(|v| !v.by_focal_length.is_empty())?;
    let row = |row: &ShadingAt| {
        let focal = row.focal_length_mm.get();
        let onset = row.onset_percent_of_half_diagonal.filter(|_| row.mechanical);
        match onset.zip(row.darkest_corner_stops) {
            Some((onset, darkest)) => format!(
                "{focal:.0} mm shaded from {:.0} % of the half diagonal, {:.2} stop at most",
                onset.get(),
                darkest.get()
            ),
            None if row.mechanical => format!("{focal:.0} mm shaded"),
            None => format!("{focal:.0} mm clear"),
        }
    };
    let rows: Vec<String> = found.by_focal_length.iter().map(row).collect();
    Some(format!("By focal length: {}.", rows.join("; ")))
}
