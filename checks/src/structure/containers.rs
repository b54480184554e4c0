//! Small shoots of one planted filter, bare, filtered, bare, in every container that is read.

use image::{ExtendedColorType, ImageEncoder, codecs::jpeg::JpegEncoder};
use lightloss::frame::{Frame, Samples};
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::files::dng;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::mosaic::render;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot, Taken as Pressed};
use lightloss::tiff::rational::{exposure_time, signed};
use lightloss::write::dng::{Compression, DngFile};
use lightloss_test_files::raw_files::{self, Shown, Taken};
use rawler::ljpeg92::LjpegCompressor;

/// Stops of the planted filter in green.
pub const STOPS: f64 = 6.0;
/// Columns and rows of a mosaic; a picture is made of one twice as large.
const SIZE: (usize, usize) = (288, 192);
/// Frames of a state.
pub const EACH: usize = 3;

#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Container {
    Dng,
    DngLossless,
    Nef,
    Arw,
    Cr2,
    Raf,
    Tiff,
    TiffBig,
    Jpeg,
}

pub const CONTAINERS: [Container; 9] = [
    Container::Dng,
    Container::DngLossless,
    Container::Nef,
    Container::Arw,
    Container::Cr2,
    Container::Raf,
    Container::Tiff,
    Container::TiffBig,
    Container::Jpeg,
];

impl Container {
    pub fn name(self) -> &'static str {
        match self {
            Self::Dng => "DNG",
            Self::DngLossless => "DNG, lossless JPEG",
            Self::Nef => "NEF",
            Self::Arw => "ARW",
            Self::Cr2 => "CR2",
            Self::Raf => "RAF",
            Self::Tiff => "TIFF",
            Self::TiffBig => "TIFF, big-endian",
            Self::Jpeg => "JPEG",
        }
    }
    fn extension(self) -> &'static str {
        match self {
            Self::Dng | Self::DngLossless => "dng",
            Self::Nef => "nef",
            Self::Arw => "arw",
            Self::Cr2 => "cr2",
            Self::Raf => "raf",
            Self::Tiff | Self::TiffBig => "tif",
            Self::Jpeg => "jpg",
        }
    }
    fn is_picture(self) -> bool {
        matches!(self, Self::Tiff | Self::TiffBig | Self::Jpeg)
    }
    /// Black and white of the camera whose files these are, and columns and rows beyond its picture.
    fn levels(self) -> (f64, f64, usize) {
        match self {
            Self::Nef => (0.0, 4095.0, 12),
            Self::Arw => (512.0, 16_300.0, 0),
            Self::Cr2 => (2048.0, 14_888.0, 0),
            Self::Raf => (1023.0, 16_383.0, 0),
            _ => (512.0, 16_000.0, 0),
        }
    }
    /// The nine files in order, by name; `apex` says whether the camera writes ShutterSpeedValue.
    pub fn files(self, apex: bool) -> Vec<(String, Vec<u8>)> {
        let double = if self.is_picture() { 2 } else { 1 };
        let mut camera = Camera::bayer(double * SIZE.0, double * SIZE.1);
        if self == Self::DngLossless {
            // Active and masked areas are tags of their own.
            camera = camera.with_border(24, 16);
        }
        camera.shutter.offsets = 0.0;
        camera.shutter.writes_apex = apex;
        let scene = Scene::daylight(18.0, [0.55, 1.0, 0.7]);
        let session = Session::new(camera, Lens::of(50.0), scene, 43);
        let one = [Filter::even([STOPS + 0.1, STOPS, STOPS - 0.1])];
        let mut shots = Shot::repeated("Q", 1, EACH, Time::Dial(1.0 / 60.0), &[]);
        shots.extend(Shot::repeated("Q", 4, EACH, Time::Dial(1.0), &one));
        shots.extend(Shot::repeated("Q", 7, EACH, Time::Dial(1.0 / 60.0), &[]));
        let file = |one: &Pressed| {
            let name = one.shot.file.replace(".dng", &format!(".{}", self.extension()));
            (name, self.file(&render(&session, one)))
        };
        session.take(&shots).iter().map(file).collect()
    }
    fn file(self, frame: &Frame) -> Vec<u8> {
        let taken = taken(frame);
        match self {
            Self::Dng => dng(frame).encode().unwrap(),
            Self::DngLossless => {
                let compression = Compression::LosslessJpeg;
                DngFile { compression, ..dng(frame) }.encode().unwrap()
            }
            Self::Tiff | Self::TiffBig => {
                let (width, height, counts) = picture(frame);
                let shown = Shown { width, height, counts: &counts, taken: &taken };
                raw_files::tiff_picture(&shown, self == Self::TiffBig)
            }
            Self::Jpeg => {
                let (width, height, counts) = picture(frame);
                let bytes: Vec<u8> = counts.iter().map(|v| (v / 257) as u8).collect();
                let mut jpeg = Vec::new();
                let size = (width as u32, height as u32);
                JpegEncoder::new_with_quality(&mut jpeg, 95)
                    .write_image(&bytes, size.0, size.1, ExtendedColorType::Rgb8)
                    .unwrap();
                raw_files::jpeg_picture(&jpeg, &taken)
            }
            _ => {
                let (width, height, counts) = self.counts(frame);
                let shown = Shown { width, height, counts: &counts, taken: &taken };
                match self {
                    Self::Nef => raw_files::nef(&shown),
                    Self::Arw => raw_files::arw(&shown),
                    Self::Cr2 => raw_files::cr2(&shown, &lossless(&shown)),
                    _ => raw_files::raf(&shown),
                }
            }
        }
    }
    /// The mosaic on this camera's levels, with what it stores beyond the picture.
    fn counts(self, frame: &Frame) -> (usize, usize, Vec<u16>) {
        let Samples::Raw(mosaic, _) = &frame.samples else { unreachable!("a mosaic was rendered") };
        let (black, white, more) = self.levels();
        let (width, height) = (mosaic.width + more, mosaic.height + more);
        let scale = (white - black) / (f64::from(frame.levels.white) - 512.0);
        let count = |i: usize| {
            let (row, column) = (i / width, i % width);
            let inside = row < mosaic.height && column < mosaic.width;
            let at = |row: usize, column: usize| {
                f64::from(mosaic.data[row * mosaic.width + column])
                    - frame.levels.black.at(row, column)
            };
            let light = if inside { at(row, column) } else { at(row % 2, column % 2) / 50.0 };
            (black + scale * light).round().clamp(0.0, white) as u16
        };
        (width, height, (0..width * height).map(count).collect())
    }
}

fn taken(frame: &Frame) -> Taken {
    let info = &frame.info;
    let at = info.capture.at.expect("the camera has a clock");
    let (d, t) = (at.date(), at.time());
    let at = format!(
        "{:04}:{:02}:{:02} {:02}:{:02}:{:02}",
        d.year(),
        d.month(),
        d.day(),
        t.hour(),
        t.minute(),
        t.second()
    );
    Taken {
        time: exposure_time(info.exposure.time.map_or(0.0, |t| t.get())),
        apex: info.exposure.apex_time.map(|t| signed(-t.get().log2())),
        f_number: (8, 1),
        iso: info.exposure.iso.map_or(100, |iso| iso.get() as u16),
        at,
        focal_mm: 50,
    }
}

/// The display encoding of linear light from 0 to 1 (IEC 61966-2-1).
fn encoded(light: f64) -> f64 {
    if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 }
}

/// Four pixels of the mosaic make one of the picture, encoded for display; white is where the
/// sensor clips.
fn picture(frame: &Frame) -> (usize, usize, Vec<u16>) {
    let Samples::Raw(mosaic, _) = &frame.samples else { unreachable!("a mosaic was rendered") };
    let (width, height) = (mosaic.width / 2, mosaic.height / 2);
    let white = f64::from(frame.levels.white) - 512.0;
    let mut out = Vec::new();
    for cell in 0..width * height {
        let (row, column) = (2 * (cell / width), 2 * (cell % width));
        let at = |r: usize, c: usize| {
            let count = mosaic.data[(row + r) * mosaic.width + column + c];
            (f64::from(count) - frame.levels.black.at(r, c)) / white
        };
        for light in [at(0, 0), (at(0, 1) + at(1, 0)) / 2.0, at(1, 1)] {
            out.push((encoded(light.clamp(0.0, 1.0)) * 65_535.0).round() as u16);
        }
    }
    (width, height, out)
}

/// Two components of half the width (ITU-T T.81, process 14).
fn lossless(shown: &Shown<'_>) -> Vec<u8> {
    let slices = raw_files::sliced(shown);
    LjpegCompressor::new(&slices, shown.width / 2, shown.height, 2, 16, 1, 0, 0)
        .and_then(LjpegCompressor::encode)
        .unwrap()
}
