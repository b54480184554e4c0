//! `shoot.json` in a shoot's folder: taken at its word, flags of the command line first.

use crate::cli::{MeasureArgs, ShootArgs, Times as TimesArg};
use crate::commands::folder::LeftAlone;
use crate::commands::gather;
use crate::error::Failure;
use crate::exposure::Times;
use crate::profile::{FrameRecord, FrameState};
use crate::read::small;
use crate::shoot::verdict::Judgement;
use crate::shoot::{Label, Shoot, Wish};
use crate::shoot_file::{FILE_NAME, NamedFrame, ShootFile, ShotState};
use crate::text::unit;
use std::collections::{BTreeMap, BTreeSet};

/// Reads the document of a shoot's folder; `None` where there is none.
///
/// # Errors
/// Where it is there and cannot be read.
pub fn read(args: &ShootArgs) -> Result<Option<ShootFile>, Failure> {
    let path = args.shoot.join(FILE_NAME);
    if !path.exists() {
        return Ok(None);
    }
    let text = small::text(&path, small::TABLE_BYTES).map_err(|source| Failure::Unread {
        path,
        advice: "; mend it, or take it out of the folder",
        source,
    })?;
    Ok(Some(ShootFile::parse(&text)?))
}

/// The command line with what the document says where no flag does.
#[must_use]
pub fn defaults(args: &ShootArgs, file: &ShootFile) -> ShootArgs {
    let mut args = args.clone();
    args.kind = args.kind.or(file.filter.kind);
    args.focal = args.focal.or(file.focal.map(|f| f.get()));
    args.sensor = args.sensor.or_else(|| file.sensor.clone());
    args.f = args.f.or(file.f_number.map(|n| n.get()));
    args
}

/// The same for `measure`, with the filter's name, rating and note.
#[must_use]
pub fn measure_defaults(args: &MeasureArgs, file: &ShootFile) -> MeasureArgs {
    let mut args = args.clone();
    args.shoot = defaults(&args.shoot, file);
    let filter = &file.filter;
    args.name = args.name.or_else(|| filter.name.clone().filter(|n| !n.trim().is_empty()));
    args.note = args.note.or_else(|| filter.note.clone());
    args.rated = args.rated.or_else(|| rating(file));
    args
}

/// The rating that the document holds, in stops, whatever it was written as.
#[must_use]
pub fn rating(file: &ShootFile) -> Option<String> {
    match file.filter.rated.as_slice() {
        [] => None,
        [one] => Some(format!("{} {}", one.get(), unit(one.get()))),
        [low, .., high] => Some(format!("{}-{}", low.get(), high.get())),
    }
}

/// What the command line and the document say of the frames.
///
/// # Errors
/// Where either names what is not there.
pub fn wish(args: &ShootArgs, file: Option<&ShootFile>, files: &[String]) -> Result<Wish, Failure> {
    let mut wish = gather::wish(args, files)?;
    let Some(file) = file else { return Ok(wish) };
    let flags = !args.bare.is_empty();
    if let (Some(times), TimesArg::Dial) = (file.times, args.times) {
        wish.times = Times::from(times);
    }
    wish.iso = file.iso;
    if !flags {
        wish.labels = labels(file);
        wish.planned = if args.marks.is_empty() { file.planned.clone() } else { Vec::new() };
    }
    named_once(&file.frames)?;
    for frame in &file.frames {
        if !files.contains(&frame.file) {
            // Flags name their own choice of the folder's frames.
            if flags && args.shoot.join(&frame.file).exists() {
                continue;
            }
            return Err(Failure::Nothing(format!(
                "{FILE_NAME} names {:?}, which is not in the folder; mend it",
                frame.file
            )));
        }
        let name = frame.file.clone();
        if let Some(rotation) = frame.rotation {
            wish.rotations.insert(name.clone(), rotation);
        }
        if let Some(time) = &frame.time {
            let seconds = time
                .seconds()
                .map_err(|e| Failure::Nothing(format!("{FILE_NAME}, {}: {e}", frame.file)))?;
            wish.frame_times.entry(name.clone()).or_insert(seconds);
        }
        if let Some(f_number) = frame.f_number.filter(|n| n.get() > 0.0) {
            wish.frame_f_numbers.insert(name.clone(), f_number);
        }
        if let Some(iso) = frame.iso.filter(|s| s.get() > 0.0) {
            wish.frame_isos.insert(name, iso);
        }
    }
    Ok(wish)
}

/// Refuses a document that says two things of one frame.
fn named_once(frames: &[NamedFrame]) -> Result<(), Failure> {
    let mut seen = BTreeSet::new();
    let twice = frames.iter().find(|frame| !seen.insert(&frame.file));
    twice.map_or(Ok(()), |frame| {
        Err(Failure::Nothing(format!(
            "{FILE_NAME} names {:?} twice; take one of the two out",
            frame.file
        )))
    })
}

fn labels(file: &ShootFile) -> BTreeMap<String, Label> {
    let label = |frame: &NamedFrame| {
        if frame.left_out {
            return Some(Label::LeftOut);
        }
        Some(match frame.state? {
            ShotState::Bare => Label::Bare,
            ShotState::Filtered => Label::Filtered(frame.mark.clone()),
            ShotState::Dark => Label::Dark,
            ShotState::Leak => Label::Leak,
            ShotState::Bridge => Label::Bridge,
            ShotState::LightCheck => Label::LightCheck(frame.mark.clone()),
            ShotState::Cloth => Label::Cloth(frame.mark.clone()),
        })
    };
    file.frames.iter().filter_map(|f| Some((f.file.clone(), label(f)?))).collect()
}

/// What was understood, as a document to be edited: everything of an earlier one is kept.
#[must_use]
pub fn understood(
    earlier: Option<ShootFile>,
    shoot: &Shoot,
    records: &[FrameRecord],
    name: &str,
) -> ShootFile {
    let mut file = earlier.unwrap_or_else(ShootFile::empty);
    file.filter.name = file.filter.name.or_else(|| Some(name.to_owned()));
    if !shoot.settings.is_empty() {
        file.filter.kind = file.filter.kind.or(Some(shoot.kind));
    }
    let before = std::mem::take(&mut file.frames);
    for record in records {
        let known = before.iter().find(|f| f.file == record.file).cloned();
        let judged = shoot.frames.iter().find(|f| f.file() == record.file);
        let mut named = known.unwrap_or_default();
        named.file.clone_from(&record.file);
        let measured = |state| Some(state);
        named.state = match (record.state, judged.map(|j| &j.judgement)) {
            (FrameState::Bare, _) => measured(ShotState::Bare),
            (FrameState::Dark, _) => measured(ShotState::Dark),
            (FrameState::Setting, _) => measured(ShotState::Filtered),
            (FrameState::LeftOut, Some(Judgement::Leak)) => Some(ShotState::Leak),
            (FrameState::LeftOut, Some(Judgement::Bridge)) => Some(ShotState::Bridge),
            (FrameState::LeftOut, _) => named.state,
        };
        let mark = judged.and_then(|j| shoot.settings.get(j.setting?)?.mark.clone());
        named.mark = mark.or(named.mark);
        named.left_out |= named.state.is_none();
        if named.left_out && named.note.is_none() {
            named.note = Some(record.verdict.text.clone());
        }
        file.frames.push(named);
    }
    // Files that are no frames but were named stay named.
    let gone = before.into_iter().filter(|f| !records.iter().any(|r| r.file == f.file));
    file.frames.extend(gone.collect::<Vec<_>>());
    file
}

/// What lay on the card beside the shoot, in one line; `None` where nothing did. Frames of it were
/// left out without a fault of theirs; the rest was not looked at.
#[must_use]
pub fn beside(shoot: &Shoot, left: &LeftAlone) -> Option<String> {
    let of = |wanted: fn(&Judgement) -> bool| {
        let frames = shoot.frames.iter().map(|f| &f.judgement);
        frames.chain(shoot.others.iter().map(|(_, _, j)| j)).filter(|j| wanted(j)).count()
    };
    let judged = [
        (
            of(|j| *j == Judgement::OtherPicture),
            "not of the test surface",
            "not of the test surface",
        ),
        (of(|j| *j == Judgement::OtherShoot), "of another shoot", "of another shoot"),
        (
            of(|j| matches!(j, Judgement::Companion { .. })),
            "picture beside a raw frame",
            "pictures beside raw frames",
        ),
        (of(|j| matches!(j, Judgement::Duplicate { .. })), "copy", "copies"),
    ];
    let parts = [("left out without a fault", told(&judged)), ("left alone", told(&left.counts()))];
    let parts: Vec<String> =
        parts.into_iter().filter_map(|(what, of)| Some(format!("{what}: {}", of?))).collect();
    (!parts.is_empty()).then(|| parts.join("; "))
}

/// Counts in words, without those of nothing.
fn told(counts: &[(usize, &str, &str)]) -> Option<String> {
    let some = counts.iter().filter(|(n, ..)| *n > 0);
    let parts: Vec<String> =
        some.map(|(n, one, more)| format!("{n} {}", if *n == 1 { one } else { more })).collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}
