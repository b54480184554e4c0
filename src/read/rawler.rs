//! Pixels through the crate `rawler`: DNG, and vendor formats that `rawloader` cannot read.

use super::directory::{Directory, Order, tag};
use super::dng;
use super::error::ReadError;
use super::preflight::Image;
use ::rawler::RawImageData;
use ::rawler::bits::Endian;
use ::rawler::decoders::plain_image_from_ifd;
use ::rawler::formats::tiff::{Entry, IFD, Value};
use ::rawler::rawsource::RawSource;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

const NAME: &str = "rawler";

/// Decoded values before layout and levels are joined to them.
pub(super) enum Decoded {
    Counts(Vec<u16>),
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
    file: &Arc<Vec<u8>>,
) -> Result<Decoded, ReadError> {
    let row_bits = image.chunk.0 * image.samples * image.bits;
    if image.compression == 1 && !float(raw) && !row_bits.is_multiple_of(8) {
        // Rows that end within a byte: the decoder would run them together.
        return Ok(Decoded::Counts(linearized(raw, unpack(image, file))));
    }
    let ifd = description(raw, image);
    let source = RawSource::new_from_shared_vec(Arc::clone(file));
    let result = catch_unwind(AssertUnwindSafe(|| plain_image_from_ifd(&ifd, &source)));
    let data = match result {
        Ok(Ok(data)) => data,
        Ok(Err(error)) => return Err(ReadError::decoder(NAME, &error.to_string())),
        Err(_) => return Err(ReadError::decoder(NAME, "it panicked")),
    };
    let expected = image.width * image.height * image.samples;
    match data {
        RawImageData::Integer(data) if data.len() == expected => {
            Ok(Decoded::Counts(linearized(raw, data)))
        }
        RawImageData::Float(data) if data.len() == expected => Ok(Decoded::Light(data)),
        RawImageData::Integer(_) | RawImageData::Float(_) => {
            Err(ReadError::damaged("the decoded picture has another size than the file says"))
        }
    }
}

fn float(raw: &Directory<'_>) -> bool {
    raw.uint(tag::SAMPLE_FORMAT) == Some(3)
}

fn linearized(raw: &Directory<'_>, mut data: Vec<u16>) -> Vec<u16> {
    if let Some(table) = dng::linearization(raw) {
        let last = table.len() - 1;
        data.iter_mut().for_each(|v| *v = table[usize::from(*v).min(last)]);
    }
    data
}

/// A directory as the decoder wants it: just the geometry, places of pixels always as 32-bit.
fn description(raw: &Directory<'_>, image: &Image) -> IFD {
    let mut ifd = IFD {
        endian: if raw.order == Order::Big { Endian::Big } else { Endian::Little },
        ..IFD::default()
    };
    let long = |values: &[u64]| Value::Long(values.iter().map(|&v| v as u32).collect());
    let short = |value: u64| Value::Short(vec![value as u16]);
    let mut put = |tag: u16, value: Value| {
        ifd.entries.insert(tag, Entry { tag, value, embedded: None });
    };
    put(tag::IMAGE_WIDTH, long(&[image.width as u64]));
    put(tag::IMAGE_LENGTH, long(&[image.height as u64]));
    put(tag::BITS_PER_SAMPLE, short(image.bits as u64));
    put(tag::COMPRESSION, short(image.compression));
    put(tag::PHOTOMETRIC, short(image.photometric));
    put(tag::SAMPLES_PER_PIXEL, short(image.samples as u64));
    for (tag, default) in [
        (tag::SAMPLE_FORMAT, 1),
        (tag::PREDICTOR, 1),
        (tag::ROW_INTERLEAVE, 1),
        (tag::COLUMN_INTERLEAVE, 1),
    ] {
        put(tag, short(raw.uint(tag).unwrap_or(default)));
    }
    let (columns, rows) = image.chunk;
    if image.tiled {
        put(tag::TILE_WIDTH, long(&[columns as u64]));
        put(tag::TILE_LENGTH, long(&[rows as u64]));
        put(tag::TILE_OFFSETS, long(&image.offsets));
        put(tag::TILE_BYTE_COUNTS, long(&image.counts));
    } else {
        put(tag::ROWS_PER_STRIP, long(&[rows as u64]));
        put(tag::STRIP_OFFSETS, long(&image.offsets));
        put(tag::STRIP_BYTE_COUNTS, long(&image.counts));
    }
    ifd
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
