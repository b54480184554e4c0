//! `--white`, and what is looked up in files for the neutral of the light without the filter.

use crate::commands::gather::worker;
use crate::commands::photos::Photo;
use crate::editing::encoding::Encoding;
use crate::editing::evenness::Through;
use crate::editing::rendered;
use crate::editing::start::{Known, Start};
use crate::editing::white::Balance;
use crate::error::Failure;
use crate::frame::FrameInfo;
use crate::measure::colour::illuminant_kelvin;
use crate::quantity::Kelvin;
use crate::read::carried::{CarriedEntry, carried};
use crate::read::pool::Reader;
use crate::read::{ReadOptions, file_bytes};
use crate::tiff::tag;
use std::path::{Path, PathBuf};

/// Temperatures that make sense, in kelvin.
const LEAST_KELVIN: f64 = 1500.0;
const MOST_KELVIN: f64 = 50_000.0;

/// The `--white` option.
pub struct White {
    /// What it says.
    pub start: Start,
    /// The frame that it names.
    frame: Option<PathBuf>,
}

/// What is looked up for one photograph.
pub struct Asked<'a> {
    /// The file.
    pub path: &'a Path,
    /// What is known of it.
    pub info: &'a FrameInfo,
    /// Transmittance of the filter, green = 1.
    pub transmittance: [f64; 3],
    /// Bare frames of the series, blank where there is none.
    pub bare: &'a [String],
    /// Everything that was read.
    pub read: &'a [Photo],
}

impl White {
    /// Reads the option; without one, the balance in the photograph.
    ///
    /// # Errors
    /// Where it is neither a word nor a temperature nor a readable frame.
    pub fn parse(option: Option<&str>) -> Result<Self, Failure> {
        let text = match option {
            None => return Ok(Start::Told.into()),
            Some("as-shot") => return Ok(Start::AsShot.into()),
            Some("nearest-bare") => return Ok(Start::NearestBare.into()),
            Some(text) => text,
        };
        if let Ok(kelvin) = text.trim_end_matches(['K', 'k']).trim().parse::<f64>() {
            if (LEAST_KELVIN..=MOST_KELVIN).contains(&kelvin) {
                return Ok(Start::Kelvin(Kelvin::new(kelvin)).into());
            }
            return Err(Failure::usage(format!(
                "--white {text}: give a temperature from {LEAST_KELVIN:.0} to {MOST_KELVIN:.0} kelvin"
            )));
        }
        let path = PathBuf::from(text);
        if !path.exists() {
            return Err(Failure::usage(format!(
                "--white {text:?} is neither as-shot, nearest-bare, a temperature in kelvin, nor a \
                 file that exists"
            )));
        }
        let neutral = neutral_of(&path).map_err(Failure::Nothing)?;
        Ok(Self { start: Start::Frame(neutral), frame: Some(path) })
    }

    /// The neutral of the light without the filter, green = 1.
    ///
    /// # Errors
    /// Why there is none, in plain words.
    pub fn neutral(&self, asked: &Asked<'_>) -> Result<[f64; 3], String> {
        self.start.neutral(&Known {
            raw: asked.info.origin.is_raw(),
            own: self.frame.as_deref() == Some(asked.path),
            as_shot: asked.info.as_shot_neutral,
            matrices: &asked.info.matrices,
            transmittance: asked.transmittance,
            balance: &|| balance(asked.path),
            bare: &|| bare(asked),
        })
    }
}

impl From<Start> for White {
    fn from(start: Start) -> Self {
        Self { start, frame: None }
    }
}

fn bare(asked: &Asked<'_>) -> Option<[f64; 3]> {
    let named = asked.bare.iter().find(|b| !b.is_empty())?;
    let named = Path::new(named);
    let same = |path: &Path| std::path::absolute(path).is_ok_and(|p| p == named) || path == named;
    match asked.read.iter().find(|photo| same(&photo.path)) {
        Some(photo) => photo.picture.info.as_shot_neutral,
        None => neutral_of(named).ok(),
    }
}

fn neutral_of(path: &Path) -> Result<[f64; 3], String> {
    let mut reader = Reader::new(worker(), ReadOptions::default());
    let summary = reader.summary(path, Path::new("")).map_err(|e| e.to_string())?;
    summary
        .info
        .as_shot_neutral
        .ok_or_else(|| format!("{} records no white balance; give a raw frame", path.display()))
}

/// Ratios, row by row, that take a cast out of a picture, whose channels a camera matrix has mixed.
///
/// # Errors
/// Why its cast cannot be taken out, and what can be done instead.
pub fn mixing(path: &Path, through: &[Through<'_>], gains: [f64; 3]) -> Result<[f64; 9], String> {
    let carried = carried(&file_bytes(path).map_err(|e| e.to_string())?);
    let encoding = Encoding::of(carried.icc.as_deref())?;
    let preset = exif_short(&carried.exif, tag::LIGHT_SOURCE).and_then(illuminant_kelvin);
    rendered::mixing(&encoding, preset, through, gains)
}

/// How the camera came by the balance of a file.
fn balance(path: &Path) -> Balance {
    let Ok(file) = file_bytes(path) else { return Balance::Unknown };
    let exif = carried(&file).exif;
    let short = |wanted| exif_short(&exif, wanted);
    Balance::of(short(tag::WHITE_BALANCE), short(tag::LIGHT_SOURCE))
}

/// A short number among Exif entries.
fn exif_short(exif: &[CarriedEntry], wanted: u16) -> Option<u16> {
    let entry = exif.iter().find(|e| e.tag == wanted && e.kind == 3)?;
    entry.bytes.first_chunk().map(|b| u16::from_le_bytes(*b))
}
