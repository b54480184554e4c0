//! Small pictures as PNG files (ISO/IEC 15948).

use image::ImageEncoder;
use image::codecs::png::PngEncoder;

/// Eight-bit red, green and blue, row by row, as a PNG file; `None` where the values do not fill the
/// picture.
#[must_use]
pub fn png(width: usize, height: usize, rgb: &[u8]) -> Option<Vec<u8>> {
    let (columns, rows) = (u32::try_from(width).ok()?, u32::try_from(height).ok()?);
    if width == 0 || height == 0 || rgb.len() != 3 * width * height {
        return None;
    }
    let mut bytes = Vec::new();
    let encoder = PngEncoder::new(&mut bytes);
    encoder.write_image(rgb, columns, rows, image::ExtendedColorType::Rgb8).ok()?;
    Some(bytes)
}

/// Columns and rows of a PNG file by its header; `None` where it is none.
#[must_use]
pub fn size(png: &[u8]) -> Option<(usize, usize)> {
    let header = png.strip_prefix(b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR")?;
    let number = |at: usize| -> Option<usize> {
        let bytes: [u8; 4] = header.get(at..at + 4)?.try_into().ok()?;
        usize::try_from(u32::from_be_bytes(bytes)).ok().filter(|n| *n > 0)
    };
    Some((number(0)?, number(4)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_fills_no_picture_is_none() {
        assert!(png(2, 2, &[0; 11]).is_none());
        assert!(png(0, 0, &[]).is_none());
        let file = png(2, 1, &[255, 0, 0, 0, 0, 255]).unwrap_or_default();
        assert!(file.starts_with(b"\x89PNG\r\n\x1a\n"));
        assert_eq!(size(&file), Some((2, 1)));
        assert_eq!((size(b"GIF89a"), size(&file[..20])), (None, None));
    }
}
