//! Pictures through the crate `image`: JPEG, PNG, TIFF. Display values become light.

use super::Picture;
use super::error::ReadError;
use super::exif::Meta;
use super::preflight::dimensions;
use crate::frame::{Area, BlackPattern, Levels, LinearRgb, Origin, Samples};
use image::codecs::png::PngDecoder;
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits};
use palette::encoding::{IntoLinear, Srgb};
use std::io::Cursor;

/// Bytes that a picture's decoder may ask for.
const MOST_MEMORY: u64 = 900 << 20;

/// Decodes a picture; sRGB is undone (IEC 61966-2-1, through `palette`) unless it is linear.
///
/// # Errors
/// `Truncated` or `Damaged` for pictures that end early, `TooLarge`, `Unsupported`.
pub(super) fn decode(
    file: &[u8],
    format: ImageFormat,
    linear: bool,
    meta: Meta,
) -> Result<Picture, ReadError> {
    let name = format.extensions_str().first().copied().unwrap_or("picture");
    let size = ImageReader::with_format(Cursor::new(file), format).into_dimensions();
    let (width, height) = size.map_err(|e| refusal(name, &e))?;
    let (width, height) = dimensions(u64::from(width), u64::from(height))?;
    let mut reader = ImageReader::with_format(Cursor::new(file), format);
    let mut limits = Limits::default();
    limits.max_alloc = Some(MOST_MEMORY);
    reader.limits(limits);
    let image = reader.decode().map_err(|e| refusal(name, &e))?;
    let (data, white) = light(image, linear).ok_or_else(|| {
        ReadError::unsupported("this picture", "its values are neither 8 nor 16 bit")
    })?;
    Ok(Picture {
        samples: Samples::Rendered(LinearRgb { width, height, data: data.into() }),
        active: Area { left: 0, top: 0, width, height },
        masked: Vec::new(),
        levels: Levels { black: BlackPattern::uniform(0.0), white },
        origin: if linear { Origin::LinearPicture } else { Origin::DisplayPicture },
        subject: meta.description.iter().cloned().collect(),
        meta,
        matrices: Vec::new(),
        neutral: None,
    })
}

/// Exif, XMP and colour profile of a PNG file, each `None` where it has none.
pub(super) fn png_metadata(file: &[u8]) -> [Option<Vec<u8>>; 3] {
    let Ok(mut decoder) = PngDecoder::new(Cursor::new(file)) else { return [None, None, None] };
    let kept = |found: image::ImageResult<Option<Vec<u8>>>| found.ok().flatten();
    [kept(decoder.exif_metadata()), kept(decoder.xmp_metadata()), kept(decoder.icc_profile())]
}

fn refusal(name: &str, error: &image::ImageError) -> ReadError {
    use image::ImageError as E;
    match error {
        E::Unsupported(what) => ReadError::unsupported(&format!("this {name} picture"), {
            let text = what.to_string();
            text.lines().next().unwrap_or_default().to_owned()
        }),
        E::IoError(_) => ReadError::damaged(format!("the {name} picture ends too early")),
        other => ReadError::decoder("image", &other.to_string()),
    }
}

/// Interleaved light with the value from which it counts as clipped.
fn light(image: DynamicImage, linear: bool) -> Option<(Vec<u16>, u16)> {
    let eight = matches!(
        image,
        DynamicImage::ImageLuma8(_)
            | DynamicImage::ImageLumaA8(_)
            | DynamicImage::ImageRgb8(_)
            | DynamicImage::ImageRgba8(_)
    );
    let sixteen = matches!(
        image,
        DynamicImage::ImageLuma16(_)
            | DynamicImage::ImageLumaA16(_)
            | DynamicImage::ImageRgb16(_)
            | DynamicImage::ImageRgba16(_)
    );
    if eight {
        let table: Vec<u16> = (0..=u8::MAX)
            .map(|v| if linear { u16::from(v) * 257 } else { full(Srgb::into_linear(v)) })
            .collect();
        let data = image.into_rgb8().into_raw();
        Some((data.into_iter().map(|v| table[usize::from(v)]).collect(), u16::MAX))
    } else if sixteen {
        let mut data = image.into_rgb16().into_raw();
        if !linear {
            let table: Vec<u16> = (0..=u16::MAX)
                .map(|v| {
                    let light: f64 = Srgb::into_linear(f64::from(v) / f64::from(u16::MAX));
                    full(light)
                })
                .collect();
            data.iter_mut().for_each(|v| *v = table[usize::from(*v)]);
        }
        Some((data, u16::MAX))
    } else {
        None
    }
}

fn full(light: f64) -> u16 {
    (light * f64::from(u16::MAX)).round() as u16
}
