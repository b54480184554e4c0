//! One photograph, from its file to the corrected one.

use super::dng::{EXIF_LEFT_OUT, Rewrite, build, values};
use super::job::Job;
use crate::cli::CorrectArgs;
use crate::commands::VERSION;
use crate::commands::photos::packet;
use crate::editing::encoding::{Curve, Encoding};
use crate::editing::flat_field;
use crate::editing::mark::{self, Mark};
use crate::editing::packet::without_settings;
use crate::frame::{Frame, LinearRgb, Samples};
use crate::read::carried::{Carried, CarriedEntry, carried};
use crate::read::file_bytes;
use crate::read::pool::Reader;
use crate::tiff::{Value, tag};
use crate::write::dng::Compression;
use crate::write::picture::PictureFile;
use crate::write::write;
use rayon::prelude::*;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

/// Entries of a picture's first directory that are kept.
const PICTURE_ROOT: [u16; 10] = [
    tag::IMAGE_DESCRIPTION,
    tag::MAKE,
    tag::MODEL,
    tag::DATE_TIME,
    tag::ARTIST,
    tag::COPYRIGHT,
    tag::RATING,
    tag::XP_TITLE,
    tag::XP_AUTHOR,
    tag::XP_KEYWORDS,
];

/// What one worker does.
pub struct Task<'a> {
    /// The photograph.
    pub job: &'a Job,
    /// The command line.
    pub args: &'a CorrectArgs,
    /// Held while a file is decoded: two threads that share it take turns, so that one's decoder
    /// and the other's pixels are in memory, never two of each.
    pub decoding: &'a Mutex<()>,
}

impl Task<'_> {
    /// Reads, corrects and writes; the original is only read. Gives the share of its pixels that clip by
    /// being raised, where they are.
    ///
    /// # Errors
    /// The reason in plain words.
    pub fn run(&self, reader: &mut Reader) -> Result<Option<f64>, String> {
        let path = &self.job.path;
        let mut carried = carried(&file_bytes(path).map_err(|e| e.to_string())?);
        carried.xmp = packet(path, &carried);
        let mark = self.job.mark(self.args, carried.xmp.as_deref());
        if self.args.drop_settings {
            carried.xmp = carried.xmp.map(|packet| without_settings(&packet));
        }
        carried.xmp = Some(mark.into_packet(carried.xmp.as_deref()));
        let frame = {
            let _turn = self.decoding.lock().unwrap_or_else(PoisonError::into_inner);
            reader.frame(path, Path::new("")).map_err(|e| e.error.to_string())?
        };
        if frame.info.sha256 != self.job.info.sha256 {
            return Err("it changed while it was being corrected".to_owned());
        }
        self.flat_field(&frame, &carried, &mark)?;
        let (bytes, clips) = match &frame.samples {
            Samples::Rendered(_) if self.job.out.extension().is_some_and(|e| e == "tif") => {
                let (bytes, clips) = self.picture(frame, carried, &mark)?;
                (bytes, Some(clips))
            }
            _ => {
                let gains = self.job.evenness.as_ref();
                let clips = gains.map(|gains| flat_field::clips(&frame, gains));
                (self.dng(frame, &carried, &mark)?, clips)
            }
        };
        write(&self.job.out, &bytes, self.args.replace).map_err(|e| e.to_string())?;
        Ok(clips)
    }

    fn compression(&self) -> Compression {
        if self.args.uncompressed { Compression::None } else { Compression::LosslessJpeg }
    }

    /// The flat-field frame of its filter, mark and lens, where this is the first of them.
    fn flat_field(&self, frame: &Frame, carried: &Carried, mark: &Mark) -> Result<(), String> {
        let wanted = self.job.flat_field.as_ref().zip(self.job.evenness.as_ref());
        let Some((path, gains)) = wanted else { return Ok(()) };
        let Some(flat) = flat_field::frame(frame, gains) else { return Ok(()) };
        if path.exists() && !self.args.replace {
            return Ok(());
        }
        // The camera's own name alone is carried over, and the mark: it is not to be corrected.
        let named = |e: &&CarriedEntry| e.tag == tag::UNIQUE_CAMERA_MODEL;
        let few = Carried {
            root: carried.root.iter().filter(named).cloned().collect(),
            xmp: Some(mark.into_packet(None)),
            ..Carried::default()
        };
        let neutral = frame.info.as_shot_neutral.unwrap_or([1.0; 3]);
        let wanted = Rewrite {
            neutral,
            evenness: None,
            compression: self.compression(),
            crop_active: self.args.crop_active,
        };
        let bytes = build(flat, &few, &wanted)?.into_bytes().map_err(|e| e.to_string())?;
        write(path, &bytes, self.args.replace).map_err(|e| e.to_string())
    }

    fn dng(&self, frame: Frame, carried: &Carried, mark: &Mark) -> Result<Vec<u8>, String> {
        let compression = self.compression();
        let neutral = self.job.correction.neutral;
        let evenness = self.job.evenness.as_ref();
        let wanted = Rewrite { neutral, evenness, compression, crop_active: self.args.crop_active };
        let mut file = build(frame, carried, &wanted)?;
        if file.more.iter().all(|(known, _)| *known != tag::DNG_PRIVATE_DATA) {
            file.more.push((tag::DNG_PRIVATE_DATA, Value::Byte(mark.private_data())));
        }
        file.into_bytes().map_err(|e| e.to_string())
    }

    /// The file, and the share of its pixels that clip and did not before.
    fn picture(
        &self,
        frame: Frame,
        carried: Carried,
        mark: &Mark,
    ) -> Result<(Vec<u8>, f64), String> {
        let orientation = frame.info.orientation;
        let Samples::Rendered(mut light) = frame.samples else {
            return Err("it is no picture".to_owned());
        };
        let mixing = self.job.mixing.ok_or("how its colours were mixed is not known")?;
        let curves = Encoding::of(carried.icc.as_deref())?.curves()?;
        let clips = self.apply(&mut light, mixing, &curves);
        // A packet that cannot be understood took no mark, and a picture has no other place for it.
        let marked = |packet: &Vec<u8>| mark::found(Some(packet), None).is_some();
        let xmp = carried.xmp.filter(marked).or_else(|| Some(mark.into_packet(None)));
        let file = PictureFile {
            light,
            orientation,
            icc: carried.icc,
            xmp,
            software: format!("lightloss {VERSION}"),
            more: values(&carried.root, |t| PICTURE_ROOT.contains(&t)),
            exif: values(&carried.exif, |t| !EXIF_LEFT_OUT.contains(&t)),
            gps: values(&carried.gps, |_| true),
        };
        let encoded = file.encode();
        encoded
            .map(|bytes| (bytes, clips))
            .map_err(|e| format!("a file of {} bytes is too large for TIFF", e.bytes))
    }

    /// Gains in linear light of the raw channels; what was white stays white. Gives the share of pixels
    /// that clip and did not before.
    fn apply(&self, light: &mut LinearRgb, mixing: [f64; 9], curves: &[Curve; 3]) -> f64 {
        let (width, height) = (light.width, light.height);
        let mixing = mixing.map(|v| v as f32);
        let rows = light.data.par_chunks_mut(3 * width).enumerate().map(|(row, pixels)| {
            let y = (row as f64 + 0.5) / height as f64;
            let mut clipped = 0_u64;
            for (column, pixel) in pixels.chunks_exact_mut(3).enumerate() {
                let x = (column as f64 + 0.5) / width as f64;
                let seen: [f32; 3] = std::array::from_fn(|c| curves[c].light(pixel[c]));
                let mut clips = false;
                for (channel, value) in pixel.iter_mut().enumerate() {
                    let even = self.job.evenness.as_ref().map_or(1.0, |e| e.map.at(channel, x, y));
                    let mixed: f32 = (0..3).map(|c| mixing[3 * channel + c] * seen[c]).sum();
                    let light = mixed * even as f32;
                    clips |= light > 1.0 && *value < u16::MAX;
                    *value = curves[channel].back(light);
                }
                clipped += u64::from(clips);
            }
            clipped
        });
        rows.sum::<u64>() as f64 / (width * height).max(1) as f64
    }
}
