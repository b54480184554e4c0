//! Where the neutral of the light without the filter comes from.

use crate::commands::gather::worker;
use crate::commands::photos::Photo;
use crate::editing::white::{self, Balance, NotAsShot};
use crate::error::Failure;
use crate::frame::FrameInfo;
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
pub enum White {
    /// The balance in the photograph, where it can be told to be that of the bare light.
    Told,
    /// The balance in the photograph: the user's word.
    AsShot,
    /// That of the bare frame of the scene.
    NearestBare,
    /// A temperature.
    Kelvin(Kelvin),
    /// A frame's balance.
    Frame {
        /// The frame.
        path: PathBuf,
        /// Its balance.
        neutral: [f64; 3],
    },
}

/// What is asked about one photograph.
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
            None => return Ok(Self::Told),
            Some("as-shot") => return Ok(Self::AsShot),
            Some("nearest-bare") => return Ok(Self::NearestBare),
            Some(text) => text,
        };
        if let Ok(kelvin) = text.trim_end_matches(['K', 'k']).trim().parse::<f64>() {
            if (LEAST_KELVIN..=MOST_KELVIN).contains(&kelvin) {
                return Ok(Self::Kelvin(Kelvin::new(kelvin)));
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
        Ok(Self::Frame { path, neutral })
    }

    /// The neutral of the light without the filter, green = 1.
    ///
    /// # Errors
    /// Why there is none, in plain words.
    pub fn neutral(&self, asked: &Asked<'_>) -> Result<[f64; 3], String> {
        let matrices = &asked.info.matrices;
        if !asked.info.origin.is_raw() {
            return self.of_picture(asked);
        }
        match self {
            Self::Kelvin(kelvin) => white::of_kelvin(*kelvin, matrices).ok_or_else(|| {
                format!(
                    "no colour matrix is known for this camera, so a temperature says nothing; {}",
                    ways(asked)
                )
            }),
            Self::Frame { neutral, path } => {
                if path == asked.path {
                    return Err(format!(
                        "it cannot be its own frame without the filter; {}",
                        ways(asked)
                    ));
                }
                Ok(*neutral)
            }
            Self::NearestBare => bare(asked)
                .ok_or_else(|| format!("no bare frame of this scene is known; {}", ways(asked))),
            Self::AsShot => {
                asked.info.as_shot_neutral.ok_or_else(|| refused(NotAsShot::None, asked))
            }
            Self::Told => {
                let known: Vec<[f64; 3]> = bare(asked).into_iter().collect();
                let shot = asked.info.as_shot_neutral;
                white::as_shot(shot, balance(asked.path), asked.transmittance, &known, matrices)
                    .map_err(|reason| refused(reason, asked))
            }
        }
    }

    /// A picture was rendered with its balance: only a cast that is still whole can be taken out.
    fn of_picture(&self, asked: &Asked<'_>) -> Result<[f64; 3], String> {
        let as_shot = "give --white as-shot if its balance was set for the light without the filter, \
            or correct the raw file";
        match (self, balance(asked.path)) {
            (Self::AsShot, _) | (Self::Told, Balance::Preset) => Ok([1.0; 3]),
            (Self::Told, Balance::Automatic) => Err(format!("{}; {as_shot}", NotAsShot::Automatic)),
            (Self::Told, _) => Err(format!("{}; {as_shot}", NotAsShot::Undecided)),
            _ => Err(format!("a picture's balance is in its colours already; {as_shot}")),
        }
    }
}

/// Why the balance in the photograph is not taken, and what can be given instead.
fn refused(reason: NotAsShot, asked: &Asked<'_>) -> String {
    let own = reason.unless().map(|when| format!(", or --white as-shot if {when}"));
    format!("{reason}; {}{}", ways(asked), own.unwrap_or_default())
}

/// What gives the light of this photograph without the filter, of all that can: a bare frame of the
/// scene must be known for one, a colour matrix for the other.
fn ways(asked: &Asked<'_>) -> &'static str {
    match (bare(asked).is_some(), asked.info.matrices.is_empty()) {
        (true, false) => "use --white nearest-bare, a frame, or a temperature",
        (true, true) => "use --white nearest-bare or a frame",
        (false, false) => "use --white with a frame made without the filter, or with a temperature",
        (false, true) => "use --white with a frame made without the filter",
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

/// How the camera came by the balance of a file.
fn balance(path: &Path) -> Balance {
    let Ok(file) = file_bytes(path) else { return Balance::Unknown };
    let exif = carried(&file).exif;
    let short = |wanted| exif_short(&exif, wanted);
    Balance::of(short(tag::WHITE_BALANCE), short(tag::LIGHT_SOURCE))
}

/// A short number among Exif entries.
pub(super) fn exif_short(exif: &[CarriedEntry], wanted: u16) -> Option<u16> {
    let entry = exif.iter().find(|e| e.tag == wanted && e.kind == 3)?;
    entry.bytes.first_chunk().map(|b| u16::from_le_bytes(*b))
}
