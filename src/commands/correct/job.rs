//! One photograph to correct, and what is looked up for it.

use super::out_path;
use crate::cli::CorrectArgs;
use crate::commands::photos;
use crate::commands::profiles::{self, Opened};
use crate::editing::correct::{self, Correction};
use crate::editing::evenness::{EvennessGains, Through, View};
use crate::editing::used_csv::{CorrectionRow, DUV_NOTE, UsedRow, read_used};
use crate::error::Failure;
use crate::frame::{FrameInfo, Origin};
use crate::measure::sensor;
use crate::read::pool::path_text;
use crate::read::small;
use crate::reduce::grid::FrameSummary;
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
    pub(super) notes: Vec<String>,
}

/// A photograph to be corrected, before its numbers are settled.
pub(super) struct Candidate {
    pub(super) path: PathBuf,
    pub(super) summary: FrameSummary,
    pub(super) row: UsedRow,
    pub(super) filters: Vec<(usize, Option<String>)>,
}

impl Job {
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
    let info = candidate.summary.info.clone();
    let raw = matches!(info.origin, Origin::Raw | Origin::LinearDng);
    Job {
        out: out_path(&candidate.path, args.out.as_ref(), raw),
        path: candidate.path.clone(),
        info,
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

pub(super) fn view(summary: &FrameSummary, through: &[Through<'_>]) -> View {
    let camera = &summary.info.camera;
    let area = summary.cells.area;
    let same = through.iter().find(|t| t.same_camera);
    let own = same.and_then(|t| t.profile.camera.sensor_mm.clone());
    let sensor = own.or_else(|| sensor::of_file(camera, (area.width, area.height)));
    View {
        focal_mm: camera.focal_length.map(|f| f.get()),
        sensor_mm: sensor.map(|s| (s.width.get(), s.height.get())),
        pixels: (area.width, area.height),
        orientation: summary.info.orientation,
    }
}

pub(super) fn kit_and_table(
    args: &CorrectArgs,
) -> Result<(Vec<Opened>, Option<Vec<UsedRow>>), Failure> {
    let Some(used) = &args.used else { return Ok((profiles::all(&args.profile)?, None)) };
    let text = small::text(used, small::TABLE_BYTES).map_err(|source| Failure::Unread {
        path: used.clone(),
        advice: "; lightloss which writes one",
        source,
    })?;
    let rows = read_used(&text).map_err(|source| Failure::Table { path: used.clone(), source })?;
    let mut paths = args.profile.clone();
    if paths.is_empty() {
        paths = rows.iter().flat_map(|r| &r.profiles).map(PathBuf::from).collect();
        paths.sort();
        paths.dedup();
    }
    Ok((profiles::all(&paths)?, Some(rows)))
}

/// A table's file is the photograph where the whole path agrees, or, in a table that was moved or
/// written by hand, the name alone.
pub(super) fn same_file(cell: &str, path: &Path) -> bool {
    let cell = Path::new(cell);
    let absolute = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    if cell.is_absolute() && cell.exists() {
        return cell == absolute;
    }
    // As it was written by `which`, in which names that are no text are spelt out.
    let text = |name: &Path| path_text(name.file_name().unwrap_or_default().as_ref());
    cell.file_name() == path.file_name() || text(cell) == text(path)
}

/// Some file systems do not tell letter cases apart.
pub(super) fn same_name(a: &Path, b: &Path) -> bool {
    a.to_string_lossy().to_lowercase() == b.to_string_lossy().to_lowercase()
}

/// Photographs with their sidecars, profiles, the table, and a frame named for the white balance.
pub(super) fn read_files(
    args: &CorrectArgs,
    kit: &[Opened],
    photographs: &[PathBuf],
) -> Vec<PathBuf> {
    let sidecars = photographs.iter().filter_map(|file| photos::sidecar_path(file));
    let profiles = kit.iter().map(|opened| opened.path.clone());
    let white = args.white.iter().map(PathBuf::from);
    let named = args.used.iter().cloned().chain(white);
    photographs.iter().cloned().chain(sidecars).chain(profiles).chain(named).collect()
}
