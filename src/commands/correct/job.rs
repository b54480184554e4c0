//! One photograph to correct, and what is looked up for it.

use super::out_path;
use crate::cli::CorrectArgs;
use crate::commands::VERSION;
use crate::commands::photos::Photo;
use crate::commands::profiles::{self, Opened};
use crate::commands::used_table;
use crate::editing::correct::{self, Correction};
use crate::editing::evenness::{EvennessGains, Through, View};
use crate::editing::mark::Mark;
use crate::editing::used_csv::{CorrectionRow, DUV_NOTE, UsedRow};
use crate::error::Failure;
use crate::frame::{FrameInfo, Origin};
use crate::measure::sensor;
use crate::read::pool::path_text;
use std::path::{Path, PathBuf};

/// One photograph to correct.
pub struct Job {
    /// The original.
    pub path: PathBuf,
    /// What is known of it.
    pub info: FrameInfo,
    /// Filters and marks in plain words.
    pub words: String,
    /// Series, from 1.
    pub series: usize,
    /// Numbers.
    pub correction: Correction,
    /// Gains across the frame.
    pub evenness: Option<EvennessGains>,
    /// Destination.
    pub out: PathBuf,
    /// Whether an earlier run that was interrupted wrote it already.
    pub done: bool,
    pub(super) notes: Vec<String>,
}

/// A photograph to be corrected, before its numbers are settled.
pub(super) struct Candidate {
    pub(super) photo: Photo,
    pub(super) row: UsedRow,
    pub(super) filters: Vec<(usize, Option<String>)>,
}

impl Job {
    /// What the corrected file says of itself.
    #[must_use]
    pub fn mark(&self) -> Mark {
        Mark {
            filters: self.words.clone(),
            gains: self.correction.gains,
            evenness: self.evenness.is_some(),
            program: format!("lightloss {VERSION}"),
        }
    }

    /// The numbers for those who type them in.
    #[must_use]
    pub fn row(&self) -> CorrectionRow {
        let c = &self.correction;
        let lights = [&c.before, &c.after];
        let mut note = self.notes.join("; ");
        if c.after.is_some() {
            note =
                if note.is_empty() { DUV_NOTE.to_owned() } else { format!("{DUV_NOTE}; {note}") };
        }
        let kelvin = |l: &Option<crate::profile::Light>| {
            l.as_ref().map(|l| format!("{:.0}", l.cct_k.get())).unwrap_or_default()
        };
        let duv = |l: &Option<crate::profile::Light>| {
            l.as_ref().map(|l| format!("{:+.4}", l.duv.get())).unwrap_or_default()
        };
        CorrectionRow {
            file: path_text(&self.path),
            filter: self.words.clone(),
            gains: c.gains.map(|g| format!("{g:.4}")),
            kelvin: lights.map(kelvin),
            duv: lights.map(duv),
            series: self.series.to_string(),
            note,
        }
    }
}

pub(super) fn job(
    candidate: &Candidate,
    series: usize,
    correction: &Correction,
    evenness: Option<EvennessGains>,
    notes: &[String],
    args: &CorrectArgs,
) -> Job {
    let info = candidate.photo.picture.info.clone();
    let raw = matches!(info.origin, Origin::Raw | Origin::LinearDng);
    Job {
        out: out_path(&candidate.photo.path, args.out.as_ref(), raw),
        path: candidate.photo.path.clone(),
        info,
        done: false,
        words: candidate.row.how_known.clone(),
        series,
        correction: correction.clone(),
        evenness,
        notes: notes.to_vec(),
    }
}

/// The filters of one photograph with their settings.
pub(super) fn through<'a>(
    kit: &'a [Opened],
    filters: &[(usize, Option<String>)],
    info: &FrameInfo,
) -> Vec<Through<'a>> {
    filters
        .iter()
        .map(|(at, mark)| {
            let profile = &kit[*at].profile;
            let camera = &profile.camera;
            Through {
                profile,
                setting: correct::setting(profile, mark.as_deref()).ok().flatten(),
                same_camera: camera.model.is_some()
                    && camera.model == info.camera.model
                    && camera.make == info.camera.make,
            }
        })
        .collect()
}

pub(super) fn view(photo: &Photo, through: &[Through<'_>]) -> View {
    let camera = &photo.picture.info.camera;
    let same = through.iter().find(|t| t.same_camera);
    let own = same.and_then(|t| t.profile.camera.sensor_mm.clone());
    let sensor = own.or_else(|| sensor::of_file(camera, photo.pixels));
    View {
        focal_mm: camera.focal_length.map(|f| f.get()),
        sensor_mm: sensor.map(|s| (s.width.get(), s.height.get())),
        pixels: photo.pixels,
        orientation: photo.picture.info.orientation,
    }
}

pub(super) fn kit_and_table(
    args: &CorrectArgs,
) -> Result<(Vec<Opened>, Option<Vec<UsedRow>>), Failure> {
    let Some(used) = &args.used else { return Ok((profiles::all(&args.profile)?, None)) };
    let rows = used_table::read(used)?;
    let mut paths = args.profile.clone();
    if paths.is_empty() {
        paths = rows.iter().flat_map(|r| &r.profiles).map(PathBuf::from).collect();
        paths.sort();
        paths.dedup();
    }
    Ok((profiles::all(&paths)?, Some(rows)))
}

/// Some file systems do not tell letter cases apart.
pub(super) fn same_name(a: &Path, b: &Path) -> bool {
    a.to_string_lossy().to_lowercase() == b.to_string_lossy().to_lowercase()
}
