//! A folder to candidates: which files are frames, which are companions, read in parallel.

use crate::cli::{ShootArgs, Times as TimesArg};
use crate::commands::console::Console;
use crate::error::Failure;
use crate::exposure::{self, Times};
use crate::quantity::{FNumber, Seconds};
use crate::read::pool::{self, Worker};
use crate::read::{Kind as FileKind, ReadOptions, kind_of};
use crate::shoot::verdict::Judgement;
use crate::shoot::{Candidate, Label, Wish, folders};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// A folder read.
pub struct Gathered {
    /// Frames, companions and what could not be read.
    pub candidates: Vec<Candidate>,
    /// Files that are no frames at all: sidecars, films, thumbnails.
    pub ignored: usize,
    /// Names as shown of everything that was looked at.
    pub files: Vec<String>,
}

/// How deep camera folders may lie below the shoot's folder.
const DEEPEST: usize = 3;

/// Reads every frame below a folder.
///
/// # Errors
/// Where the folder cannot be read or holds no frame.
pub fn gather(args: &ShootArgs, console: &mut Console) -> Result<Gathered, Failure> {
    let folder = &args.shoot;
    let (frames, companions, ignored) = listed(args)?;
    if frames.is_empty() {
        return Err(Failure::Nothing(format!(
            "there are no frames in {:?}; give a folder that holds raw frames shot with and without the filter",
            folder.display().to_string()
        )));
    }
    let bar = console.progress(frames.len(), "reading");
    let options = ReadOptions { linear: args.linear };
    let results = pool::summaries(&frames, folder, options, &worker(), &|_| bar.inc(1));
    bar.finish_and_clear();
    let mut candidates: Vec<Candidate> = frames
        .iter()
        .zip(results)
        .map(|(path, result)| match result {
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
        })
        .collect();
    candidates.extend(companions.into_iter().map(|(path, of)| Candidate {
        file: pool::shown(&path, folder),
        sha256: hash(&path),
        outcome: Err(Judgement::Companion { of }),
    }));
    let files = candidates.iter().map(|c| c.file.clone()).collect();
    Ok(Gathered { candidates, ignored, files })
}

/// The worker that reads frames: this very program.
#[must_use]
pub fn worker() -> Worker {
    std::env::current_exe().map_or(Worker::InProcess, Worker::Program)
}

type Listed = (Vec<PathBuf>, Vec<(PathBuf, String)>, usize);

fn listed(args: &ShootArgs) -> Result<Listed, Failure> {
    let folder = &args.shoot;
    let named: Vec<&PathBuf> = args.bare.iter().chain(&args.filtered).collect();
    let mut paths = Vec::new();
    if named.is_empty() {
        walk(folder, 0, &mut paths)?;
    } else {
        for path in named {
            paths.push(located(folder, path)?);
        }
    }
    paths.sort();
    paths.dedup();
    let mut ignored = 0;
    let (mut raws, mut pictures) = (Vec::new(), Vec::new());
    for path in paths {
        match kind_of(&path) {
            FileKind::Raw => raws.push(path),
            FileKind::Picture | FileKind::Heif => pictures.push(path),
            _ => ignored += 1,
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
    Ok((frames, companions, ignored))
}

fn walk(folder: &Path, depth: usize, paths: &mut Vec<PathBuf>) -> Result<(), Failure> {
    let unreadable = |source| Failure::Unread { path: folder.to_owned(), advice: "", source };
    if !folder.is_dir() {
        let shown = folder.display().to_string();
        let reason = if folder.exists() { "is not a folder" } else { "does not exist" };
        return Err(Failure::Nothing(format!(
            "{shown:?} {reason}; give the folder that holds the frames"
        )));
    }
    for entry in std::fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        let is_link = path.symlink_metadata().is_ok_and(|m| m.file_type().is_symlink());
        if path.is_dir() {
            // A folder that holds a profile is what an earlier measurement wrote.
            if !is_link && depth < DEEPEST && !path.join("profile.json").exists() {
                walk(&path, depth + 1, paths)?;
            }
        } else {
            paths.push(path);
        }
    }
    Ok(())
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
    use sha2::{Digest, Sha256};
    // Only regular files: a pipe would never end.
    if !path.metadata().is_ok_and(|m| m.is_file()) {
        return String::new();
    }
    std::fs::read(path).map_or_else(
        |_| String::new(),
        |bytes| Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect(),
    )
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
        kind: args.kind.map(Into::into),
        marks: args.marks.clone(),
        labels,
        times: match args.times {
            TimesArg::Dial => Times::Dial,
            TimesArg::Exact => Times::Exact,
        },
        frame_times: frame_times(args, files)?,
        f_number: args.f.map(positive("--f")).transpose()?.map(FNumber::new),
        iso: None,
        same_exposure: args.same_exposure,
        from: name(&args.from),
        to: name(&args.to),
        shoot: args.shoot.display().to_string(),
        ..Wish::default()
    })
}

/// Refuses numbers that are not above zero, by the name of their flag.
///
/// # Errors
/// The returned function fails on them.
pub fn positive(flag: &'static str) -> impl Fn(f64) -> Result<f64, Failure> {
    move |value| {
        if value.is_finite() && value > 0.0 {
            Ok(value)
        } else {
            Err(Failure::usage(format!("{flag} {value} must be above zero")))
        }
    }
}

fn within(folder: &Path, path: &Path) -> String {
    pool::shown(&located(folder, path).unwrap_or_else(|_| path.to_path_buf()), folder)
}

fn named_labels(args: &ShootArgs) -> Result<BTreeMap<String, Label>, Failure> {
    if args.bare.is_empty() || args.filtered.is_empty() {
        return Err(Failure::usage(
            "--bare and --filtered go together: name the frames of both".to_owned(),
        ));
    }
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
