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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_fills_no_picture_is_none() {
        assert!(png(2, 2, &[0; 11]).is_none());
        assert!(png(0, 0, &[]).is_none());
        let file = png(2, 1, &[255, 0, 0, 0, 0, 255]).unwrap_or_default();
        assert!(file.starts_with(b"\x89PNG\r\n\x1a\n"));
    }
}
