//! Pixels and camera table through the crate `rawloader`: vendor formats up to about 2018.

use super::Picture;
use super::bytes::FileBytes;
use super::dng::MASK_MARGIN;
use super::error::ReadError;
use super::exif::Meta;
use super::preflight::dimensions;
use super::sony::Blocks;
use crate::frame::cfa::Cfa;
use crate::frame::counts::Counts;
use crate::frame::{Area, BlackPattern, ColourMatrix, Levels, Mosaic, Origin, Samples};
use ::rawloader::{RawImage, RawImageData, RawLoader};
use std::sync::OnceLock;

const NAME: &str = "rawloader";
/// The table's matrices are for standard illuminant D65, in units of 1/10000.
const TABLE_ILLUMINANT: u16 = 21;
const TABLE_UNIT: f64 = 10_000.0;

/// What became of a file.
pub(super) enum Outcome {
    /// Decoded.
    Decoded(Box<Picture>),
    /// Not of a kind that this decoder knows: another one may.
    NotMine,
}

/// The camera table takes some 45 ms to parse, so only when a vendor raw first asks for it.
fn loader() -> &'static RawLoader {
    static LOADER: OnceLock<RawLoader> = OnceLock::new();
    LOADER.get_or_init(RawLoader::new)
}

/// Decodes a vendor raw whose container the preflight has checked.
///
/// # Errors
/// `DecoderFailed` where the file is of a known camera and does not decode, `Unsupported` for
/// layouts that are not measured.
pub(super) fn decode(file: &[u8], meta: Meta) -> Result<Outcome, ReadError> {
    let mut reader = file;
    match loader().decode(&mut reader, false) {
        Ok(image) => Ok(Outcome::Decoded(Box::new(picture(image, None, meta)?))),
        Err(reason) if not_mine(&reason) => Ok(Outcome::NotMine),
        Err(reason) => Err(ReadError::decoder(NAME, &reason)),
    }
}

/// The same where the pixels are decoded here: only table and tags are asked for, and where those
/// stand before the pixels, as cameras write them, the decoder's copy of the file ends there.
///
/// # Errors
/// As [`decode`].
pub(super) fn decode_around(
    blocks: &Blocks,
    file: &FileBytes,
    meta: Meta,
) -> Result<Outcome, ReadError> {
    let without_pixels = |mut bytes: &[u8]| loader().decode(&mut bytes, true);
    let image = without_pixels(&file[..blocks.at.start]).or_else(|_| without_pixels(file));
    match image {
        Ok(image) if (image.width, image.height) == (blocks.width, blocks.height) => {
            let counts = Some(blocks.clone().counts(file));
            Ok(Outcome::Decoded(Box::new(picture(image, counts, meta)?)))
        }
        _ => decode(file, meta),
    }
}

/// The only error is a text; these say that the decoder lacks the camera or the compression, and
/// nothing about the file.
fn not_mine(reason: &str) -> bool {
    ["Couldn't find camera", "Couldn't find a decoder", "RAF: Don't know how to decode compressed"]
        .iter()
        .any(|known| reason.starts_with(known))
}

/// `counts` are its pixels where it has none of its own.
fn picture(image: RawImage, counts: Option<Counts>, meta: Meta) -> Result<Picture, ReadError> {
    if image.cpp != 1 {
        return Err(ReadError::unsupported("a reduced-size raw file", "its colours are mixed"));
    }
    let (width, height) = dimensions(image.width as u64, image.height as u64)?;
    let [top, right, bottom, left] = image.crops;
    let active = Area {
        left,
        top,
        width: width.saturating_sub(left + right),
        height: height.saturating_sub(top + bottom),
    };
    dimensions(active.width as u64, active.height as u64)?;
    let cfa = Cfa::from_letters(&image.cropped_cfa().to_string())
        .map_err(|e| ReadError::unsupported("this raw file", e.to_string()))?;
    let masked = masked(&image, &active);
    let levels = levels(&image, &cfa);
    let (matrices, neutral) = (matrices(&image), neutral(&image.wb_coeffs));
    let data: Counts = match (counts, image.data) {
        (Some(counts), _) => counts,
        (None, RawImageData::Integer(data)) => data.into(),
        _ => return Err(ReadError::unsupported("this raw file", "floating point")),
    };
    if data.len() != width * height {
        return Err(ReadError::damaged("the decoded picture has another size than the file says"));
    }
    let mut meta = meta;
    meta.camera.make.get_or_insert(image.make);
    meta.camera.model.get_or_insert(image.model);
    Ok(Picture {
        samples: Samples::Raw(Mosaic { width, height, data }, cfa),
        active,
        masked,
        levels,
        origin: Origin::Raw,
        subject: meta.description.iter().cloned().collect(),
        meta,
        matrices,
        neutral,
    })
}

/// The table's black areas (top, right, bottom, left), without the part that lies in the picture
/// or next to it.
fn masked(image: &RawImage, active: &Area) -> Vec<Area> {
    let area = |&(top, right, bottom, left): &(u64, u64, u64, u64)| {
        let (top, right) = (top as usize, (right as usize).min(image.width));
        let (bottom, left) = ((bottom as usize).min(image.height), left as usize);
        // A column strip spans all rows; keep those of the picture. A row strip likewise.
        let (top, bottom, left, right) = if right.saturating_sub(left) < bottom.saturating_sub(top)
        {
            let right = if left < active.left { right.min(active.left) } else { right };
            (active.top, active.top + active.height, left, right)
        } else {
            (top, bottom, active.left, active.left + active.width)
        };
        let within = |from: usize, to: usize, side: usize| from < to && to <= side;
        let fits = within(left, right, image.width) && within(top, bottom, image.height);
        let apart = right + MASK_MARGIN / 4 <= active.left
            || left >= active.left + active.width
            || bottom <= active.top
            || top >= active.top + active.height;
        (fits && apart).then(|| Area { left, top, width: right - left, height: bottom - top })
    };
    image.blackareas.iter().filter(|b| b.1 > b.3).filter_map(area).collect()
}

/// Levels come per colour; the two greens share one.
fn levels(image: &RawImage, cfa: &Cfa) -> Levels {
    let letters = cfa.letters();
    let values = letters
        .chars()
        .map(|letter| match letter {
            'R' => image.blacklevels[0],
            'G' => image.blacklevels[1],
            _ => image.blacklevels[2],
        })
        .map(f64::from)
        .collect();
    let white = image.whitelevels[..3].iter().copied().min().unwrap_or(u16::MAX);
    Levels { black: BlackPattern { rows: cfa.side(), columns: cfa.side(), values }, white }
}

fn matrices(image: &RawImage) -> Vec<ColourMatrix> {
    let mut numbers = [0.0; 9];
    for (number, value) in numbers.iter_mut().zip(image.xyz_to_cam.iter().flatten()) {
        *number = f64::from(*value) / TABLE_UNIT;
    }
    if numbers.iter().all(|&n| n == 0.0) {
        return Vec::new();
    }
    vec![ColourMatrix {
        illuminant: Some(TABLE_ILLUMINANT),
        xyz_to_camera: numbers,
        source: "camera table".to_owned(),
    }]
}

/// Neutral from white-balance multipliers, which may be anything where the file has none.
pub(super) fn neutral(multipliers: &[f32; 4]) -> Option<[f64; 3]> {
    let [red, green, blue, _] = multipliers.map(f64::from);
    let good = |v: f64| v.is_finite() && v > 0.0;
    (good(red) && good(green) && good(blue)).then(|| [green / red, 1.0, green / blue])
}
