//! Shading by ring or holder at every focal length that a shoot holds, and the widest safe one.

use crate::measure::map::{Detail, RatioMap, frames};
use crate::profile::{ShadingAt, Vignetting};
use crate::quantity::{Millimetres, Percent, Stops};
use crate::shoot::Shoot;

/// The same shading with the table of focal lengths, where the shoot holds more than its own.
#[must_use]
pub fn at_focal_lengths(
    own: Vignetting,
    shoot: &Shoot,
    focal_length: Option<Millimetres>,
    map: Option<&RatioMap>,
) -> Vignetting {
    let mut maps = frames::at_focal_lengths(shoot, Detail::Fine);
    let (Some(focal), Some(map), false) = (focal_length, map, maps.is_empty()) else { return own };
    maps.push((focal.get(), map.clone()));
    maps.sort_by(|a, b| a.0.total_cmp(&b.0));
    let table: Vec<ShadingAt> = maps.iter().map(|(focal, map)| at(*focal, map)).collect();
    Vignetting { widest_safe_mm: widest_safe(&table), by_focal_length: table, ..own }
}

fn at(focal_mm: f64, map: &RatioMap) -> ShadingAt {
    let shade = super::find(map);
    let corners = shade.corners(map);
    let all = [corners.top_left, corners.top_right, corners.bottom_left, corners.bottom_right];
    let darkest = all.into_iter().map(Stops::get).fold(0.0, f64::max);
    ShadingAt {
        focal_length_mm: Millimetres::new(focal_mm),
        mechanical: shade.mechanical,
        onset_percent_of_half_diagonal: shade.onset.map(|r| Percent::new(100.0 * r)),
        darkest_corner_stops: shade.mechanical.then(|| Stops::new(darkest)),
    }
}

/// The shortest focal length from which on nothing is shaded; shortest first.
fn widest_safe(table: &[ShadingAt]) -> Option<Millimetres> {
    let safe = table.iter().rev().take_while(|row| !row.mechanical);
    safe.last().map(|row| row.focal_length_mm)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_widest_safe_lens_lies_beyond_the_last_shaded_one() {
        let row = |focal: f64, mechanical: bool| ShadingAt {
            focal_length_mm: Millimetres::new(focal),
            mechanical,
            onset_percent_of_half_diagonal: None,
            darkest_corner_stops: None,
        };
        let widest = |rows: &[ShadingAt]| widest_safe(rows).map(Millimetres::get);
        assert_eq!(widest(&[row(16.0, true), row(20.0, false), row(24.0, false)]), Some(20.0));
        assert_eq!(widest(&[row(16.0, false), row(20.0, true), row(24.0, false)]), Some(24.0));
        assert_eq!(widest(&[row(16.0, true), row(20.0, true)]), None);
    }
}
