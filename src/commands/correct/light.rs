//! `--white`, and what is looked up in files for the neutral of the light without the filter.

use crate::commands::gather::worker;
use crate::commands::photos::{self, Photo};
use crate::commands::used_table::{real, same_file};
use crate::editing::encoding::Encoding;
use crate::editing::evenness::Through;
use crate::editing::rendered;
use crate::editing::start::{Known, OF_PICTURE, Start};
use crate::editing::used_csv::UsedRow;
use crate::editing::which::Picture;
use crate::editing::white::Balance;
use crate::error::Failure;
use crate::frame::FrameInfo;
use crate::measure::colour::illuminant_kelvin;
use crate::quantity::Kelvin;
use crate::read::carried::{CarriedEntry, carried};
use crate::read::pool::{Reader, path_text};
use crate::read::{Kind as FileKind, ReadOptions, file_bytes, kind_of};
use crate::tiff::tag;
use std::path::{Path, PathBuf};

/// Temperatures that make sense, in kelvin.
const LEAST_KELVIN: f64 = 1500.0;
const MOST_KELVIN: f64 = 50_000.0;
/// What to do where a table names no bare frame.
const BARE_IN_TABLE: &str = "; or write one into the table as its bare_frame, or have lightloss which --used \
                             find it";

/// The `--white` option.
pub struct White {
    /// What it says.
    pub start: Start,
    /// The frame that it names.
    frame: Option<Named>,
}

/// The frame that was named for the light without the filter.
struct Named {
    path: PathBuf,
    picture: Picture,
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
    /// A table tells which photograph had which filter.
    pub table: bool,
}

impl White {
    /// Reads the option for these photographs; without one, the balance in each.
    ///
    /// # Errors
    /// Where it is neither a word nor a temperature nor a readable frame.
    pub fn parse(option: Option<&str>, photographs: &[PathBuf]) -> Result<Self, Failure> {
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
        // No frame's balance is of use for a picture, so that none need be looked for.
        if photographs.iter().all(|file| kind_of(file) == FileKind::Picture) {
            return Err(Failure::Nothing(OF_PICTURE.to_owned()));
        }
        let (neutral, picture) = neutral_of(&path).map_err(Failure::Nothing)?;
        Ok(Self { start: Start::Frame(neutral), frame: Some(Named { path, picture }) })
    }

    /// The frame that was named.
    pub fn named(&self) -> Option<(&Path, &Picture)> {
        self.frame.as_ref().map(|frame| (frame.path.as_path(), &frame.picture))
    }

    /// The neutral of the light without the filter, green = 1.
    ///
    /// # Errors
    /// Why there is none, in plain words.
    pub fn neutral(&self, asked: &Asked<'_>) -> Result<[f64; 3], String> {
        let raw = asked.info.origin.is_raw();
        if let Some(other) = self.frame.as_ref().filter(|_| raw).and_then(|f| f.other(asked.info)) {
            return Err(other);
        }
        let found = self.start.neutral(&Known {
            raw,
            own: self.frame.as_ref().is_some_and(|frame| real(&frame.path) == real(asked.path)),
            as_shot: asked.info.as_shot_neutral,
            matrices: &asked.info.matrices,
            transmittance: asked.transmittance,
            balance: &|| balance(asked.path),
            bare: &|| bare(asked),
        });
        let asks = matches!(self.start, Start::NearestBare | Start::Told);
        let gone = |named: &&String| raw && asks && !Path::new(named).exists();
        let gone = asked.bare.iter().find(|named| !named.is_empty()).filter(gone);
        let lacks = raw && asked.table && self.start == Start::NearestBare;
        found.map_err(|reason| match gone {
            Some(named) => format!(
                "its bare_frame in the table, {named:?}, is not there (paths count from the table's folder); \
                 {reason}"
            ),
            None if lacks => format!("{reason}{BARE_IN_TABLE}"),
            None => reason,
        })
    }
}

impl Named {
    /// Why its balance says nothing of a photograph from another camera; `None` where it is one model, or
    /// a file does not tell.
    fn other(&self, info: &FrameInfo) -> Option<String> {
        let camera = &self.picture.info.camera;
        let (frame, photo) = (camera.model.as_ref()?, info.camera.model.as_ref()?);
        let temperature = if info.matrices.is_empty() { "" } else { ", or a temperature" };
        (frame != photo || camera.make != info.camera.make).then(|| {
            format!(
                "the frame {} is of another camera ({frame}, this is {photo}), whose channels see light \
                 differently: give --white a frame of this camera made without the filter{temperature}",
                path_text(&self.path)
            )
        })
    }
}

/// Refuses a frame for the light without the filter that was made through one by the same table.
///
/// # Errors
/// Where `--white` names such a frame.
pub fn refuse_filtered(white: Option<&str>, rows: &[UsedRow]) -> Result<(), Failure> {
    let Some(path) = white.map(Path::new) else { return Ok(()) };
    let row = rows.iter().find(|row| same_file(&row.file, path));
    match row.and_then(|row| row.filters.as_ref()) {
        Some(filters) if !filters.is_empty() => Err(Failure::usage(format!(
            "--white {}: the table says that it was made through {}; give a frame made without a filter or \
             a temperature, or say in the table that it had none",
            path_text(path),
            filters.join(" + ")
        ))),
        _ => Ok(()),
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
        None => neutral_of(named).ok().map(|(neutral, _)| neutral),
    }
}

/// The neutral of a frame made without the filter, and what it shows.
fn neutral_of(path: &Path) -> Result<([f64; 3], Picture), String> {
    if let Some(what) = photos::correction_in(path) {
        return Err(format!(
            "{} was corrected ({what}), so its balance has the filter in it: give a frame made without the \
             filter, or a temperature",
            path_text(path)
        ));
    }
    let mut reader = Reader::new(worker(), ReadOptions::default());
    let summary = reader.summary(path, Path::new("")).map_err(|e| e.to_string())?;
    let neutral = summary
        .info
        .as_shot_neutral
        .ok_or_else(|| format!("{} records no white balance; give a raw frame", path.display()))?;
    Ok((neutral, Photo::of(path, summary).picture))
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

/// By how much these ratios raise what they make grey in a picture, in stops.
#[must_use]
pub fn raised(path: &Path, mixing: &[f64; 9]) -> Option<f64> {
    let carried = carried(&file_bytes(path).ok()?);
    rendered::raised_stops(mixing, &Encoding::of(carried.icc.as_deref()).ok()?.to_xyz())
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
