//! Files to frames: the choice of decoder, and what is joined to its pixels.
//!
//! DNG goes to `rawler`, vendor formats in `rawloader`'s camera table to that, what it cannot read
//! to `rawler`, pictures to `image`. Chosen by content, never by trial and error; what no decoder
//! here can read whole is refused by name and reason.

#![allow(dead_code)]

pub mod error;
mod containers;
mod directory;
mod dng;
mod exif;
mod preflight;
mod rawler;

use crate::frame::cfa::Cfa;
use crate::frame::{
    Area, ColourMatrix, Frame, FrameInfo, Levels, LinearRgb, Mosaic, Origin, Samples,
};
use directory::{Tiff, tag};
pub use error::ReadError;
use exif::Meta;
use rawler::Decoded;
use sha2::{Digest, Sha256};
use std::path::Path;
use std::sync::Arc;

/// How files are to be read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
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
    let file = Arc::new(file_bytes(path)?);
    let picture = decode(&file, options)?;
    let sha256 = Sha256::digest(file.as_slice());
    Ok(Frame {
        samples: picture.samples,
        active: picture.active,
        masked: picture.masked,
        levels: picture.levels,
        info: FrameInfo {
            file: shown_as.to_owned(),
            sha256: sha256.iter().map(|byte| format!("{byte:02x}")).collect(),
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

/// The bytes of a regular file; links to one are followed.
fn file_bytes(path: &Path) -> Result<Vec<u8>, ReadError> {
    let about = std::fs::metadata(path)?;
    if about.is_dir() {
        return Err(ReadError::Folder);
    }
    if !about.is_file() {
        return Err(ReadError::NotRegular { kind: special_kind(about.file_type()).to_owned() });
    }
    if about.len() == 0 {
        return Err(ReadError::Empty);
    }
    Ok(std::fs::read(path)?)
}

#[cfg(unix)]
fn special_kind(kind: std::fs::FileType) -> &'static str {
    use std::os::unix::fs::FileTypeExt;
    if kind.is_fifo() {
        "pipe"
    } else if kind.is_socket() {
        "socket"
    } else {
        "device"
    }
}

#[cfg(not(unix))]
fn special_kind(_: std::fs::FileType) -> &'static str {
    "device"
}

fn decode(file: &Arc<Vec<u8>>, _options: ReadOptions) -> Result<Picture, ReadError> {
    let tiff = Tiff::parse(file)?;
    match tiff {
        Some(tiff) if tiff.having(tag::DNG_VERSION).is_some() => dng(file, &tiff),
        _ => Err(ReadError::NotAPicture { found: "unknown content".to_owned() }),
    }
}

fn dng(file: &Arc<Vec<u8>>, tiff: &Tiff<'_>) -> Result<Picture, ReadError> {
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
    let (data, levels) = match rawler::dng_pixels(raw, &image, file)? {
        Decoded::Counts(data) => (data, dng::levels(raw, &image)?),
        Decoded::Light(light) => dng::scaled(raw, &image, &light)?,
    };
    let (width, height) = (image.width, image.height);
    let meta = containers::tiff_exif(tiff).map(exif::from_tiff).unwrap_or_default();
    Ok(Picture {
        samples: samples(width, height, data, cfa),
        active,
        masked: if linear { Vec::new() } else { dng::masked(raw, &image, &active) },
        levels,
        origin: if linear { Origin::LinearDng } else { Origin::Raw },
        subject: subject(tiff, &meta),
        meta,
        matrices: dng::matrices(tiff),
        neutral: dng::neutral(tiff),
    })
}

fn samples(width: usize, height: usize, data: Vec<u16>, cfa: Option<Cfa>) -> Samples {
    match cfa {
        Some(cfa) => Samples::Raw(Mosaic { width, height, data }, cfa),
        None => Samples::Rendered(LinearRgb { width, height, data }),
    }
}

fn subject(_tiff: &Tiff<'_>, meta: &Meta) -> Vec<String> {
    meta.description.iter().cloned().collect()
}
