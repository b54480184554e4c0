//! A folder to candidates: which files are frames, which are companions, read in parallel.

use crate::cli::{ShootArgs, Times as TimesArg};
use crate::commands::console::Console;
use crate::commands::folder::{self, LeftAlone};
use crate::commands::plan;
use crate::error::Failure;
use crate::exposure::limits::{F_NUMBER, FOCAL_MM};
use crate::exposure::{self, Times};
use crate::field::plan::no_empty_mark;
use crate::measure::picture::folders::part_of;
use crate::quantity::{FNumber, Millimetres, Seconds};
use crate::read::pool::{self, Worker};
use crate::read::{Kind as FileKind, ReadOptions, kind_of, small};
use crate::reduce::grid::FrameSummary;
use crate::shoot::verdict::Judgement;
use crate::shoot::{Candidate, Label, Wish, folders};
use crate::shoot_file::FILE_NAME;
use crate::text::one_line;
use std::collections::BTreeMap;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

/// A folder read.
pub struct Gathered {
    /// Frames, companions and what could not be read.
    pub candidates: Vec<Candidate>,
    /// What was not looked at.
    pub left: LeftAlone,
    /// Names as shown of everything that was looked at.
    pub files: Vec<String>,
    /// The same as paths.
    pub paths: Vec<PathBuf>,
    /// Frames for sharpness, veil and ghosts, not read yet.
    pub picture: Vec<PathBuf>,
}

/// Reads every frame below a folder.
///
/// # Errors
/// Where the folder cannot be read or holds no frame.
pub fn gather(args: &ShootArgs, console: &mut Console) -> Result<Gathered, Failure> {
    // A slip of the pen is told before anything is read.
    marks(args)?;
    let folder = &args.shoot;
    let Listed { frames, companions, picture, left } = listed(args)?;
    if frames.is_empty() {
        return Err(Failure::Nothing(format!(
            "there are no frames in {:?}; give a folder that holds raw frames shot with and without the filter",
            folder.display().to_string()
        )));
    }
    let mut candidates = read(&frames, folder, ReadOptions { linear: args.linear }, console);
    candidates.extend(companions.iter().map(|(path, of)| companion(path, of, folder)));
    let mut paths = frames;
    paths.extend(companions.into_iter().map(|(path, _)| path));
    let files = candidates.iter().map(|c| c.file.clone()).collect();
    Ok(Gathered { candidates, left, files, paths, picture })
}

/// Reads frames, and shows how far it is.
pub fn read(
    frames: &[PathBuf],
    folder: &Path,
    options: ReadOptions,
    console: &Console,
) -> Vec<Candidate> {
    let bar = console.progress(frames.len(), "reading");
    let results = pool::summaries(frames, folder, options, &worker(), &|_| bar.inc(1));
    bar.finish_and_clear();
    frames.iter().zip(results).map(|(path, result)| candidate(path, folder, result)).collect()
}

/// The worker that reads frames: this very program.
#[must_use]
pub fn worker() -> Worker {
    std::env::current_exe().map_or(Worker::InProcess, Worker::Program)
}

/// A frame as it was read, or why it was not.
#[must_use]
pub fn candidate(
    path: &Path,
    folder: &Path,
    result: Result<FrameSummary, pool::Unreadable>,
) -> Candidate {
    match result {
        Ok(summary) => Candidate {
            file: summary.info.file.clone(),
            sha256: summary.info.sha256.clone(),
            outcome: Ok(summary),
        },
        Err(unreadable) => Candidate {
            file: pool::shown(path, folder),
            sha256: hash(path),
            outcome: Err(Judgement::Unreadable { reason: unreadable.error.to_string() }),
        },
    }
}

/// A picture that the camera wrote beside a raw frame.
#[must_use]
pub fn companion(path: &Path, of: &str, folder: &Path) -> Candidate {
    Candidate {
        file: pool::shown(path, folder),
        sha256: hash(path),
        outcome: Err(Judgement::Companion { of: of.to_owned() }),
    }
}

/// A shoot's folder by its files' names.
pub struct Listed {
    /// Frames of the shoot.
    pub frames: Vec<PathBuf>,
    /// Pictures that the camera wrote beside raw frames, with these.
    pub companions: Vec<(PathBuf, String)>,
    /// Frames for sharpness, veil and ghosts.
    pub picture: Vec<PathBuf>,
    /// What is left alone.
    pub left: LeftAlone,
}

/// What a shoot's folder holds, before anything is read.
///
/// # Errors
/// Where the folder cannot be read or a frame that was named is not there.
pub fn listed(args: &ShootArgs) -> Result<Listed, Failure> {
    let folder = &args.shoot;
    let named: Vec<&PathBuf> = args.bare.iter().chain(&args.filtered).collect();
    if named.is_empty() {
        return below(folder);
    }
    let paths: Result<_, _> = named.into_iter().map(|path| located(folder, path)).collect();
    Ok(sorted_out(folder, paths?, LeftAlone::default()))
}

/// The same of everything below a folder.
///
/// # Errors
/// Where the folder cannot be read.
pub fn below(folder: &Path) -> Result<Listed, Failure> {
    let (paths, left) = folder::files(folder)?;
    Ok(sorted_out(folder, paths, left))
}

fn sorted_out(folder: &Path, mut paths: Vec<PathBuf>, mut left: LeftAlone) -> Listed {
    paths.sort();
    paths.dedup();
    let (mut raws, mut pictures) = (Vec::new(), Vec::new());
    for path in paths {
        match kind_of(&path) {
            FileKind::Raw => raws.push(path),
            FileKind::Picture | FileKind::Heif => pictures.push(path),
            // Read for itself, and followed.
            _ if path == folder.join(FILE_NAME) => {}
            _ if path.file_name().is_some_and(plan::is_page) => {}
            _ => left.no_frames += 1,
        }
    }
    let stem = |p: &Path| {
        (p.parent().map(Path::to_path_buf), p.file_stem().map(|s| s.to_ascii_lowercase()))
    };
    let by_stem: BTreeMap<_, String> =
        raws.iter().map(|r| (stem(r), pool::shown(r, folder))).collect();
    let mut companions = Vec::new();
    let mut frames = raws;
    for picture in pictures {
        match by_stem.get(&stem(&picture)) {
            Some(raw) => companions.push((picture, raw.clone())),
            None => frames.push(picture),
        }
    }
    frames.sort();
    let of_picture = |path: &PathBuf| part_of(&pool::shown(path, folder)).is_some();
    let (picture, frames) = frames.into_iter().partition(of_picture);
    Listed { frames, companions, picture, left }
}

/// A frame named on the command line: as it stands, or within the shoot's folder.
fn located(folder: &Path, path: &Path) -> Result<PathBuf, Failure> {
    let within = folder.join(path);
    if within.exists() {
        Ok(within)
    } else if path.exists() {
        Ok(path.to_path_buf())
    } else {
        let (path, folder) = (path.display().to_string(), folder.display().to_string());
        Err(Failure::usage(format!("there is no frame {path:?} in {folder:?}")))
    }
}

fn hash(path: &Path) -> String {
    small::sha256(path).unwrap_or_default()
}

/// What the command line says of the shoot.
///
/// # Errors
/// Where a time or a name on the command line is wrong.
pub fn wish(args: &ShootArgs, files: &[String]) -> Result<Wish, Failure> {
    let name = |path: &Option<PathBuf>| path.as_ref().map(|p| within(&args.shoot, p));
    let labels = if args.bare.is_empty() && args.filtered.is_empty() {
        folders::labels(files)
    } else {
        named_labels(args)?
    };
    Ok(Wish {
        kind: args.kind,
        marks: marks(args)?,
        labels,
        times: match args.times {
            TimesArg::Dial => Times::Dial,
            TimesArg::Exact => Times::Exact,
        },
        frame_times: frame_times(args, files)?,
        f_number: args.f.map(f_number).transpose()?,
        iso: None,
        same_exposure: args.same_exposure,
        from: name(&args.from),
        to: name(&args.to),
        shoot: args.shoot.display().to_string(),
        ..Wish::default()
    })
}

/// The marks of a ring as they were named, none of them empty.
fn marks(args: &ShootArgs) -> Result<Vec<String>, Failure> {
    let marks: Vec<String> = args.marks.iter().map(|mark| one_line(mark)).collect();
    no_empty_mark(&marks).map_err(Failure::usage)?;
    Ok(marks)
}

/// Refuses numbers that no camera or lens has, by the name of their flag.
///
/// # Errors
/// The returned function fails on them.
pub fn possible(
    flag: &'static str,
    range: RangeInclusive<f64>,
    like: &'static str,
) -> impl Fn(f64) -> Result<f64, Failure> {
    move |value| {
        if range.contains(&value) {
            return Ok(value);
        }
        let (least, most) = (range.start(), range.end());
        Err(Failure::usage(format!(
            "{flag} {value} is not possible; give {like} (from {least} to {most})"
        )))
    }
}

/// A focal length from the command line.
///
/// # Errors
/// Where no lens has it.
pub fn focal(value: f64) -> Result<Millimetres, Failure> {
    possible("--focal", FOCAL_MM, "millimetres like 24")(value).map(Millimetres::new)
}

/// An aperture from the command line.
///
/// # Errors
/// Where no lens has it.
pub fn f_number(value: f64) -> Result<FNumber, Failure> {
    possible("--f", F_NUMBER, "an f-number like 8")(value).map(FNumber::new)
}

fn within(folder: &Path, path: &Path) -> String {
    pool::shown(&located(folder, path).unwrap_or_else(|_| path.to_path_buf()), folder)
}

fn named_labels(args: &ShootArgs) -> Result<BTreeMap<String, Label>, Failure> {
    let bare = args.bare.iter().map(|p| (within(&args.shoot, p), Label::Bare));
    let filtered = args.filtered.iter().map(|p| (within(&args.shoot, p), Label::Filtered(None)));
    let mut labels: BTreeMap<String, Label> = bare.collect();
    for (file, label) in filtered {
        if labels.insert(file.clone(), label).is_some() {
            return Err(Failure::usage(format!("{file:?} is named both bare and filtered")));
        }
    }
    Ok(labels)
}

fn frame_times(args: &ShootArgs, files: &[String]) -> Result<BTreeMap<String, Seconds>, Failure> {
    let mut times = BTreeMap::new();
    for given in &args.time {
        let Some((file, time)) = given.rsplit_once('=') else {
            return Err(Failure::usage(format!(
                "--time {given:?} is not understood; write --time FILE=SECONDS"
            )));
        };
        let time = exposure::parse_time(time).map_err(Failure::usage)?;
        let name = within(&args.shoot, Path::new(file));
        let known = files.iter().find(|f| **f == name || f.ends_with(&format!("/{name}")));
        let Some(known) = known else {
            return Err(Failure::usage(format!(
                "--time names {file:?}, which is not in the shoot"
            )));
        };
        times.insert(known.clone(), time.seconds());
    }
    Ok(times)
}
