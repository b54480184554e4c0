//! What a DNG's tags say of its picture (DNG specification 1.7.1, chapter 4): which directory holds
//! it, the active and masked areas, the colour pattern, levels and colour.

use super::error::ReadError;
use super::preflight::Image;
use crate::frame::cfa::Cfa;
use crate::frame::{Area, BlackPattern, ColourMatrix, Levels};
use crate::tiff::{Directory, Tiff, tag};

/// Photometric interpretations of raw pictures.
const CFA: u64 = 32_803;
const LINEAR_RAW: u64 = 34_892;
/// Largest repeat of a black pattern that is believed, rows times columns.
const MOST_BLACK: usize = 64;
/// Columns and rows next to the active area that are not trusted as masked: light creeps under the
/// edge of the mask.
pub(super) const MASK_MARGIN: usize = 8;
/// Narrowest masked strip worth measuring after that.
const LEAST_MASKED: usize = 8;

/// The directory of the full-size raw picture: not a preview, coded as a mosaic or as linear light,
/// and the largest of those.
pub(super) fn raw_directory<'t, 'a>(tiff: &'t Tiff<'a>) -> Option<&'t Directory<'a>> {
    tiff.images()
        .filter(|d| d.uint(tag::NEW_SUBFILE_TYPE).unwrap_or(0) == 0)
        .filter(|d| matches!(d.uint(tag::PHOTOMETRIC), Some(CFA | LINEAR_RAW)))
        .max_by_key(|d| {
            let side = |t| d.uint(t).unwrap_or(0);
            side(tag::IMAGE_WIDTH).saturating_mul(side(tag::IMAGE_LENGTH))
        })
}

/// Whether the picture holds three values a pixel.
pub(super) fn is_linear(image: &Image) -> bool {
    image.photometric == LINEAR_RAW
}

/// The colour pattern from the active area's origin.
///
/// # Errors
/// `Unsupported` for patterns that are neither Bayer nor X-Trans.
pub(super) fn pattern(raw: &Directory<'_>) -> Result<Cfa, ReadError> {
    let unsupported = |reason: String| ReadError::unsupported("a raw file", reason);
    let colours = raw.bytes(tag::CFA_PLANE_COLOR).unwrap_or(&[0, 1, 2]);
    let letters = raw
        .bytes(tag::CFA_PATTERN)
        .ok_or_else(|| unsupported("no colour filter pattern in it".into()))?
        .iter()
        .map(|&plane| match colours.get(usize::from(plane)) {
            Some(0) => 'R',
            Some(1) => 'G',
            Some(2) => 'B',
            _ => '?',
        })
        .collect::<String>();
    let repeat = raw.uints(tag::CFA_REPEAT).unwrap_or_default();
    let square = repeat.len() == 2 && repeat[0] == repeat[1];
    if !square || repeat[0] * repeat[1] != letters.len() as u64 {
        return Err(unsupported(format!("colour filter pattern {letters:?} of {repeat:?}")));
    }
    Cfa::from_letters(&letters).map_err(|e| unsupported(e.to_string()))
}

/// A rectangle from four DNG numbers: top, left, bottom, right; `None` where empty or outside.
fn rectangle(numbers: &[u64], image: &Image) -> Option<Area> {
    let [top, left, bottom, right] = *<&[u64; 4]>::try_from(numbers).ok()?;
    let fits = top < bottom
        && left < right
        && bottom <= image.height as u64
        && right <= image.width as u64;
    fits.then(|| Area {
        left: left as usize,
        top: top as usize,
        width: (right - left) as usize,
        height: (bottom - top) as usize,
    })
}

/// The active area; the whole frame where the file names none.
///
/// # Errors
/// `Damaged` where it does not lie in the frame.
pub(super) fn active(raw: &Directory<'_>, image: &Image) -> Result<Area, ReadError> {
    match raw.uints(tag::ACTIVE_AREA) {
        None => Ok(Area { left: 0, top: 0, width: image.width, height: image.height }),
        Some(numbers) => rectangle(&numbers, image).ok_or_else(|| {
            ReadError::damaged(format!(
                "active area {numbers:?} in {} x {} pixels",
                image.width, image.height
            ))
        }),
    }
}

/// Masked areas: those that the file names, else the borders outside the active area, less a
/// margin at the active area and at the frame's rim.
pub(super) fn masked(raw: &Directory<'_>, image: &Image, active: &Area) -> Vec<Area> {
    match raw.uints(tag::MASKED_AREAS) {
        Some(numbers) => {
            numbers.as_chunks::<4>().0.iter().filter_map(|n| rectangle(n, image)).collect()
        }
        None => borders(image.width, image.height, active),
    }
}

/// The left border of a frame as a masked area where it is wide enough. Sensors keep their masked
/// columns on the left and masked rows at the top; strips on the right and at the bottom are as
/// often padding, and rows at the top hold other signals on some, so only the left one is believed.
pub(super) fn borders(width: usize, height: usize, active: &Area) -> Vec<Area> {
    let usable = active.left.saturating_sub(MASK_MARGIN + MASK_MARGIN / 2);
    if usable < LEAST_MASKED || active.left + active.width > width || active.height > height {
        return Vec::new();
    }
    vec![Area { left: MASK_MARGIN / 2, top: active.top, width: usable, height: active.height }]
}

/// Black and white levels. Row and column deltas are averaged into the black.
///
/// # Errors
/// `Damaged` where the numbers do not fit together.
pub(super) fn levels(raw: &Directory<'_>, image: &Image) -> Result<Levels, ReadError> {
    let mean = |tag| {
        raw.numbers(tag)
            .filter(|d| !d.is_empty())
            .map_or(0.0, |d| d.iter().sum::<f64>() / d.len() as f64)
    };
    let shift = mean(tag::BLACK_DELTA_H) + mean(tag::BLACK_DELTA_V);
    let mut black = black_pattern(raw, image)?;
    black.values.iter_mut().for_each(|v| *v += shift);
    Ok(Levels { black, white: white(raw, image)? })
}

fn black_pattern(raw: &Directory<'_>, image: &Image) -> Result<BlackPattern, ReadError> {
    let Some(values) = raw.numbers(tag::BLACK_LEVEL) else {
        return Ok(BlackPattern::uniform(0.0));
    };
    let repeat = raw.uints(tag::BLACK_REPEAT).filter(|r| r.len() == 2).unwrap_or(vec![1, 1]);
    let (rows, columns) = (repeat[0] as usize, repeat[1] as usize);
    let cells = rows.saturating_mul(columns);
    let samples = image.samples;
    if cells == 0 || cells > MOST_BLACK || values.len() != cells * samples {
        return Err(ReadError::damaged(format!(
            "{} black levels for a repeat of {rows} x {columns}",
            values.len()
        )));
    }
    // Three-channel pictures have a level per channel; they are alike in practice, so averaged.
    let values = values
        .chunks_exact(samples)
        .map(|pixel| pixel.iter().sum::<f64>() / samples as f64)
        .collect();
    Ok(BlackPattern { rows, columns, values })
}

fn white(raw: &Directory<'_>, image: &Image) -> Result<u16, ReadError> {
    let default = match raw.uints(tag::LINEARIZATION) {
        Some(table) => table.last().copied().unwrap_or(0),
        None => (1_u64 << image.bits.min(16)) - 1,
    };
    let listed = raw.numbers(tag::WHITE_LEVEL).unwrap_or_default();
    // The lowest of several: a channel above it may be clipped.
    let white = listed.into_iter().reduce(f64::min).unwrap_or(default as f64);
    if white >= 1.0 {
        Ok(white.min(65_535.0) as u16)
    } else {
        Err(ReadError::damaged(format!("white level {white}")))
    }
}

/// Floating-point light on 16-bit counts, with its levels: white becomes 65535.
///
/// # Errors
/// `Damaged` where the levels do not fit together.
pub(super) fn scaled(
    raw: &Directory<'_>,
    image: &Image,
    light: &[f32],
) -> Result<(Vec<u16>, Levels), ReadError> {
    let white = raw.numbers(tag::WHITE_LEVEL).and_then(|w| w.into_iter().reduce(f64::max));
    let white = white.unwrap_or(1.0);
    if white <= 0.0 {
        return Err(ReadError::damaged(format!("white level {white}")));
    }
    let scale = 65_535.0 / white;
    let mut black = black_pattern(raw, image)?;
    black.values.iter_mut().for_each(|v| *v *= scale);
    // NaN becomes 0: `as` saturates.
    let data = light.iter().map(|&v| (f64::from(v) * scale).round() as u16).collect();
    Ok((data, Levels { black, white: u16::MAX }))
}

/// Colour matrices with their illuminants, analogue balance multiplied in.
pub(super) fn matrices(tiff: &Tiff<'_>) -> Vec<ColourMatrix> {
    let balance = tiff
        .having(tag::ANALOG_BALANCE)
        .and_then(|d| d.numbers(tag::ANALOG_BALANCE))
        .filter(|b| b.len() == 3)
        .unwrap_or(vec![1.0; 3]);
    [(tag::COLOR_MATRIX_1, tag::ILLUMINANT_1), (tag::COLOR_MATRIX_2, tag::ILLUMINANT_2)]
        .into_iter()
        .filter_map(|(matrix, illuminant)| {
            let directory = tiff.having(matrix)?;
            let mut numbers = <[f64; 9]>::try_from(directory.numbers(matrix)?).ok()?;
            for (i, number) in numbers.iter_mut().enumerate() {
                *number *= balance[i / 3];
            }
            let illuminant = directory.uint(illuminant).filter(|&i| i > 0);
            Some(ColourMatrix {
                illuminant: illuminant.map(|i| i as u16),
                xyz_to_camera: numbers,
                source: "file".to_owned(),
            })
        })
        .collect()
}

/// Camera RGB of neutral as shot, green = 1.
pub(super) fn neutral(tiff: &Tiff<'_>) -> Option<[f64; 3]> {
    let numbers = tiff.having(tag::AS_SHOT_NEUTRAL)?.numbers(tag::AS_SHOT_NEUTRAL)?;
    let [red, green, blue] = <[f64; 3]>::try_from(numbers).ok()?;
    (red > 0.0 && green > 0.0 && blue > 0.0).then(|| [red / green, 1.0, blue / green])
}

/// The table that maps stored to linear counts.
pub(super) fn linearization(raw: &Directory<'_>) -> Option<Vec<u16>> {
    let table = raw.uints(tag::LINEARIZATION)?;
    (!table.is_empty()).then(|| table.iter().map(|&v| v.min(65_535) as u16).collect())
}
