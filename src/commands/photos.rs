//! Photographs and the kit, as `which` and `correct` take them from the command line.

use crate::commands::console::Console;
use crate::commands::gather;
use crate::editing::scene::SceneMap;
use crate::editing::which::Picture;
use crate::error::Failure;
use crate::frame::{FrameInfo, Origin};
use crate::read::pool::{self, Unreadable};
use crate::read::{Kind as FileKind, ReadOptions, kind_of, small, xmp};
use crate::reduce::grid::FrameSummary;
use std::path::{Path, PathBuf};

/// The photographs named, folders opened one level deep; what is no photograph is left out of
/// folders, and files that an earlier correction wrote too.
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
            found.extend(inside.filter(|p| p.is_file() && is_photograph(p) && !is_corrected(p)));
        } else if path.exists() {
            found.push(path.clone());
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

fn is_photograph(path: &Path) -> bool {
    matches!(kind_of(path), FileKind::Raw | FileKind::Picture)
}

fn is_corrected(path: &Path) -> bool {
    path.file_stem().is_some_and(|s| s.to_string_lossy().ends_with("-corrected"))
}

/// Reads what is to be known of every photograph, in parallel.
pub fn summaries(files: &[PathBuf], console: &Console) -> Vec<Result<FrameSummary, Unreadable>> {
    let bar = console.progress(files.len(), "reading");
    let read = |_| bar.inc(1);
    let options = ReadOptions::default();
    let mut found = pool::summaries(files, Path::new(""), options, &gather::worker(), &read);
    bar.finish_and_clear();
    for (file, result) in files.iter().zip(&mut found) {
        if let Ok(summary) = result {
            summary.info.subject.extend(sidecar_words(file));
        }
    }
    found
}

/// As the search for filters needs it.
#[must_use]
pub fn picture(summary: &FrameSummary) -> Picture {
    let raw = summary.info.origin == Origin::Raw;
    Picture { info: summary.info.clone(), scene: raw.then(|| SceneMap::of(summary)) }
}

/// The XMP packet of a sidecar.
#[must_use]
pub fn sidecar(file: &Path) -> Option<Vec<u8>> {
    small::bytes(&sidecar_path(file)?, small::SIDECAR_BYTES).ok()
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

fn sidecar_words(file: &Path) -> Vec<String> {
    let Some(packet) = sidecar(file) else { return Vec::new() };
    xmp::words(&packet)
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
