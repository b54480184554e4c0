//! A frame, what its file carried, and a correction, as a DNG file.

use crate::commands::VERSION;
use crate::editing::evenness::EvennessGains;
use crate::editing::gain_map::opcode_list;
use crate::frame::{Area, Frame, Samples};
use crate::read::carried::{Carried, CarriedEntry};
use crate::tiff::{Value, tag};
use crate::write::dng::{Compression, DngFile, Pattern, Preview};
use crate::write::exif::ExifData;
use palette::encoding::{FromLinear, Srgb};

/// Widest preview, in pixels.
const PREVIEW: usize = 480;
/// Entries of the first directory that are carried over: descriptions, artist, copyright, rating,
/// and what a DNG says of its colours (TIFF 6.0; DNG Specification 1.4, chapter 4). AnalogBalance is in
/// the matrices already.
const ROOT: [u16; 44] = [
    tag::IMAGE_DESCRIPTION,
    tag::DATE_TIME,
    tag::ARTIST,
    tag::COPYRIGHT,
    tag::RATING,
    tag::RATING_PERCENT,
    tag::XP_TITLE,
    tag::XP_COMMENT,
    tag::XP_AUTHOR,
    tag::XP_KEYWORDS,
    tag::XP_SUBJECT,
    tag::LOCALIZED_CAMERA_MODEL,
    tag::CAMERA_CALIBRATION_1,
    tag::CAMERA_CALIBRATION_2,
    tag::BASELINE_NOISE,
    tag::BASELINE_SHARPNESS,
    tag::LENS_INFO,
    tag::SHADOW_SCALE,
    tag::DNG_PRIVATE_DATA,
    tag::ORIGINAL_RAW_FILE_NAME,
    tag::CAMERA_CALIBRATION_SIGNATURE,
    tag::PROFILE_CALIBRATION_SIGNATURE,
    tag::AS_SHOT_PROFILE_NAME,
    tag::PROFILE_NAME,
    tag::PROFILE_HUE_SAT_MAP_DIMS,
    tag::PROFILE_HUE_SAT_MAP_DATA_1,
    tag::PROFILE_HUE_SAT_MAP_DATA_2,
    tag::PROFILE_TONE_CURVE,
    tag::PROFILE_EMBED_POLICY,
    tag::PROFILE_COPYRIGHT,
    tag::FORWARD_MATRIX_1,
    tag::FORWARD_MATRIX_2,
    tag::PREVIEW_APPLICATION_NAME,
    tag::PREVIEW_APPLICATION_VERSION,
    tag::PROFILE_LOOK_TABLE_DIMS,
    tag::PROFILE_LOOK_TABLE_DATA,
    tag::NOISE_PROFILE,
    tag::IPTC,
    tag::LINEAR_RESPONSE_LIMIT,
    tag::RAW_DATA_UNIQUE_ID,
    tag::PROFILE_HUE_SAT_MAP_ENCODING,
    tag::PROFILE_LOOK_TABLE_ENCODING,
    tag::BASELINE_EXPOSURE_OFFSET,
    tag::DEFAULT_BLACK_RENDER,
];
/// Entries of the directory of the full-size picture that hold as long as the mosaic does.
const RAW: [u16; 6] = [
    tag::DEFAULT_SCALE,
    tag::BAYER_GREEN_SPLIT,
    tag::CHROMA_BLUR_RADIUS,
    tag::ANTI_ALIAS_STRENGTH,
    tag::BEST_QUALITY_SCALE,
    tag::DEFAULT_USER_CROP,
];
/// Battery level, exposure programme, self-timer, and what was measured of the picture.
const BEFORE_EXIF: [std::ops::RangeInclusive<u16>; 4] =
    [0x828f..=0x828f, 0x8822..=0x8822, 0x882b..=0x882b, 0x9203..=0x9214];
/// Exif entries that lose their meaning in another file: makers' notes hold offsets of their own.
pub(super) const EXIF_LEFT_OUT: [u16; 3] =
    [tag::MAKER_NOTE, tag::INTEROPERABILITY_IFD, tag::PADDING];

/// What is wanted of a corrected file.
#[derive(Clone, Copy)]
pub struct Rewrite<'a> {
    /// Balance: camera RGB of a neutral, green = 1.
    pub neutral: [f64; 3],
    /// Gains across the frame.
    pub evenness: Option<&'a EvennessGains>,
    /// Storage.
    pub compression: Compression,
    /// Whether the masked border is cut off.
    pub crop_active: bool,
}

/// The file; the samples are moved, never changed.
///
/// # Errors
/// Where the border cannot be cut off.
pub fn build(frame: Frame, carried: &Carried, wanted: &Rewrite<'_>) -> Result<DngFile, String> {
    let Rewrite { neutral, evenness, compression, crop_active } = *wanted;
    let preview = preview(&frame, neutral);
    let info = frame.info;
    let (width, height, data, pattern) = match frame.samples {
        Samples::Raw(mosaic, cfa) => {
            (mosaic.width, mosaic.height, mosaic.data.into_vec(), Pattern::Mosaic(cfa))
        }
        Samples::Rendered(rgb) => (rgb.width, rgb.height, rgb.data.into_vec(), Pattern::Linear),
    };
    let mut file = DngFile::new(width, height, data, pattern);
    file.compression = compression;
    file.active = Some(frame.active);
    file.masked = frame.masked;
    file.crop = crop(carried, frame.active).or_else(|| inset(frame.active));
    file.black = Some(frame.levels.black);
    file.white = Some(u32::from(frame.levels.white));
    file.as_shot_neutral = Some(neutral);
    file.matrices = info.matrices;
    file.orientation = info.orientation;
    file.make = info.camera.make.clone();
    file.model = info.camera.model.clone();
    file.unique_model =
        carried.root.iter().find(|e| e.tag == tag::UNIQUE_CAMERA_MODEL).map(|e| text(&e.bytes));
    file.software = Some(format!("lightloss {VERSION}"));
    file.exif = Some(ExifData {
        exposure_time: info.exposure.time.map(|t| t.get()),
        f_number: info.exposure.f_number.map(|n| n.get()),
        iso: info.exposure.iso.map(|i| i.get().clamp(1.0, 65_535.0) as u16),
        taken_at: info.capture.at,
        offset: info.capture.offset,
        lens: info.camera.lens,
        focal_length: info.camera.focal_length.map(|f| f.get()),
        serial: info.camera.serial,
        more: exif(carried),
        ..ExifData::default()
    });
    file.xmp = carried.xmp.clone();
    file.preview = preview;
    file.more = values(&carried.root, |t| ROOT.contains(&t));
    file.more_raw = values(&carried.raw, |t| RAW.contains(&t));
    file.gps = values(&carried.gps, |_| true);
    set_opcodes(&mut file, carried, evenness, frame.active);
    set_baseline(&mut file, carried, evenness);
    if crop_active {
        cut_border(&mut file)?;
    }
    Ok(file)
}

/// Takes the masked border off: everything else counts from the active area already, but for the
/// opcodes that belong to the samples as they are stored.
fn cut_border(file: &mut DngFile) -> Result<(), String> {
    let Some(active) = file.active.take() else { return Ok(()) };
    if (active.width, active.height) == (file.width, file.height) {
        file.active = Some(active);
        return Ok(());
    }
    if file.opcodes_1.is_some() {
        return Err(
            "its stored pixels have corrections of their own (OpcodeList1), which would lie \
                    wrong without the border: leave out --crop-active"
                .to_owned(),
        );
    }
    let samples = if file.pattern == Pattern::Linear { 3 } else { 1 };
    let (from, to) = (file.width * samples, active.width * samples);
    for row in 0..active.height {
        let start = (active.top + row) * from + active.left * samples;
        file.data.copy_within(start..start + to, row * to);
    }
    file.data.truncate(active.height * to);
    (file.width, file.height) = (active.width, active.height);
    file.masked.clear();
    Ok(())
}

fn set_opcodes(
    file: &mut DngFile,
    carried: &Carried,
    evenness: Option<&EvennessGains>,
    active: Area,
) {
    let had = |wanted: u16| carried.raw.iter().find(|e| e.tag == wanted).map(|e| e.bytes.clone());
    file.opcodes_1 = had(tag::OPCODE_LIST_1);
    file.opcodes_2 = had(tag::OPCODE_LIST_2);
    file.opcodes_3 = had(tag::OPCODE_LIST_3);
    if let (Some(gains), Pattern::Mosaic(cfa)) = (evenness, &file.pattern) {
        let own = opcode_list(&gains.map, cfa, active);
        file.opcodes_2 = Some(joined(file.opcodes_2.take(), own));
    }
}

/// One opcode list after another: the counts add, the opcodes follow each other.
fn joined(first: Option<Vec<u8>>, second: Vec<u8>) -> Vec<u8> {
    let count = |list: &[u8]| list.first_chunk().map_or(0, |c| u32::from_be_bytes(*c));
    match first {
        Some(first) if first.len() >= 4 => {
            let mut list = (count(&first) + count(&second)).to_be_bytes().to_vec();
            list.extend(&first[4..]);
            list.extend(&second[4..]);
            list
        }
        _ => second,
    }
}

fn set_baseline(file: &mut DngFile, carried: &Carried, evenness: Option<&EvennessGains>) {
    let had = carried.root.iter().find(|e| e.tag == tag::BASELINE_EXPOSURE).and_then(value);
    let had = match had {
        Some(Value::SignedRational(v)) => {
            v.first().map_or(0.0, |&(n, d)| f64::from(n) / f64::from(d))
        }
        _ => 0.0,
    };
    let baseline = had - evenness.map_or(0.0, |e| e.raised_stops);
    if baseline != 0.0 && baseline.is_finite() {
        let thousandths = (baseline * 1000.0).round() as i32;
        file.more.push((tag::BASELINE_EXPOSURE, Value::SignedRational(vec![(thousandths, 1000)])));
    }
}

/// Pixels that interpolation needs beyond each edge of the picture (DNG Specification 1.4,
/// DefaultCropOrigin), where the original names no crop.
const MARGIN: usize = 8;

fn inset(active: Area) -> Option<Area> {
    (active.width > 8 * MARGIN && active.height > 8 * MARGIN).then(|| Area {
        left: MARGIN,
        top: MARGIN,
        width: active.width - 2 * MARGIN,
        height: active.height - 2 * MARGIN,
    })
}

fn crop(carried: &Carried, active: Area) -> Option<Area> {
    let pair = |wanted: u16| {
        let entry = carried.raw.iter().find(|e| e.tag == wanted)?;
        let number = match value(entry)? {
            Value::Short(v) => v.iter().map(|&v| f64::from(v)).collect::<Vec<_>>(),
            Value::Long(v) => v.iter().map(|&v| f64::from(v)).collect(),
            Value::Rational(v) => v.iter().map(|&(n, d)| f64::from(n) / f64::from(d)).collect(),
            _ => return None,
        };
        let whole = |v: f64| (v.is_finite() && v >= 0.0).then_some(v.round() as usize);
        Some((whole(*number.first()?)?, whole(*number.get(1)?)?))
    };
    let ((left, top), (width, height)) =
        (pair(tag::DEFAULT_CROP_ORIGIN)?, pair(tag::DEFAULT_CROP_SIZE)?);
    let fits = left + width <= active.width && top + height <= active.height;
    (fits && width > 0 && height > 0).then_some(Area { left, top, width, height })
}

/// Exif, and what cameras before it wrote of the exposure into the first directory (TIFF/EP,
/// ISO 12234-2, which uses the same numbers).
fn exif(carried: &Carried) -> Vec<(u16, Value)> {
    let mut all = values(&carried.root, |t| BEFORE_EXIF.iter().any(|range| range.contains(&t)));
    let own = values(&carried.exif, |t| !EXIF_LEFT_OUT.contains(&t));
    all.retain(|(known, _)| own.iter().all(|(tag, _)| tag != known));
    all.extend(own);
    all
}

/// The entries that are wanted, as they are written.
pub(super) fn values(entries: &[CarriedEntry], wanted: impl Fn(u16) -> bool) -> Vec<(u16, Value)> {
    let kept = entries.iter().filter(|e| wanted(e.tag));
    kept.filter_map(|e| Some((e.tag, value(e)?))).collect()
}

fn value(entry: &CarriedEntry) -> Option<Value> {
    let bytes = &entry.bytes;
    let short = |c: &[u8]| u16::from_le_bytes([c[0], c[1]]);
    let long = |c: &[u8]| u32::from_le_bytes([c[0], c[1], c[2], c[3]]);
    let signed = |c: &[u8]| i32::from_le_bytes([c[0], c[1], c[2], c[3]]);
    Some(match entry.kind {
        1 => Value::Byte(bytes.clone()),
        2 => Value::Ascii(text(bytes)),
        3 => Value::Short(bytes.chunks_exact(2).map(short).collect()),
        4 => Value::Long(bytes.chunks_exact(4).map(long).collect()),
        5 => Value::Rational(bytes.chunks_exact(8).map(|c| (long(c), long(&c[4..]))).collect()),
        7 => Value::Undefined(bytes.clone()),
        10 => Value::SignedRational(
            bytes.chunks_exact(8).map(|c| (signed(c), signed(&c[4..]))).collect(),
        ),
        8 => Value::SignedShort(bytes.chunks_exact(2).map(|c| short(c).cast_signed()).collect()),
        9 => Value::SignedLong(bytes.chunks_exact(4).map(signed).collect()),
        11 => Value::Float(bytes.chunks_exact(4).map(|c| f32::from_bits(long(c))).collect()),
        12 => Value::Double(
            bytes
                .chunks_exact(8)
                .filter_map(|c| Some(f64::from_le_bytes(c.try_into().ok()?)))
                .collect(),
        ),
        _ => return None,
    })
}

/// Text up to its closing zero; what is not UTF-8 is taken as Latin-1, as old cameras wrote.
fn text(bytes: &[u8]) -> String {
    let end = bytes.iter().position(|&b| b == 0).unwrap_or(bytes.len());
    match std::str::from_utf8(&bytes[..end]) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes[..end].iter().map(|&b| char::from(b)).collect(),
    }
}

/// A small picture: one period of the pattern out of each block, balanced, as sRGB.
fn preview(frame: &Frame, neutral: [f64; 3]) -> Option<Preview> {
    let Samples::Raw(mosaic, cfa) = &frame.samples else { return None };
    let active = frame.active;
    let side = cfa.side();
    let block = active.width.max(active.height).div_ceil(PREVIEW).next_multiple_of(side);
    let (width, height) = (active.width / block, active.height / block);
    if width == 0 || height == 0 {
        return None;
    }
    let mut light = Vec::with_capacity(width * height);
    for row in 0..height {
        for column in 0..width {
            let (mut sum, mut count) = ([0.0; 3], [0.0; 3]);
            for r in row * block..row * block + side {
                for c in column * block..column * block + side {
                    let channel = cfa.plane(r, c).channel();
                    let at = (active.top + r) * mosaic.width + active.left + c;
                    sum[channel] += f64::from(mosaic.data[at]) - frame.levels.black.at(r, c);
                    count[channel] += 1.0;
                }
            }
            light.push(std::array::from_fn(|i| sum[i] / count[i] / neutral[i]));
        }
    }
    Some(Preview { width, height, rgb: srgb(&light) })
}

/// The brightest hundredth becomes white; IEC 61966-2-1 encoding.
fn srgb(light: &[[f64; 3]]) -> Vec<u8> {
    let mut greens: Vec<f64> = light.iter().map(|p| p[1]).collect();
    greens.sort_by(f64::total_cmp);
    let white = greens[(greens.len() - 1) * 99 / 100].max(1.0);
    let encode = |v: &f64| {
        let shown: f64 = Srgb::from_linear((v / white).clamp(0.0, 1.0));
        (shown * 255.0).round() as u8
    };
    light.iter().flatten().map(encode).collect()
}
