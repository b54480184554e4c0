//! Pixels of a DNG: which stay where they were read, which are unpacked here, which are decoded.

use super::bytes::FileBytes;
use super::dng;
use super::error::ReadError;
use super::lossless_jpeg::{Scratch, Stream};
use super::preflight::Image;
use super::rawler::plain;
use super::spare;
use crate::frame::counts::Counts;
use crate::tiff::{Directory, Order, tag};
use ::rawler::RawImageData;

const UNCOMPRESSED: u64 = 1;
/// Compression of TIFF and DNG: JPEG, which in a mosaic is lossless JPEG.
const LOSSLESS_JPEG: u64 = 7;

/// Decoded values before layout and levels are joined to them.
pub(super) enum Decoded {
    Counts(Counts),
    /// Floating point; 1 is white unless the file says otherwise.
    Light(Vec<f32>),
}

/// Decodes the picture that the preflight has checked. Only the tags that the decoder needs are
/// handed over: the linearization table in particular is applied here, without dither.
///
/// # Errors
/// `DecoderFailed`, `Unsupported`.
pub(super) fn dng_pixels(
    raw: &Directory<'_>,
    image: &Image,
    file: &FileBytes,
) -> Result<Decoded, ReadError> {
    if let Some(counts) = in_place(raw, image, file) {
        return Ok(Decoded::Counts(linearized(raw, counts)));
    }
    let row_bits = image.chunk.0 * image.samples * image.bits;
    if image.compression == UNCOMPRESSED && !float(raw) && !row_bits.is_multiple_of(8) {
        // Rows that end within a byte: the decoder would run them together.
        return Ok(Decoded::Counts(linearized(raw, unpack(image, file).into())));
    }
    if image.compression == LOSSLESS_JPEG
        && !float(raw)
        && !interleaved(raw)
        && let Some(counts) = lossless(image, file)?
    {
        return Ok(Decoded::Counts(linearized(raw, counts.into())));
    }
    let data = plain(raw, image, file)?;
    let expected = image.width * image.height * image.samples;
    match data {
        RawImageData::Integer(data) if data.len() == expected => {
            Ok(Decoded::Counts(linearized(raw, data.into())))
        }
        RawImageData::Float(data) if data.len() == expected => Ok(Decoded::Light(data)),
        RawImageData::Integer(_) | RawImageData::Float(_) => {
            Err(ReadError::damaged("the decoded picture has another size than the file says"))
        }
    }
}

/// Plain numbers of 16 bits, one row after the other, are the file's own bytes.
fn in_place(raw: &Directory<'_>, image: &Image, file: &FileBytes) -> Option<Counts> {
    let row = 2 * image.width * image.samples;
    let plain = image.compression == UNCOMPRESSED
        && image.bits == 16
        && raw.order == Order::Little
        && raw.uint(tag::SAMPLE_FORMAT).unwrap_or(1) == 1
        && image.chunk.0 == image.width
        && !interleaved(raw);
    let first = usize::try_from(*image.offsets.first()?).ok()?;
    let one_after_the_other = || {
        let strips = image.offsets.iter().enumerate();
        strips.into_iter().all(|(index, &at)| at as usize == first + index * image.chunk.1 * row)
    };
    (plain && one_after_the_other()).then_some(())?;
    file.counts(first..first.checked_add(row * image.height)?)
}

/// Strips or tiles of lossless JPEG; `None` where one is not of the usual form.
fn lossless(image: &Image, file: &[u8]) -> Result<Option<Vec<u16>>, ReadError> {
    let line = image.width * image.samples;
    let across = image.width.div_ceil(image.chunk.0);
    let chunk_line = image.chunk.0 * image.samples;
    let (mut all, mut scratch) = (spare::take(line * image.height), Scratch::default());
    for (index, (&offset, &count)) in image.offsets.iter().zip(&image.counts).enumerate() {
        let data = &file[offset as usize..(offset + count) as usize];
        let Some(stream) = Stream::parse(data) else { return Ok(None) };
        let (left, top) = (index % across * chunk_line, index / across * image.chunk.1);
        let wanted = image.chunk_rows(index).min(image.height - top) * chunk_line;
        // Values fill the tile one after the other, whatever the length of the stream's rows.
        stream.rows(wanted.div_ceil(stream.width()), &mut scratch, |row, mut values| {
            let mut at = row * stream.width();
            while !values.is_empty() && at < wanted {
                let (y, x) = (at / chunk_line, at % chunk_line);
                let (now, later) = values.split_at(values.len().min(chunk_line - x));
                let inside = now.len().min(line.saturating_sub(left + x));
                let start = (top + y) * line + left + x;
                all[start..start + inside].copy_from_slice(&now[..inside]);
                (at, values) = (at + now.len(), later);
            }
        })?;
    }
    Ok(Some(all))
}

fn interleaved(raw: &Directory<'_>) -> bool {
    [tag::ROW_INTERLEAVE, tag::COLUMN_INTERLEAVE]
        .iter()
        .any(|&tag| raw.uint(tag).is_some_and(|n| n > 1))
}

fn float(raw: &Directory<'_>) -> bool {
    raw.uint(tag::SAMPLE_FORMAT) == Some(3)
}

fn linearized(raw: &Directory<'_>, mut data: Counts) -> Counts {
    if let Some(table) = dng::linearization(raw) {
        let last = table.len() - 1;
        data.iter_mut().for_each(|v| *v = table[usize::from(*v).min(last)]);
    }
    data
}

/// Uncompressed samples, most significant bit first, rows beginning on whole bytes (TIFF 6.0,
/// section 3; DNG 1.7.1, "Compression").
fn unpack(image: &Image, file: &[u8]) -> Vec<u16> {
    let line = image.width * image.samples;
    let across = image.width.div_ceil(image.chunk.0);
    let mut out = vec![0; line * image.height];
    for (index, &offset) in image.offsets.iter().enumerate() {
        let left = index % across * image.chunk.0 * image.samples;
        let top = index / across * image.chunk.1;
        let rows = image.chunk_rows(index).min(image.height - top);
        for row in 0..rows {
            let start = offset as usize + row * image.row_bytes();
            let packed = &file[start..start + image.row_bytes()];
            let columns = (image.chunk.0 * image.samples).min(line - left);
            let place = (top + row) * line + left;
            unpack_row(packed, image.bits, &mut out[place..place + columns]);
        }
    }
    out
}

fn unpack_row(packed: &[u8], bits: usize, out: &mut [u16]) {
    let (mut held, mut have) = (0_u64, 0_usize);
    let mut bytes = packed.iter();
    for value in out {
        while have < bits {
            held = held << 8 | u64::from(bytes.next().copied().unwrap_or(0));
            have += 8;
        }
        have -= bits;
        *value = (held >> have & ((1 << bits.min(16)) - 1)) as u16;
    }
}
