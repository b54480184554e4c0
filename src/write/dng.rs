//! Plain data to the bytes of a DNG file (DNG specification 1.4, TIFF 6.0, Exif 2.32).

mod error;

use crate::frame::cfa::Cfa;
use crate::frame::{Area, BlackPattern, ColourMatrix};
use crate::tiff::rational::{signed, unsigned};
use crate::tiff::{self, Chunks, NewDirectory as Directory, Order, Value, tag};
use crate::write::exif::ExifData;
use crate::write::ljpeg;
pub use error::DngError;
use rayon::prelude::*;

/// What a sample of the image is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Pattern {
    /// One count per pixel; the pattern counts from the active area's origin.
    Mosaic(Cfa),
    /// Three linear values per pixel, interleaved.
    Linear,
}

/// How the image data is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Compression {
    /// 16-bit samples as they are.
    None,
    /// Lossless JPEG (ITU T.81 process 14, predictor 1) in tiles.
    LosslessJpeg,
}

/// A small picture for file browsers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Preview {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// `3 * width * height` bytes of sRGB.
    pub rgb: Vec<u8>,
}

/// Everything that goes into one DNG file. Fields that are empty or `None` are left out of it.
#[derive(Clone, Debug, PartialEq)]
pub struct DngFile {
    /// Byte order.
    pub order: Order,
    /// Stored columns, masked borders included.
    pub width: usize,
    /// Stored rows.
    pub height: usize,
    /// Samples row by row: `width * height`, three times as many where linear.
    pub data: Vec<u16>,
    /// Colour pattern.
    pub pattern: Pattern,
    /// Storage.
    pub compression: Compression,
    /// The part that sees light; `None` for the whole.
    pub active: Option<Area>,
    /// Optically black parts.
    pub masked: Vec<Area>,
    /// Default crop, relative to the active area; `None` for all of it but a small rim.
    pub crop: Option<Area>,
    /// Black levels from the active area's origin.
    pub black: Option<BlackPattern>,
    /// White level.
    pub white: Option<u32>,
    /// Camera RGB of a neutral, as recorded.
    pub as_shot_neutral: Option<[f64; 3]>,
    /// Up to two colour matrices; an unknown illuminant is written as 0.
    pub matrices: Vec<ColourMatrix>,
    /// Exif orientation, 1 to 8.
    pub orientation: u8,
    /// Maker.
    pub make: Option<String>,
    /// Model.
    pub model: Option<String>,
    /// Name of the camera model that profiles are tied to; make and model where `None`.
    pub unique_model: Option<String>,
    /// Program that wrote the file.
    pub software: Option<String>,
    /// Exposure, time, lens.
    pub exif: Option<ExifData>,
    /// An XMP packet.
    pub xmp: Option<Vec<u8>>,
    /// Opcode list applied to the data as stored (tag 51008).
    pub opcodes_1: Option<Vec<u8>>,
    /// Opcode list applied to linear data before interpolation (tag 51009).
    pub opcodes_2: Option<Vec<u8>>,
    /// Opcode list applied after interpolation (tag 51022).
    pub opcodes_3: Option<Vec<u8>>,
    /// Small picture; makes the raw data a sub-image, as the specification recommends.
    pub preview: Option<Preview>,
    /// Further entries of the first directory (artist, copyright); they replace those above.
    pub more: Vec<(u16, Value)>,
    /// Further entries of the directory of the raw picture.
    pub more_raw: Vec<(u16, Value)>,
    /// Entries of a GPS directory.
    pub gps: Vec<(u16, Value)>,
}

const MATRIX: [u16; 2] = [tag::COLOR_MATRIX_1, tag::COLOR_MATRIX_2];
const ILLUMINANT: [u16; 2] = [tag::ILLUMINANT_1, tag::ILLUMINANT_2];
const OPCODES: [u16; 3] = [tag::OPCODE_LIST_1, tag::OPCODE_LIST_2, tag::OPCODE_LIST_3];
const COLOUR_FILTER_ARRAY: u16 = 32803;
const LINEAR_RAW: u16 = 34892;
/// Pixels beyond the default crop on each side; strict readers warn about less than a few.
const CROP_RIM: usize = 8;

impl DngFile {
    /// A file that holds the samples and nothing else; fill in what is known.
    #[must_use]
    pub fn new(width: usize, height: usize, data: Vec<u16>, pattern: Pattern) -> Self {
        Self {
            order: Order::Little,
            width,
            height,
            data,
            pattern,
            compression: Compression::None,
            active: None,
            masked: Vec::new(),
            crop: None,
            black: None,
            white: None,
            as_shot_neutral: None,
            matrices: Vec::new(),
            orientation: 1,
            make: None,
            model: None,
            unique_model: None,
            software: None,
            exif: None,
            xmp: None,
            opcodes_1: None,
            opcodes_2: None,
            opcodes_3: None,
            preview: None,
            more: Vec::new(),
            more_raw: Vec::new(),
            gps: Vec::new(),
        }
    }

    /// The whole file as bytes.
    ///
    /// # Errors
    /// Where data and size disagree, an area leaves the picture, or the file is beyond 4 GiB.
    pub fn encode(&self) -> Result<Vec<u8>, DngError> {
        self.check()?;
        self.assembled(self.raw_directory(self.data.clone())?)
    }

    /// [`Self::encode`] for a file that is not needed any more: its samples are let go before the
    /// bytes are put together, so that a frame is never held three times.
    ///
    /// # Errors
    /// As [`Self::encode`].
    pub fn into_bytes(mut self) -> Result<Vec<u8>, DngError> {
        self.check()?;
        let data = std::mem::take(&mut self.data);
        let raw = self.raw_directory(data)?;
        self.assembled(raw)
    }

    fn assembled(&self, mut raw: Directory) -> Result<Vec<u8>, DngError> {
        let mut root = match &self.preview {
            Some(preview) => preview_directory(preview)?,
            None => std::mem::take(&mut raw),
        };
        self.describe(&mut root);
        if !raw.is_empty() {
            root.hang(tag::SUB_IFDS, raw);
        }
        if let Some(exif) = &self.exif {
            let exif = exif.directory();
            if !exif.is_empty() {
                root.hang(tag::EXIF_IFD, exif);
            }
        }
        if !self.gps.is_empty() {
            let mut gps = Directory::default();
            self.gps.iter().for_each(|(t, v)| gps.set(*t, v.clone()));
            root.hang(tag::GPS_IFD, gps);
        }
        tiff::encode(&root, self.order).map_err(|e| DngError::TooLarge { bytes: e.bytes })
    }

    fn samples(&self) -> usize {
        if self.pattern == Pattern::Linear { 3 } else { 1 }
    }

    fn check(&self) -> Result<(), DngError> {
        let (width, height) = (self.width, self.height);
        let expected = width * height * self.samples();
        if self.data.len() != expected || expected == 0 {
            return Err(DngError::Size { width, height, found: self.data.len(), expected });
        }
        for &area in self.active.iter().chain(&self.masked) {
            if area.left + area.width > width || area.top + area.height > height {
                return Err(DngError::Outside { area, width, height });
            }
        }
        Ok(())
    }

    fn raw_directory(&self, data: Vec<u16>) -> Result<Directory, DngError> {
        let mut dir = Directory::default();
        let samples = self.samples();
        dir.set(tag::NEW_SUBFILE_TYPE, Value::Long(vec![0]));
        dir.set(tag::IMAGE_WIDTH, Value::Long(vec![long(self.width)]));
        dir.set(tag::IMAGE_LENGTH, Value::Long(vec![long(self.height)]));
        dir.set(tag::BITS_PER_SAMPLE, Value::Short(vec![16; samples]));
        dir.set(tag::SAMPLES_PER_PIXEL, Value::Short(vec![short(samples)]));
        dir.set(tag::PLANAR, Value::Short(vec![1]));
        self.set_pattern(&mut dir);
        self.set_geometry(&mut dir);
        self.set_levels(&mut dir);
        let opcodes = [&self.opcodes_1, &self.opcodes_2, &self.opcodes_3];
        for (tag, list) in OPCODES.into_iter().zip(opcodes) {
            if let Some(bytes) = list {
                dir.set(tag, Value::Undefined(bytes.clone()));
            }
        }
        self.more_raw.iter().for_each(|(t, v)| dir.set(*t, v.clone()));
        self.set_data(&mut dir, data)?;
        Ok(dir)
    }

    fn set_pattern(&self, dir: &mut Directory) {
        let Pattern::Mosaic(cfa) = &self.pattern else {
            dir.set(tag::PHOTOMETRIC, Value::Short(vec![LINEAR_RAW]));
            return;
        };
        let side = short(cfa.side());
        let letters = cfa.letters();
        let codes = letters.chars().map(|c| match c {
            'R' => 0,
            'G' => 1,
            _ => 2,
        });
        dir.set(tag::PHOTOMETRIC, Value::Short(vec![COLOUR_FILTER_ARRAY]));
        dir.set(tag::CFA_REPEAT, Value::Short(vec![side, side]));
        dir.set(tag::CFA_PATTERN, Value::Byte(codes.collect()));
        dir.set(tag::CFA_PLANE_COLOR, Value::Byte(vec![0, 1, 2]));
        dir.set(tag::CFA_LAYOUT, Value::Short(vec![1]));
    }

    fn set_geometry(&self, dir: &mut Directory) {
        let corners = |a: &Area| [a.top, a.left, a.top + a.height, a.left + a.width].map(long);
        let whole = Area { left: 0, top: 0, width: self.width, height: self.height };
        let active = self.active.unwrap_or(whole);
        if self.active.is_some() {
            dir.set(tag::ACTIVE_AREA, Value::Long(corners(&active).to_vec()));
        }
        if !self.masked.is_empty() {
            let all = self.masked.iter().flat_map(corners).collect();
            dir.set(tag::MASKED_AREAS, Value::Long(all));
        }
        let crop = self.crop.unwrap_or_else(|| self.usual_crop(active));
        dir.set(tag::DEFAULT_CROP_ORIGIN, Value::Long(vec![long(crop.left), long(crop.top)]));
        dir.set(tag::DEFAULT_CROP_SIZE, Value::Long(vec![long(crop.width), long(crop.height)]));
    }

    /// All of the active area but a rim, which a mosaic needs for its interpolation.
    fn usual_crop(&self, active: Area) -> Area {
        let mosaic = matches!(self.pattern, Pattern::Mosaic(_));
        let wide = active.width > 8 * CROP_RIM && active.height > 8 * CROP_RIM;
        let rim = if mosaic && wide { CROP_RIM } else { 0 };
        let (width, height) = (active.width - 2 * rim, active.height - 2 * rim);
        Area { left: rim, top: rim, width, height }
    }

    fn set_levels(&self, dir: &mut Directory) {
        if let Some(black) = &self.black {
            // one value per sample is asked for, and linear data has three of them
            let times = self.samples();
            let levels = black.values.iter().flat_map(|&v| vec![unsigned(v); times]).collect();
            dir.set(tag::BLACK_REPEAT, Value::Short(vec![short(black.rows), short(black.columns)]));
            dir.set(tag::BLACK_LEVEL, Value::Rational(levels));
        }
        if let Some(white) = self.white {
            dir.set(tag::WHITE_LEVEL, Value::Long(vec![white; self.samples()]));
        }
    }

    fn set_data(&self, dir: &mut Directory, data: Vec<u16>) -> Result<(), DngError> {
        match self.compression {
            Compression::None => {
                dir.set(tag::COMPRESSION, Value::Short(vec![1]));
                dir.set(tag::ROWS_PER_STRIP, Value::Long(vec![long(self.height)]));
                let data = vec![sample_bytes(&data, self.order)];
                dir.set_chunks(Chunks { tiled: false, data });
            }
            Compression::LosslessJpeg => {
                let tiles = ljpeg::tiles(data, self.width, self.height, self.samples())
                    .map_err(|reason| DngError::Compression { reason })?;
                dir.set(tag::COMPRESSION, Value::Short(vec![7]));
                dir.set(tag::TILE_WIDTH, Value::Long(vec![long(ljpeg::TILE)]));
                dir.set(tag::TILE_LENGTH, Value::Long(vec![long(ljpeg::TILE)]));
                dir.set_chunks(Chunks { tiled: true, data: tiles });
            }
        }
        Ok(())
    }

    /// What the specification puts into the first directory, wherever the raw data is.
    fn describe(&self, root: &mut Directory) {
        let texts =
            [(tag::MAKE, &self.make), (tag::MODEL, &self.model), (tag::SOFTWARE, &self.software)];
        for (tag, text) in texts {
            if let Some(text) = text {
                root.set(tag, Value::Ascii(text.clone()));
            }
        }
        root.set(tag::ORIENTATION, Value::Short(vec![u16::from(self.orientation)]));
        root.set(tag::DNG_VERSION, Value::Byte(vec![1, 4, 0, 0]));
        root.set(
            tag::DNG_BACKWARD_VERSION,
            Value::Byte(vec![1, if self.needs_1_3() { 3 } else { 1 }, 0, 0]),
        );
        root.set(tag::UNIQUE_CAMERA_MODEL, Value::Ascii(self.unique_model()));
        if let Some(neutral) = self.as_shot_neutral {
            root.set(tag::AS_SHOT_NEUTRAL, Value::Rational(neutral.map(unsigned).to_vec()));
        }
        for (i, matrix) in self.matrices.iter().take(2).enumerate() {
            let values = matrix.xyz_to_camera.map(signed).to_vec();
            root.set(MATRIX[i], Value::SignedRational(values));
            root.set(ILLUMINANT[i], Value::Short(vec![matrix.illuminant.unwrap_or(0)]));
        }
        if let Some(exif) = &self.exif {
            if let Some(at) = exif.date_time() {
                root.set(tag::DATE_TIME, Value::Ascii(at));
            }
            if let Some(serial) = &exif.serial {
                root.set(tag::CAMERA_SERIAL, Value::Ascii(serial.clone()));
            }
        }
        if let Some(xmp) = &self.xmp {
            root.set(tag::XMP, Value::Byte(xmp.clone()));
        }
        self.more.iter().for_each(|(t, v)| root.set(*t, v.clone()));
    }

    /// Opcode lists came with version 1.3.
    fn needs_1_3(&self) -> bool {
        self.opcodes_1.is_some() || self.opcodes_2.is_some() || self.opcodes_3.is_some()
    }

    fn unique_model(&self) -> String {
        self.unique_model.clone().unwrap_or_else(|| {
            // Many models begin with their maker.
            let named = |make: &&String| {
                let first = make.split_whitespace().next().unwrap_or_default().to_lowercase();
                !self.model.as_ref().is_some_and(|m| m.to_lowercase().starts_with(&first))
            };
            let make = self.make.iter().filter(named);
            let known: Vec<&str> = make.chain(&self.model).map(String::as_str).collect();
            if known.is_empty() { "Unknown".to_owned() } else { known.join(" ") }
        })
    }
}

fn preview_directory(preview: &Preview) -> Result<Directory, DngError> {
    let (width, height) = (preview.width, preview.height);
    let expected = 3 * width * height;
    if preview.rgb.len() != expected || expected == 0 {
        return Err(DngError::Size { width, height, found: preview.rgb.len(), expected });
    }
    let mut dir = Directory::default();
    dir.set(tag::NEW_SUBFILE_TYPE, Value::Long(vec![1]));
    dir.set(tag::IMAGE_WIDTH, Value::Long(vec![long(width)]));
    dir.set(tag::IMAGE_LENGTH, Value::Long(vec![long(height)]));
    dir.set(tag::BITS_PER_SAMPLE, Value::Short(vec![8; 3]));
    dir.set(tag::SAMPLES_PER_PIXEL, Value::Short(vec![3]));
    dir.set(tag::PLANAR, Value::Short(vec![1]));
    dir.set(tag::PHOTOMETRIC, Value::Short(vec![2]));
    dir.set(tag::COMPRESSION, Value::Short(vec![1]));
    dir.set(tag::ROWS_PER_STRIP, Value::Long(vec![long(height)]));
    dir.set_chunks(Chunks { tiled: false, data: vec![preview.rgb.clone()] });
    Ok(dir)
}

fn sample_bytes(data: &[u16], order: Order) -> Vec<u8> {
    const BLOCK: usize = 1 << 18;
    let mut bytes = vec![0; data.len() * 2];
    bytes.par_chunks_mut(2 * BLOCK).zip(data.par_chunks(BLOCK)).for_each(|(out, values)| {
        for (out, v) in out.chunks_exact_mut(2).zip(values) {
            out.copy_from_slice(&match order {
                Order::Little => v.to_le_bytes(),
                Order::Big => v.to_be_bytes(),
            });
        }
    });
    bytes
}

fn long(v: usize) -> u32 {
    u32::try_from(v).unwrap_or(u32::MAX)
}

fn short(v: usize) -> u16 {
    u16::try_from(v).unwrap_or(u16::MAX)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use rawler::rawimage::RawImageData;
    use rawler::rawsource::RawSource;

    const XTRANS: &str = "GBGGRGRGRBGBGBGGRGGRGGBGBGBRGRGRGGBG";

    /// Counts that differ from pixel to pixel and use the whole range of `bits`.
    fn planted(width: usize, height: usize, bits: u32) -> Vec<u16> {
        let mask = (1_u32 << bits) - 1;
        (0..width * height)
            .map(|i| ((i as u32).wrapping_mul(2_654_435_761) >> 7 & mask) as u16)
            .collect()
    }

    fn sample(letters: &str, order: Order, compression: Compression, bits: u32) -> DngFile {
        let (width, height) = (301, 270);
        let cfa = Cfa::from_letters(letters).unwrap();
        let mut file =
            DngFile::new(width, height, planted(width, height, bits), Pattern::Mosaic(cfa));
        file.order = order;
        file.compression = compression;
        file.active = Some(Area { left: 7, top: 5, width: 290, height: 262 });
        file.masked = vec![Area { left: 0, top: 5, width: 6, height: 262 }];
        file.black =
            Some(BlackPattern { rows: 2, columns: 2, values: vec![512.25, 511.5, 512.0, 513.75] });
        file.white = Some((1 << bits) - 1);
        file.as_shot_neutral = Some([0.5, 1.0, 0.65]);
        file.make = Some("Invented".into());
        file.model = Some("Box One".into());
        file
    }

    /// The picture as rawler (an independent decoder) reads it.
    fn decode(bytes: Vec<u8>) -> rawler::RawImage {
        let source = RawSource::new_from_shared_vec(std::sync::Arc::new(bytes));
        rawler::decode(&source, &rawler::decoders::RawDecodeParams::default()).unwrap()
    }

    #[test]
    fn another_decoder_reads_the_same_counts_in_every_layout() {
        for letters in ["RGGB", "GRBG", "GBRG", "BGGR", XTRANS] {
            for order in [Order::Little, Order::Big] {
                for compression in [Compression::None, Compression::LosslessJpeg] {
                    for bits in [12, 14, 16] {
                        let file = sample(letters, order, compression, bits);
                        let image = decode(file.encode().unwrap());
                        let RawImageData::Integer(data) = &image.data else { panic!("not whole") };
                        assert_eq!(data, &file.data, "{letters} {order:?} {compression:?} {bits}");
                        assert_eq!((image.width, image.height), (301, 270));
                    }
                }
            }
        }
    }

    #[test]
    fn another_decoder_reads_the_same_levels_area_and_neutral() {
        for preview in [None, Some(Preview { width: 8, height: 4, rgb: vec![99; 96] })] {
            let mut file = sample("GBRG", Order::Big, Compression::None, 14);
            file.preview = preview;
            let image = decode(file.encode().unwrap());
            let black: Vec<f32> = image.blacklevel.levels.iter().map(|l| l.as_f32()).collect();
            assert_eq!(black, [512.25, 511.5, 512.0, 513.75]);
            assert_eq!(image.whitelevel.0, [16383]);
            let area = image.active_area.unwrap();
            assert_eq!((area.p.x, area.p.y, area.d.w, area.d.h), (7, 5, 290, 262));
            assert!((image.wb_coeffs[0] - 2.0).abs() < 1e-5);
            assert!((image.wb_coeffs[2] - 1.0 / 0.65).abs() < 1e-5);
            assert_eq!(image.camera.make, "Invented");
        }
    }

    #[test]
    fn another_reader_finds_the_exif_entries() {
        let mut file = sample("RGGB", Order::Big, Compression::None, 14);
        file.exif = Some(ExifData {
            exposure_time: Some(1.0 / 60.0),
            f_number: Some(5.6),
            iso: Some(100),
            taken_at: Some(jiff::civil::datetime(2026, 3, 7, 17, 4, 5, 250_000_000)),
            offset: Some("+01:00".into()),
            lens: Some("Invented 24".into()),
            focal_length: Some(24.0),
            serial: Some("77".into()),
            ..ExifData::default()
        });
        let bytes = file.encode().unwrap();
        let data =
            exif::Reader::new().read_from_container(&mut std::io::Cursor::new(bytes)).unwrap();
        let text = |tag| {
            let field = data.get_field(tag, exif::In::PRIMARY).unwrap();
            field.display_value().to_string()
        };
        assert_eq!(text(exif::Tag::ExposureTime), "1/60");
        assert_eq!(text(exif::Tag::FNumber), "5.6");
        assert_eq!(text(exif::Tag::PhotographicSensitivity), "100");
        assert_eq!(text(exif::Tag::DateTimeOriginal), "2026-03-07 17:04:05");
        assert_eq!(text(exif::Tag::SubSecTimeOriginal), "\"250\"");
        assert_eq!(text(exif::Tag::LensModel), "\"Invented 24\"");
        assert!(data.get_field(exif::Tag::ShutterSpeedValue, exif::In::PRIMARY).is_none());
    }

    #[test]
    fn what_does_not_fit_is_refused() {
        let mut file = sample("RGGB", Order::Little, Compression::None, 14);
        file.masked.push(Area { left: 300, top: 0, width: 2, height: 2 });
        assert!(matches!(file.encode(), Err(DngError::Outside { .. })));
        file.data.pop();
        assert!(matches!(file.encode(), Err(DngError::Size { found: 81269, .. })));
    }
}
