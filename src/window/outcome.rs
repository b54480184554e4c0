//! What comes of frames that were read, as the command line would have it.

use super::said::Said;
use crate::cli::{Cli, Command, MeasureArgs};
use crate::commands::console::Console;
use crate::commands::{bodies, measure, shoot_json};
use crate::error::Failure;
use crate::measure::{About, record};
use crate::profile::{FrameRecord, FrameState, Profile};
use crate::say::taken::{Taken, is_unsorted};
use crate::shoot::verdict::Judgement;
use crate::shoot::{Candidate, Judged, Seen, Shoot, Wish, survey_again};
use crate::shoot_file::ShootFile;
use clap::Parser;
use std::collections::BTreeMap;
use std::path::Path;

/// What the program by itself takes a frame for.
#[derive(Clone, Debug, PartialEq)]
pub struct Opinion {
    /// What it is; `None` where it belongs to nothing.
    pub taken: Option<Said>,
    /// The mark that it gave.
    pub mark: Option<String>,
    /// Nothing is wrong with it, but what it shows was not told.
    pub is_unsorted: bool,
}

/// What came of the frames as they stand.
#[derive(Debug)]
pub struct Outcome {
    /// The sorted frames.
    pub shoot: Shoot,
    /// As they stand in the profile.
    pub records: Vec<FrameRecord>,
    /// The measured filter, or in one line why there is none.
    pub result: Result<Box<Profile>, String>,
    /// What was understood and should be said.
    pub told: Vec<String>,
}

impl Outcome {
    /// The mark of that state of the filter whose light lies nearest to a frame's.
    #[must_use]
    pub fn nearest_mark(&self, file: &str) -> Option<String> {
        let shoot = &self.shoot;
        let own = shoot.frames.iter().find(|f| f.file() == file)?.look.whole;
        let apart = |f: &&Judged| (f.look.whole - own).abs();
        let others = shoot.frames.iter().filter(|f| f.state == FrameState::Setting);
        let others = others.filter(|f| f.file() != file && apart(f).is_finite());
        let nearest = others.min_by(|a, b| apart(a).total_cmp(&apart(b)))?;
        shoot.settings.get(nearest.setting?)?.mark.clone()
    }
}

/// The command line that measures a folder, with what was said.
///
/// # Errors
/// Where a folder's path is no argument, which does not happen.
pub fn arguments(folder: &Path, said: Option<&ShootFile>) -> Result<MeasureArgs, Failure> {
    let words = ["lightloss".into(), "measure".into(), "--".into(), folder.as_os_str().to_owned()];
    let parsed = Cli::try_parse_from(words).map_err(Failure::usage)?;
    let Command::Measure(args) = parsed.command else {
        return Err(Failure::Nothing("the folder is no argument".to_owned()));
    };
    Ok(said.map_or_else(|| (*args).clone(), |file| shoot_json::measure_defaults(&args, file)))
}

/// What the command line would measure by.
///
/// # Errors
/// Where what was said contradicts itself or the folder.
pub fn prepared(
    folder: &Path,
    files: &[String],
    said: Option<&ShootFile>,
) -> Result<(MeasureArgs, About, Wish), Failure> {
    let mut console = Console::to(Box::new(std::io::sink()), Box::new(std::io::sink()));
    let args = arguments(folder, said)?;
    let about = measure::about(&args, said, &mut console)?;
    let wish = measure::wish(&args, said, files, &about)?;
    Ok((args, about, wish))
}

/// Frames sorted as the command line would with a document in the folder.
struct Sorted {
    shoot: Shoot,
    /// What it is measured by, or why it is not.
    ready: Result<(MeasureArgs, About), String>,
}

/// What was seen of the frames before is not looked at again.
fn sorted(
    folder: &Path,
    files: &[String],
    read: Vec<Candidate>,
    said: Option<&ShootFile>,
    seen: &mut Seen,
) -> Sorted {
    let unread = |c: &Candidate| match &c.outcome {
        Err(judgement) => Some((c.file.clone(), c.sha256.clone(), judgement.clone())),
        Ok(_) => None,
    };
    let others: Vec<(String, String, Judgement)> = read.iter().filter_map(unread).collect();
    let (wish, ready) = match prepared(folder, files, said) {
        Ok((args, about, wish)) => (wish, Ok((args, about))),
        Err(failure) => (Wish::default(), Err(failure.to_string())),
    };
    match survey_again(read, &wish, seen) {
        Ok((shoot, fault)) => {
            let ready = ready.and_then(|ready| match fault {
                Some(fault) => Err(fault.to_string()),
                None => Ok(ready),
            });
            Sorted { shoot, ready }
        }
        Err(fault) => Sorted { shoot: nothing(others), ready: Err(fault.to_string()) },
    }
}

/// A shoot without a frame.
fn nothing(others: Vec<(String, String, Judgement)>) -> Shoot {
    Shoot {
        frames: Vec::new(),
        others,
        settings: Vec::new(),
        kind: crate::profile::Kind::Solid,
        timed: false,
        cautions: Vec::new(),
    }
}

/// Sorts and measures as the command line would with this document in the folder.
#[must_use]
pub fn of(
    folder: &Path,
    files: &[String],
    read: Vec<Candidate>,
    said: Option<&ShootFile>,
    seen: &mut Seen,
) -> Outcome {
    let Sorted { shoot, ready } = sorted(folder, files, read, said, seen);
    let measured = ready.and_then(|(args, about)| {
        let (about, mut told) = bodies::with_record(false, &about, &shoot);
        let mut profile = crate::measure::measure(&shoot, &about).map_err(|e| e.to_string())?;
        told.extend(measure::settle_rating(&args, &mut profile));
        Ok((Box::new(profile), told))
    });
    let (result, told) = match measured {
        Ok((profile, told)) => (Ok(profile), told),
        Err(fault) => (Err(fault), Vec::new()),
    };
    let records = match &result {
        Ok(profile) => profile.frames.clone(),
        Err(_) => record::frames(&shoot, &[]),
    };
    Outcome { shoot, records, result, told }
}

/// What the program takes the frames for under this document, and the frames again; nothing is
/// measured.
#[must_use]
pub fn opinions_of(
    folder: &Path,
    files: &[String],
    read: Vec<Candidate>,
    said: Option<&ShootFile>,
    seen: &mut Seen,
) -> (BTreeMap<String, Opinion>, Vec<Candidate>) {
    let Sorted { shoot, .. } = sorted(folder, files, read, said, seen);
    (opinions(&shoot), candidates(shoot, files))
}

/// What was read, in the order in which it is listed, without a copy of it.
#[must_use]
pub fn candidates(shoot: Shoot, files: &[String]) -> Vec<Candidate> {
    let frames = shoot.frames.into_iter().map(|f| Candidate {
        file: f.summary.info.file.clone(),
        sha256: f.summary.info.sha256.clone(),
        outcome: Ok(f.summary),
    });
    let others = shoot.others.into_iter().map(|(file, sha256, judgement)| Candidate {
        file,
        sha256,
        outcome: Err(judgement),
    });
    let mut all: Vec<Candidate> = frames.chain(others).collect();
    let places: BTreeMap<&str, usize> =
        files.iter().enumerate().map(|(i, file)| (file.as_str(), i)).collect();
    all.sort_by_key(|c| places.get(c.file.as_str()).copied());
    all
}

/// What the frames were taken for.
#[must_use]
pub fn opinions(shoot: &Shoot) -> BTreeMap<String, Opinion> {
    let mark = |f: &Judged| shoot.settings.get(f.setting?)?.mark.clone();
    let of = |f: &Judged| Opinion {
        taken: taken(f.state, &f.judgement),
        mark: mark(f),
        is_unsorted: is_unsorted(f),
    };
    shoot.frames.iter().map(|f| (f.file().to_owned(), of(f))).collect()
}

/// What a frame was taken for; `None` where it is left out.
#[must_use]
pub fn taken(state: FrameState, judgement: &Judgement) -> Option<Said> {
    Taken::of(state, judgement).map(Said::from)
}
