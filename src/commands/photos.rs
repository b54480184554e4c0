//! Photographs and the kit, as `which` and `correct` take them from the command line.

use crate::commands::console::Console;
use crate::commands::gather;
use crate::editing::mark;
use crate::editing::packet::{merged, of_sidecar, settings};
use crate::editing::scene::SceneMap;
use crate::editing::which::Picture;
use crate::error::Failure;
use crate::frame::{FrameInfo, Origin};
use crate::read::carried::{Carried, carried};
use crate::read::pool::{Reader, Unreadable, path_text};
use crate::read::{Kind as FileKind, ReadOptions, file_bytes, kind_of, small, xmp};
use crate::reduce::grid::FrameSummary;
use crate::system;
use crate::tiff::tag;
use rayon::prelude::*;
use std::path::{Path, PathBuf};

/// The photographs named, folders opened one level deep; what is no photograph is left out of
/// folders, and of what is named what lies beside photographs: sidecars, tables, leavings.
///
/// # Errors
/// Where a path does not exist, or nothing is left.
pub fn photographs(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let mut found = Vec::new();
    for path in paths {
        let shown = path.display();
        if path.is_dir() {
            let entries = std::fs::read_dir(path).map_err(|source| Failure::Unread {
                path: path.clone(),
                advice: "",
                source,
            })?;
            let inside = entries.filter_map(|e| Some(e.ok()?.path()));
            found.extend(inside.filter(|p| p.is_file() && is_photograph(p)));
        } else if path.exists() {
            if !lies_beside(path) {
                found.push(path.clone());
            }
        } else {
            return Err(Failure::usage(format!("the photograph {shown} does not exist")));
        }
    }
    found.sort();
    found.dedup();
    if found.is_empty() {
        return Err(Failure::Nothing(
            "no photographs found; give raw files, pictures, or a folder of them".to_owned(),
        ));
    }
    Ok(found)
}

/// `evening/*` names all that is there.
fn lies_beside(path: &Path) -> bool {
    let table = path.extension().is_some_and(|e| e.eq_ignore_ascii_case("csv"));
    table || matches!(kind_of(path), FileKind::Sidecar | FileKind::Junk)
}

fn is_photograph(path: &Path) -> bool {
    matches!(kind_of(path), FileKind::Raw | FileKind::Picture)
}

/// A photograph as far as `which` and `correct` need it: some kilobytes, so that hundreds fit.
#[derive(Clone, Debug)]
pub struct Photo {
    /// Its file.
    pub path: PathBuf,
    /// What is known of it, and its light.
    pub picture: Picture,
    /// Active area in pixels.
    pub pixels: (usize, usize),
    /// What an earlier correction took out of it.
    pub corrected: Option<String>,
    /// Settings in its XMP by which another program would open it with a balance of its own.
    pub settings: Vec<String>,
    /// Which sidecar of it cannot be taken over, and why.
    pub unread_sidecar: Option<String>,
}

impl Photo {
    /// What of a photograph is kept once it was read.
    #[must_use]
    pub fn of(path: &Path, summary: FrameSummary) -> Self {
        let raw = summary.info.origin == Origin::Raw;
        let scene = raw.then(|| SceneMap::of(&summary));
        let area = summary.cells.area;
        let mut info = summary.info;
        let beside = Sidecar::of(path);
        if let Some(sidecar) = &beside {
            info.subject.extend(sidecar.words());
        }
        // What cannot be read any more is said when it is corrected.
        let carried = file_bytes(path).map(|bytes| carried(&bytes)).unwrap_or_default();
        let corrected = correction_of(&carried);
        let packet = with_sidecar(carried.xmp, beside.as_ref());
        Self {
            path: path.to_owned(),
            picture: Picture { info, scene },
            pixels: (area.width, area.height),
            corrected,
            settings: packet.as_deref().map(settings).unwrap_or_default(),
            unread_sidecar: beside.and_then(|sidecar| sidecar.packet.err()),
        }
    }
}

/// Reads what is to be known of every photograph, in parallel, one frame a core at a time.
pub fn read(files: &[PathBuf], console: &Console) -> Vec<Result<Photo, Unreadable>> {
    let bar = console.progress(files.len(), "reading");
    let reader = || Reader::new(gather::worker(), ReadOptions::default());
    let photo = |reader: &mut Reader, file: &PathBuf| {
        let photo = reader.summary(file, Path::new("")).map(|summary| Photo::of(file, summary));
        bar.inc(1);
        photo
    };
    // Few long runs: every run starts a worker of its own.
    let run = files.len().div_ceil(2 * rayon::current_num_threads()).max(1);
    let found = files.par_iter().with_min_len(run).map_init(reader, photo).collect();
    bar.finish_and_clear();
    found
}

/// The packet of a file and its sidecar as one.
#[must_use]
pub fn packet(path: &Path, carried: &Carried) -> Option<Vec<u8>> {
    with_sidecar(carried.xmp.clone(), Sidecar::of(path).as_ref())
}

fn with_sidecar(own: Option<Vec<u8>>, sidecar: Option<&Sidecar>) -> Option<Vec<u8>> {
    match sidecar.and_then(|sidecar| sidecar.packet.as_ref().ok()) {
        Some(beside) => Some(merged(own.as_deref(), beside)),
        None => own,
    }
}

/// A sidecar as it was read.
struct Sidecar {
    /// As it lies on the disk; empty where it cannot be read.
    bytes: Vec<u8>,
    /// Its XMP packet, or which file is none and why.
    packet: Result<Vec<u8>, String>,
}

impl Sidecar {
    /// Of a photograph, where there is one.
    fn of(file: &Path) -> Option<Self> {
        let path = sidecar_path(file)?;
        let (bytes, packet) = match small::bytes(&path, small::SIDECAR_BYTES) {
            Ok(bytes) => {
                let packet = of_sidecar(&bytes).map_err(|e| e.to_string());
                (bytes, packet)
            }
            Err(unread) => (Vec::new(), Err(system::plain(&unread))),
        };
        let packet = packet.map_err(|why| {
            format!(
                "nothing of the sidecar {} goes into a corrected file: {why}; save it again in the program \
                 that wrote it, or take it away",
                path_text(&path)
            )
        });
        Some(Self { bytes, packet })
    }

    /// Keywords and description; what still can be read of a broken one is evidence.
    fn words(&self) -> Vec<String> {
        xmp::words(self.packet.as_ref().unwrap_or(&self.bytes))
    }
}

/// The sidecar of a photograph, `name.xmp` or `name.ext.xmp`, where there is one.
#[must_use]
pub fn sidecar_path(file: &Path) -> Option<PathBuf> {
    let mut appended = file.as_os_str().to_owned();
    appended.push(".xmp");
    let upper = file.with_extension("XMP");
    [file.with_extension("xmp"), PathBuf::from(appended), upper]
        .into_iter()
        .find(|path| path.is_file())
}

/// Exposure in plain words: "1/60 s f/8 ISO 100".
#[must_use]
pub fn exposure_words(info: &FrameInfo) -> String {
    let exposure = &info.exposure;
    let time = exposure.time.map(|t| {
        let t = t.get();
        if t < 0.3 { format!("1/{:.0} s", 1.0 / t) } else { format!("{} s", short(t)) }
    });
    let aperture = exposure.f_number.map(|n| format!("f/{}", short(n.get())));
    let iso = exposure.iso.map(|i| format!("ISO {:.0}", i.get()));
    [time, aperture, iso].into_iter().flatten().collect::<Vec<_>>().join(" ")
}

fn short(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

/// What an earlier correction took out of a file; `None` of an original, or a file that cannot be
/// read, which is said where it is read.
#[must_use]
pub fn correction_in(path: &Path) -> Option<String> {
    correction_of(&carried(&file_bytes(path).ok()?))
}

/// The same of what a file carries.
#[must_use]
pub fn correction_of(carried: &Carried) -> Option<String> {
    let private = carried.root.iter().find(|e| e.tag == tag::DNG_PRIVATE_DATA);
    mark::found(carried.xmp.as_deref(), private.map(|e| e.bytes.as_slice()))
}

/// Why such a file is not corrected again.
#[must_use]
pub fn corrected_already(what: &str) -> String {
    format!("it was corrected already ({what}); correct its original instead")
}
