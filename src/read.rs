//! Files to frames: the choice of decoder, and what is joined to its pixels.
//!
//! DNG goes to `rawler`, but for plain numbers, which stay where they were read; vendor formats in
//! `rawloader`'s camera table to that, what it does not know to `rawler`, Sony's blocks to a decoder
//! of our own; pictures to `image`. Chosen by content and capability; what no decoder here can read
//! whole is refused by name and reason.

pub mod error;
pub mod kind;
pub mod pool;
pub mod carried;
mod bytes;
mod ciff;
mod containers;
mod dng;
mod examined;
mod exif;
mod hash;
mod lossless_jpeg;
mod picture;
mod pixels;
mod preflight;
mod rawler;
mod rawloader;
mod rows;
pub mod small;
mod sony;
mod spare;
mod vendor;
mod wire;
mod worker;
#[cfg(test)]
mod mutated;
pub mod xmp;

use crate::frame::cfa::Cfa;
use crate::frame::counts::Counts;
use crate::frame::{
    Area, ColourMatrix, Frame, FrameInfo, Levels, LinearRgb, Mosaic, Origin, Samples,
};
use crate::tiff::{Tiff, tag};
use bytes::FileBytes;
pub use bytes::file_bytes;
pub use error::ReadError;
pub use examined::{examine, examine_messages};
use exif::Meta;
use image::ImageFormat;
use kind::Content;
pub use kind::{Kind, kind_of};
use pixels::Decoded;
use std::path::Path;
use std::sync::Arc;
pub use worker::serve;

/// How files are to be read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct ReadOptions {
    /// Pictures hold linear light already; nothing is undone.
    pub linear: bool,
}

/// Pixels with their layout, before the file's name and hash are joined to them.
struct Picture {
    samples: Samples,
    active: Area,
    masked: Vec<Area>,
    levels: Levels,
    origin: Origin,
    meta: Meta,
    matrices: Vec<ColourMatrix>,
    neutral: Option<[f64; 3]>,
    subject: Vec<String>,
}

/// Reads and decodes one file, whatever it is.
///
/// `shown_as` is the name that the frame carries from then on.
///
/// # Errors
/// By whose fault it was not read; see [`ReadError`].
pub fn read_frame(path: &Path, shown_as: &str, options: ReadOptions) -> Result<Frame, ReadError> {
    frame_in(&bytes::read(path)?, shown_as, options)
}

/// Decodes bytes that are at hand already; otherwise as [`read_frame`].
///
/// # Errors
/// As [`read_frame`].
pub fn frame_of(
    file: Arc<Vec<u8>>,
    shown_as: &str,
    options: ReadOptions,
) -> Result<Frame, ReadError> {
    frame_in(&file.into(), shown_as, options)
}

fn frame_in(file: &FileBytes, shown_as: &str, options: ReadOptions) -> Result<Frame, ReadError> {
    let mut frame = frame_without_hash(file, shown_as, options)?;
    frame.info.sha256 = hash::Hash::of(file).finish();
    Ok(frame)
}

/// The same before its bytes are hashed.
fn frame_without_hash(
    file: &FileBytes,
    shown_as: &str,
    options: ReadOptions,
) -> Result<Frame, ReadError> {
    let picture = decode(file, options)?;
    plausible(&picture)?;
    rows::none_missing(&picture)?;
    Ok(Frame {
        samples: picture.samples,
        active: picture.active,
        masked: picture.masked,
        levels: picture.levels,
        info: FrameInfo {
            file: shown_as.to_owned(),
            sha256: String::new(),
            origin: picture.origin,
            camera: picture.meta.camera,
            exposure: picture.meta.exposure,
            capture: picture.meta.capture,
            orientation: picture.meta.orientation.unwrap_or(1),
            as_shot_neutral: picture.neutral,
            matrices: picture.matrices,
            noise_reduction: None,
            subject: picture.subject,
        },
    })
}

fn decode(file: &FileBytes, options: ReadOptions) -> Result<Picture, ReadError> {
    let picture = |format| {
        let mut picture =
            picture::decode(file, format, options.linear, exif::from_container(file))?;
        picture.subject.splice(0..0, xmp::keywords_in(file));
        Ok(picture)
    };
    match kind::content(file) {
        Content::Jpeg if !preflight::jpeg_complete(file) => {
            Err(ReadError::damaged("the JPEG picture ends too early"))
        }
        Content::Jpeg => picture(ImageFormat::Jpeg),
        Content::Png => picture(ImageFormat::Png),
        Content::Tiff => tiff(file, options),
        Content::Heif => Err(ReadError::unsupported("HEIF", "shoot raw, or export a 16-bit TIFF")),
        Content::Film => Err(ReadError::NotAPicture { found: "a film".to_owned() }),
        Content::Other(found) => Err(ReadError::NotAPicture { found: found.to_owned() }),
        content => vendor::decode(file, content, None),
    }
}

/// A TIFF structure is a DNG, a vendor's raw file or a picture.
fn tiff(file: &FileBytes, options: ReadOptions) -> Result<Picture, ReadError> {
    let Some(tiff) = Tiff::parse(file)? else {
        return Err(ReadError::NotAPicture { found: "unknown content".to_owned() });
    };
    if tiff.having(tag::DNG_VERSION).is_some() {
        return dng(file, &tiff);
    }
    preflight::extents(&tiff, file.len() as u64)?;
    if vendor::is_raw(&tiff, file) {
        return vendor::decode(file, Content::Tiff, Some(&tiff));
    }
    let root = tiff.root().ok_or_else(|| ReadError::damaged("it has no directory"))?;
    // Bit 0 of NewSubfileType (TIFF 6.0, section 8): a preview whose full picture is lost.
    if root.uint(tag::NEW_SUBFILE_TYPE).is_some_and(|kind| kind & 1 == 1) {
        return Err(ReadError::damaged("only the preview of a picture is left in it"));
    }
    preflight::image(root, file)?;
    let meta = containers::tiff_exif(&tiff).map(exif::from_tiff).unwrap_or_default();
    let keywords = xmp::keywords(root.bytes(tag::XMP).unwrap_or_default());
    let mut picture = picture::decode(file, ImageFormat::Tiff, options.linear, meta)?;
    picture.subject.splice(0..0, keywords);
    Ok(picture)
}

fn dng(file: &FileBytes, tiff: &Tiff<'_>) -> Result<Picture, ReadError> {
    let raw = dng::raw_directory(tiff)
        .ok_or_else(|| ReadError::unsupported("a DNG", "no full-size raw picture in it"))?;
    let image = preflight::image(raw, file)?;
    let linear = dng::is_linear(&image);
    if image.samples != if linear { 3 } else { 1 } {
        let reason = format!("{} values a pixel", image.samples);
        return Err(ReadError::unsupported("a DNG", reason));
    }
    let active = dng::active(raw, &image)?;
    let cfa = if linear { None } else { Some(dng::pattern(raw)?) };
    let (data, levels) = match pixels::dng_pixels(raw, &image, file)? {
        Decoded::Counts(data) => (data, dng::levels(raw, &image)?),
        Decoded::Light(light) => {
            let (data, levels) = dng::scaled(raw, &image, &light)?;
            (data.into(), levels)
        }
    };
    let (width, height) = (image.width, image.height);
    let meta = containers::tiff_exif(tiff).map(exif::from_tiff).unwrap_or_default();
    let packet = tiff.having(tag::XMP).and_then(|d| d.bytes(tag::XMP)).unwrap_or_default();
    let mut subject = xmp::keywords(packet);
    subject.extend(meta.description.clone());
    Ok(Picture {
        samples: samples(width, height, data, cfa),
        active,
        masked: if linear { Vec::new() } else { dng::masked(raw, &image, &active) },
        levels,
        origin: if linear { Origin::LinearDng } else { Origin::Raw },
        subject,
        meta,
        matrices: dng::matrices(tiff),
        neutral: dng::neutral(tiff),
    })
}

fn samples(width: usize, height: usize, data: Counts, cfa: Option<Cfa>) -> Samples {
    match cfa {
        Some(cfa) => Samples::Raw(Mosaic { width, height, data }, cfa),
        None => Samples::Rendered(LinearRgb { width, height, data }),
    }
}

/// What the container's extents cannot tell: a decoder that ran out of data leaves zeros at the
/// end, a tilted sensor leaves them in the corners. Where black lies above zero no pixel of a real
/// frame is an exact zero all along a row.
fn plausible(picture: &Picture) -> Result<(), ReadError> {
    let Samples::Raw(mosaic, _) = &picture.samples else { return Ok(()) };
    let active = &picture.active;
    let row = |row: usize| {
        let (columns, mut values) = (active.left..active.left + active.width, Vec::new());
        mosaic.data.part(mosaic.width, row..row + 1, columns, &mut values);
        values
    };
    let zero = |values: &[u16]| values.iter().all(|&v| v == 0);
    let (first, last) = (active.top, active.top + active.height - 1);
    if (active.top..=last).all(|r| zero(&row(r))) {
        return Err(ReadError::damaged("all its pixels are zero: they are missing"));
    }
    let black = picture.levels.black.values.iter().copied().fold(f64::INFINITY, f64::min);
    if black > 16.0 && zero(&row(last)) {
        return Err(ReadError::damaged("its last rows hold only zeros: pixels are missing"));
    }
    let side = (active.width / 64).max(2);
    let corner = |r: usize| zero(&row(r)[..side]) && zero(&row(r)[active.width - side..]);
    if active.width > 64 && corner(first) && corner(last) {
        let centre = row((first + last) / 2);
        if !zero(&centre) && centre.iter().filter(|&&v| v > 0).count() > centre.len() / 2 {
            return Err(ReadError::unsupported(
                "this raw file",
                "its corners are empty: its pixels stand on a tilted grid",
            ));
        }
    }
    Ok(())
}
