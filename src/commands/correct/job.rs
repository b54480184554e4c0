//! One photograph to correct, and what is looked up for it.

use super::{light, out_path};
use crate::cli::CorrectArgs;
use crate::commands::VERSION;
use crate::commands::photos::{self, Photo};
use crate::commands::profiles::{self, Opened};
use crate::commands::used_table;
use crate::editing::correct::{self, Correction};
use crate::editing::evenness::{EvennessGains, Through, View};
use crate::editing::mark::Mark;
use crate::editing::packet::settings;
use crate::editing::settled::Settled;
use crate::editing::used_csv::{CorrectionRow, DUV_NOTE, UsedRow};
use crate::editing::which::Used;
use crate::error::Failure;
use crate::frame::FrameInfo;
use crate::measure::sensor;
use crate::read::pool::path_text;
use crate::rounding;
use crate::text::slug;
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};

/// A picture that gets brighter by less is not told so, in stops (ours: nobody sees it).
const WORTH_SAYING_STOPS: f64 = 0.02;
/// So many bytes of a hash tell originals apart: of a million two share them with a chance of 3e-8 (the
/// birthday rule).
const ORIGINAL_BYTES: usize = 8;

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
    /// Ratios, row by row, that take the cast out of a picture's linear colours; `None` of raw files.
    pub mixing: Option<[f64; 9]>,
    /// By how much taking the cast out raises a picture, in stops of a grey; `None` of raw files.
    pub raised_stops: Option<f64>,
    /// Gains across the frame.
    pub evenness: Option<EvennessGains>,
    /// Destination.
    pub out: PathBuf,
    /// Where a flat-field frame for its filter, mark and lens goes, if it is the first of its kind.
    pub flat_field: Option<PathBuf>,
    /// Whether an earlier run that was interrupted wrote it already.
    pub done: bool,
    pub(super) notes: Vec<String>,
}

/// A photograph to be corrected, before its numbers are settled.
pub(super) struct Candidate {
    pub(super) photo: Photo,
    pub(super) row: UsedRow,
    pub(super) filters: Vec<Used>,
    /// What speaks against the filters that the user named.
    pub(super) against: Option<String>,
}

impl Job {
    /// What the corrected file says of itself, by the packet of its original and sidecar.
    #[must_use]
    pub fn mark(&self, args: &CorrectArgs, packet: Option<&[u8]>) -> Mark {
        let dropped = args.drop_settings && packet.is_some_and(|p| !settings(p).is_empty());
        let raw = self.info.origin.is_raw();
        let asked = [
            (dropped, "balance of other programs left out"),
            (raw && args.crop_active, "without its masked border"),
            (raw && args.uncompressed, "not compressed"),
        ];
        let mut original = Sha256::new();
        original.update(&self.info.sha256);
        original.update(packet.unwrap_or_default());
        let original = original.finalize();
        Mark {
            filters: self.words.clone(),
            gains: self.correction.gains,
            evenness: self.evenness.as_ref().map(|gains| gains.part),
            neutral: self.correction.neutral,
            asked: asked.iter().filter(|a| a.0).map(|a| a.1).collect(),
            original: original.iter().take(ORIGINAL_BYTES).map(|b| format!("{b:02x}")).collect(),
            program: format!("lightloss {VERSION}"),
        }
    }

    /// Everything that is said of it, and the share of its pixels that clip by being raised.
    #[must_use]
    pub fn row(&self, args: &CorrectArgs, clips: Option<f64>) -> CorrectionRow {
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
        let three = |stops: f64| rounding::fixed(stops, 3);
        let evenness = self.evenness.as_ref();
        let even = evenness.map(|e| e.raised_stops);
        let raised = [self.raised_stops, even].into_iter().flatten().reduce(|a, b| a + b);
        let written = !args.gains_only;
        let [gain_red, gain_green, gain_blue] = c.gains.map(|g| format!("{g:.4}"));
        let [kelvin_before, kelvin_after] = lights.map(kelvin);
        let [duv_before, duv_after] = lights.map(duv);
        CorrectionRow {
            file: path_text(&self.path),
            corrected: if written { path_text(&self.out) } else { String::new() },
            filter: self.words.clone(),
            gain_red,
            gain_green,
            gain_blue,
            neutral_red: format!("{:.4}", c.neutral[0]),
            neutral_blue: format!("{:.4}", c.neutral[2]),
            kelvin_before,
            kelvin_after,
            green_magenta_duv_before: duv_before,
            green_magenta_duv_after: duv_after,
            evenness_stops: evenness.map(|e| three(e.peak_stops)).unwrap_or_default(),
            raised_stops: raised.map(three).unwrap_or_default(),
            clips_percent: clips.map(|share| format!("{:.2}", 100.0 * share)).unwrap_or_default(),
            series: self.series.to_string(),
            note,
        }
    }
}

impl Job {
    /// What raises its pixels, where some of them clip by it.
    #[must_use]
    pub fn raised_word(&self) -> String {
        let even = self
            .evenness
            .as_ref()
            .map(|e| format!("evening out raises it by up to {:.2} stop", e.peak_stops));
        let cast = self.raised_stops.map(|stops| {
            format!("taking the cast out with white kept white raises it by {stops:.2} stop")
        });
        [cast, even].into_iter().flatten().collect::<Vec<_>>().join(", ")
    }
}

pub(super) fn job(
    (candidate, mixing): (&Candidate, Option<[f64; 9]>),
    series: usize,
    settled: &Settled,
    args: &CorrectArgs,
) -> Job {
    let info = candidate.photo.picture.info.clone();
    let raw = info.origin.is_raw();
    let path = &candidate.photo.path;
    let raised_stops = mixing.as_ref().and_then(|mixing| light::raised(path, mixing));
    let notes = settled.notes.iter().cloned();
    Job {
        out: out_path(&candidate.photo.path, args.out.as_ref(), raw),
        path: candidate.photo.path.clone(),
        info,
        flat_field: None,
        done: false,
        words: candidate.row.how_known.clone(),
        series,
        correction: settled.correction.clone(),
        mixing,
        raised_stops,
        evenness: settled.evenness.clone(),
        notes: notes
            .chain(candidate.against.clone())
            .chain(settings_word(&candidate.photo, args))
            .chain(raised_stops.and_then(brighter_word))
            .collect(),
    }
}

/// What to say of another program's settings that would hide the new balance.
fn settings_word(photo: &Photo, args: &CorrectArgs) -> Option<String> {
    let named = photo.settings.join(", ");
    match (named.is_empty(), args.drop_settings) {
        (true, _) => None,
        (false, true) => Some(format!("settings left out: {named}")),
        (false, false) => Some(format!(
            "the program that wrote {named} may open the corrected file with that balance instead of \
             the new one: use --drop-settings, or set the balance to as-shot there"
        )),
    }
}

/// What to say of a picture that gets brighter.
fn brighter_word(stops: f64) -> Option<String> {
    (stops >= WORTH_SAYING_STOPS).then(|| {
        format!(
            "a picture gets brighter, a grey by {stops:.2} stop, so that what was white stays white: the raw \
             file keeps its level"
        )
    })
}

/// Names a flat-field frame for the first job of each filter, mark, camera and lens.
pub(super) fn name_flat_fields(jobs: &mut [Job], folder: &Path) {
    let mut known: Vec<PathBuf> = Vec::new();
    for job in jobs.iter_mut().filter(|job| job.evenness.is_some()) {
        let camera = &job.info.camera;
        let model = camera.model.as_deref().unwrap_or_default();
        let lens = camera.focal_length.map(|f| format!("{:.0}mm", f.get())).unwrap_or_default();
        let name = slug(&format!("flat field {} {model} {lens}", job.words));
        let path = folder.join(format!("{name}.dng"));
        if !known.contains(&path) {
            known.push(path.clone());
            job.flat_field = Some(path);
        }
    }
}

/// The filters of one photograph with their settings.
pub(super) fn through<'a>(
    kit: &'a [Opened],
    filters: &[Used],
    info: &FrameInfo,
) -> Vec<Through<'a>> {
    filters
        .iter()
        .map(|used| {
            let profile = &kit[used.filter].profile;
            let camera = &profile.camera;
            Through {
                profile,
                setting: correct::setting(profile, used.mark.as_deref()).ok().flatten(),
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

/// What photographs are corrected by.
pub(super) struct Given {
    pub kit: Vec<Opened>,
    /// Which photograph had which filter, where a table says so.
    pub table: Option<Vec<UsedRow>>,
    /// What is to be said of where profiles came from.
    pub said: Vec<String>,
}

pub(super) fn given(args: &CorrectArgs) -> Result<Given, Failure> {
    let Some(used) = &args.used else {
        refuse_twice(&args.profile)?;
        return Ok(Given { kit: profiles::all(&args.profile)?, table: None, said: Vec::new() });
    };
    let mut rows = used_table::read(used)?;
    let mut paths = args.profile.clone();
    if paths.is_empty() {
        paths = rows.iter().flat_map(|r| &r.profiles).map(PathBuf::from).collect();
        paths.sort();
        paths.dedup();
    }
    let mut kit = profiles::all(&paths)?;
    let said = used_table::complete(&mut kit, &mut rows, used)?;
    light::refuse_filtered(args.white.as_deref(), &rows)?;
    Ok(Given { kit, table: Some(rows), said })
}

/// Refuses a profile that is named twice: whether both times one filter is meant nobody can tell.
fn refuse_twice(profiles: &[PathBuf]) -> Result<(), Failure> {
    let mut known: Vec<PathBuf> = Vec::new();
    for file in profiles.iter().flat_map(|path| profiles::files(std::slice::from_ref(path))) {
        let real = used_table::real(&file);
        if known.contains(&real) {
            let name = profiles::open(&file)?.profile.filter.name;
            return Err(Failure::usage(format!(
                "--profile names {name:?} twice, and its cast is taken out once; name it once"
            )));
        }
        known.push(real);
    }
    Ok(())
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
