//! Every parser of this module on the same bytes, pixels left alone: what fuzzing and the tests of
//! damaged files call.

use super::containers::{cr3_exif, tiff_exif};
use super::{ciff, dng, exif, kind, preflight, vendor, wire, xmp};
use crate::tiff::Tiff;

/// Looks at bytes as every kind of file at once; whether a DNG in them has all its pixels.
///
/// # Errors
/// A promise of the preflight that does not hold, in words: decoders rely on them.
pub fn examine(file: &[u8]) -> Result<bool, String> {
    kind::content(file);
    drop(ciff::Heap::parse(file).map(|heap| heap.meta()));
    drop(cr3_exif(file));
    drop((vendor::cr3(file), vendor::raf(file), vendor::mrw(file)));
    preflight::jpeg_samples(file);
    preflight::jpeg_complete(file);
    drop(xmp::keywords(file));
    drop(exif::from_container(file));
    tiff(file)
}

/// Looks at bytes as messages between the program and its workers; whether they are a request.
pub fn examine_messages(message: &[u8]) -> bool {
    drop((wire::receive(&mut &*message), wire::receive_answer(&mut &*message)));
    wire::request(message).is_ok()
}

fn tiff(file: &[u8]) -> Result<bool, String> {
    let Ok(Some(tiff)) = Tiff::parse(file) else { return Ok(false) };
    if preflight::extents(&tiff, file.len() as u64).is_ok() {
        vendor::is_raw(&tiff, file);
    }
    drop(tiff_exif(&tiff).map(exif::from_tiff));
    drop((dng::matrices(&tiff), dng::neutral(&tiff)));
    let Some(raw) = dng::raw_directory(&tiff) else { return Ok(false) };
    drop(dng::linearization(raw));
    let pattern = dng::pattern(raw);
    let Ok(image) = preflight::image(raw, file) else { return Ok(false) };
    for (index, (&offset, &count)) in image.offsets.iter().zip(&image.counts).enumerate() {
        let needed = image.row_bytes() * image.chunk_rows(index);
        let short = image.compression == 1 && needed as u64 > count;
        if offset.saturating_add(count) > file.len() as u64 || short {
            return Err(format!("part {index} at {offset} with {count} bytes of {needed}"));
        }
    }
    if let Ok(active) = dng::active(raw, &image) {
        let areas = std::iter::once(active).chain(dng::masked(raw, &image, &active));
        for area in areas {
            let inside = area.left + area.width <= image.width
                && area.top + area.height <= image.height
                && area.width > 0
                && area.height > 0;
            if !inside {
                return Err(format!("{area:?} in {} x {}", image.width, image.height));
            }
        }
    }
    match dng::levels(raw, &image) {
        Ok(levels) if levels.white == 0 || levels.black.values.iter().any(|v| !v.is_finite()) => {
            Err(format!("levels {levels:?}"))
        }
        _ => Ok(pattern.is_ok()),
    }
}
