//! Pixels through the crate `rawler`: parts of DNG files, and vendor formats that `rawloader` cannot
//! read.

use super::Picture;
use super::bytes::FileBytes;
use super::error::ReadError;
use super::exif::Meta;
use super::preflight::{Image, dimensions};
use super::sony::Blocks;
use crate::frame::cfa::Cfa;
use crate::frame::counts::Counts;
use crate::frame::{Area, BlackPattern, ColourMatrix, Levels, Mosaic, Origin, Samples};
use crate::quantity::{FNumber, Iso, Millimetres, Seconds};
use crate::tiff::{Directory, Order, tag};
use ::rawler::bits::Endian;
use ::rawler::decoders::{RawDecodeParams, RawMetadata, plain_image_from_ifd};
use ::rawler::formats::tiff::{Entry, IFD, Rational, Value};
use ::rawler::imgop::Rect;
use ::rawler::rawimage::RawPhotometricInterpretation;
use ::rawler::{RawImage, RawImageData, RawlerError};
use std::panic::{AssertUnwindSafe, catch_unwind};

const NAME: &str = "rawler";
/// Decodes the picture that the preflight has checked.
///
/// # Errors
/// `DecoderFailed`.
pub(super) fn plain(
    raw: &Directory<'_>,
    image: &Image,
    file: &FileBytes,
) -> Result<RawImageData, ReadError> {
    let ifd = description(raw, image);
    match catch_unwind(AssertUnwindSafe(|| plain_image_from_ifd(&ifd, file.source()))) {
        Ok(Ok(data)) => Ok(data),
        Ok(Err(error)) => Err(ReadError::decoder(NAME, &error.to_string())),
        Err(_) => Err(ReadError::decoder(NAME, "it panicked")),
    }
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

/// Decodes a vendor raw that `rawloader` does not know; its pixels are left out where they are
/// decoded here.
///
/// # Errors
/// `UnknownCamera`, `DecoderFailed`, `Unsupported`.
pub(super) fn vendor(
    file: &FileBytes,
    blocks: Option<&Blocks>,
    meta: Meta,
) -> Result<Picture, ReadError> {
    let source = file.source();
    let result = catch_unwind(AssertUnwindSafe(|| {
        let decoder = ::rawler::get_decoder(source)?;
        let params = RawDecodeParams::default();
        let mut image = decoder.raw_image(source, &params, blocks.is_some())?;
        let mut counts = None;
        match blocks {
            Some(blocks) if (image.width, image.height) == (blocks.width, blocks.height) => {
                counts = Some(blocks.clone().counts(file));
            }
            Some(_) => image = decoder.raw_image(source, &params, false)?,
            None => {}
        }
        Ok::<_, RawlerError>((image, counts, decoder.raw_metadata(source, &params)))
    }));
    match result {
        Ok(Ok((image, counts, more))) => {
            let meta = more.map(|more| completed(meta.clone(), &more)).unwrap_or(meta);
            vendor_picture(image, counts, meta)
        }
        Ok(Err(RawlerError::Unsupported { what, make, model, .. })) => {
            let make = if make.is_empty() { meta.camera.make.unwrap_or_default() } else { make };
            let model =
                if model.is_empty() { meta.camera.model.unwrap_or_default() } else { model };
            Err(unsupported(&what, make, model))
        }
        Ok(Err(RawlerError::DecoderFailed(reason))) => Err(ReadError::decoder(NAME, &reason)),
        Err(_) => Err(ReadError::decoder(NAME, "it panicked")),
    }
}

fn unsupported(what: &str, make: String, model: String) -> ReadError {
    let unknown = ["Unknown camera", "Couldn't find a decoder", "No decoder found"];
    if unknown.iter().any(|known| what.starts_with(known)) {
        ReadError::UnknownCamera { make, model }
    } else {
        let what = what.lines().next().unwrap_or_default();
        ReadError::unsupported(&format!("this raw file of {make} {model}"), what)
    }
}

/// What the decoder knows from makers' notes, where Exif says nothing.
fn completed(mut meta: Meta, more: &RawMetadata) -> Meta {
    let number = |r: &Option<Rational>| {
        let r = r.as_ref()?;
        (r.n > 0 && r.d > 0).then(|| f64::from(r.n) / f64::from(r.d))
    };
    let exif = &more.exif;
    let exposure = &mut meta.exposure;
    let told = exposure.time.filter(|_| !exposure.from_apex);
    if let (None, Some(time)) = (told, number(&exif.exposure_time)) {
        (exposure.time, exposure.from_apex) = (Some(Seconds::new(time)), false);
    }
    exposure.f_number = exposure.f_number.or_else(|| number(&exif.fnumber).map(FNumber::new));
    let iso = exif.iso_speed_ratings.map(u32::from).filter(|&v| v > 0 && v < 65_535);
    exposure.iso = exposure.iso.or_else(|| iso.map(|v| Iso::new(f64::from(v))));
    let camera = &mut meta.camera;
    let focal = || number(&exif.focal_length).map(Millimetres::new);
    camera.focal_length = camera.focal_length.or_else(focal);
    let lens = more.lens.as_ref().map(|l| l.lens_name.clone()).or_else(|| exif.lens_model.clone());
    camera.lens = camera.lens.take().or(lens);
    camera.serial = camera.serial.take().or_else(|| exif.serial_number.clone());
    meta
}

/// `counts` are its pixels where it has none of its own.
fn vendor_picture(
    image: RawImage,
    counts: Option<Counts>,
    mut meta: Meta,
) -> Result<Picture, ReadError> {
    let (width, height) = dimensions(image.width as u64, image.height as u64)?;
    let RawPhotometricInterpretation::Cfa(config) = &image.photometric else {
        return Err(ReadError::unsupported("a reduced-size raw file", "its colours are mixed"));
    };
    if image.cpp != 1 || image.fuji_rotation_width.is_some() {
        return Err(ReadError::unsupported("this raw file", "its pixels stand on a tilted grid"));
    }
    let active = match image.active_area {
        Some(r) => Area { left: r.p.x, top: r.p.y, width: r.d.w, height: r.d.h },
        None => Area { left: 0, top: 0, width, height },
    };
    dimensions(active.width as u64, active.height as u64)?;
    if active.left + active.width > width || active.top + active.height > height {
        return Err(ReadError::damaged(format!("active area {active:?} in {width} x {height}")));
    }
    // The decoder counts pattern and levels from the first stored pixel.
    let cfa = Cfa::from_letters(&config.cfa.name)
        .map_err(|e| ReadError::unsupported("this raw file", e.to_string()))?
        .shifted(active.top, active.left);
    let levels = vendor_levels(&image, &active)?;
    let matrices = image
        .color_matrix
        .iter()
        .filter_map(|(illuminant, numbers)| {
            let numbers: Vec<f64> = numbers.iter().copied().map(f64::from).collect();
            Some(ColourMatrix {
                illuminant: Some(u16::from(*illuminant)).filter(|&i| i > 0),
                xyz_to_camera: numbers.try_into().ok()?,
                source: "camera table".to_owned(),
            })
        })
        .collect();
    let neutral = super::rawloader::neutral(&image.wb_coeffs);
    let data = match (counts, image.data) {
        (Some(counts), _) if counts.len() == width * height => counts,
        (None, RawImageData::Integer(data)) if data.len() == width * height => data.into(),
        _ => return Err(ReadError::damaged("the decoded picture has another size than it says")),
    };
    meta.camera.make.get_or_insert(image.make);
    meta.camera.model.get_or_insert(image.model);
    Ok(Picture {
        samples: Samples::Raw(Mosaic { width, height, data }, cfa),
        active,
        masked: image
            .blackareas
            .iter()
            .filter_map(|r| black_area(r, &active, width, height))
            .collect(),
        levels,
        origin: Origin::Raw,
        subject: meta.description.iter().cloned().collect(),
        meta,
        matrices,
        neutral,
    })
}

fn black_area(area: &Rect, active: &Area, width: usize, height: usize) -> Option<Area> {
    let area = Area { left: area.p.x, top: area.p.y, width: area.d.w, height: area.d.h };
    let apart = area.left + area.width <= active.left
        || area.left >= active.left + active.width
        || area.top + area.height <= active.top
        || area.top >= active.top + active.height;
    let fits = area.width > 0
        && area.height > 0
        && area.left + area.width <= width
        && area.top + area.height <= height;
    (apart && fits).then_some(area)
}

fn vendor_levels(image: &RawImage, active: &Area) -> Result<Levels, ReadError> {
    let black = image.blacklevel.shift(active.left, active.top);
    let values: Vec<f64> =
        black.levels.iter().map(|r| f64::from(r.n) / f64::from(r.d.max(1))).collect();
    if values.is_empty() || values.len() != black.width * black.height {
        return Err(ReadError::damaged(format!("{} black levels", values.len())));
    }
    let white = image.whitelevel.0.iter().copied().min().unwrap_or(65_535);
    Ok(Levels {
        black: BlackPattern { rows: black.height, columns: black.width, values },
        white: white.clamp(1, 65_535) as u16,
    })
}
