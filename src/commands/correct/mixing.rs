//! What takes a cast out of a picture, whose channels a camera matrix has mixed.

use super::encoding::Encoding;
use super::light::exif_short;
use crate::editing::evenness::Through;
use crate::editing::rendered::cast_out;
use crate::measure::colour::illuminant_kelvin;
use crate::read::carried::carried;
use crate::read::file_bytes;
use crate::say::cast::DAYLIGHT;
use crate::tiff::tag;
use std::path::Path;

/// Ratios, row by row, for linear colours of the picture.
///
/// # Errors
/// Why its cast cannot be taken out, and what can be done instead.
pub fn matrix(path: &Path, through: &[Through<'_>], gains: [f64; 3]) -> Result<[f64; 9], String> {
    let carried = carried(&file_bytes(path).map_err(|e| e.to_string())?);
    let encoding = Encoding::of(carried.icc.as_deref())?;
    let known = through.iter().find_map(|t| t.profile.camera.colour_matrix.as_ref());
    let name = through.first().map_or("", |t| t.profile.filter.name.as_str());
    let camera = known.ok_or_else(|| {
        format!(
            "its colours were mixed by the camera's colour matrix, which the profile of {name:?} does not \
             hold: correct the raw file"
        )
    })?;
    // The scene's own light: that of the wall that the filter was measured on is another.
    let preset = exif_short(&carried.exif, tag::LIGHT_SOURCE).and_then(illuminant_kelvin);
    let light = preset.unwrap_or(DAYLIGHT);
    cast_out(gains, &camera.xyz_to_camera, light, &encoding.to_xyz()).ok_or_else(|| {
        format!(
            "its colours cannot be traced back through the colour matrix in the profile of {name:?}: \
             correct the raw file"
        )
    })
}
