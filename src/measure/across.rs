//! Everything across the frame: evenness of every setting, and shading.

use super::evenness::{self, Found};
use super::map::RatioMap;
use super::vignetting::Shade;
use crate::caution::Caution;
use crate::profile::{Corners, Profile, Vignetting};
use crate::quantity::{Percent, Stops};
use rayon::prelude::*;

/// Fills evenness of every setting from its map, and shading by a ring or holder; gives back what the
/// maps tell.
pub fn fill(profile: &mut Profile, maps: &[Option<RatioMap>]) -> Vec<Option<Found>> {
    let found: Vec<Option<Found>> =
        maps.par_iter().map(|map| evenness::evenness(map.as_ref()?)).collect();
    profile.vignetting = vignetting(&found);
    for (setting, found) in profile.settings.iter_mut().zip(&found) {
        if let Some(found) = found {
            setting.evenness = Some(found.record.clone());
            setting.cautions.extend(found.cautions.iter().map(Caution::record));
        }
    }
    found
}

/// The setting whose shade begins nearest to the centre stands for the mount; where none is shaded,
/// that is said too.
fn vignetting(found: &[Option<Found>]) -> Option<Vignetting> {
    let known: Vec<&Found> = found.iter().flatten().collect();
    let onset = |f: &&&Found| f.shade.onset.unwrap_or(f64::INFINITY);
    let worst = known.iter().min_by(|a, b| onset(a).total_cmp(&onset(b)))?;
    Some(Vignetting {
        mechanical: worst.shade.mechanical,
        onset_percent_of_half_diagonal: worst.shade.onset.map(|r| Percent::new(100.0 * r)),
        corners_stops: worst.shade.mechanical.then(|| corners(&worst.clean, &worst.shade)),
        by_focal_length: Vec::new(),
        widest_safe_mm: None,
    })
}

/// The darkest shaded cell of each quarter of the frame.
pub fn corners(map: &RatioMap, shade: &Shade) -> Corners {
    let darkest = |right: bool, top: bool| {
        let inside = |i: &usize| {
            let (x, y) = map.position(*i);
            (x > 0.0) == right && (y > 0.0) == top
        };
        let darkness = (0..map.len()).filter(inside).map(|i| shade.stops[i]);
        Stops::new(darkness.fold(0.0, f64::max))
    };
    Corners {
        top_left: darkest(false, true),
        top_right: darkest(true, true),
        bottom_left: darkest(false, false),
        bottom_right: darkest(true, false),
    }
}
