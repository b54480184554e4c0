//! What the sheet of photographs shows, as plain data for the page.

use super::photo_said::PhotoAnswer;
use super::photographs::{Correcting, PhotoSession, Seen};
use super::plainly::{of_photographs, plainly};
use crate::commands::photos::exposure_words;
use crate::editing::used_csv::UsedRow;
use crate::editing::which::How;
use crate::read::pool::path_text;
use crate::say::{figures, kept};
use jiff::civil::DateTime;
use serde::Serialize;
use std::path::Path;

/// A longer gap ends a scene, minutes (ours; as for photographs of one metering).
const SCENE_MINUTES: f64 = 15.0;

/// All photographs of a folder.
#[derive(Debug, Serialize)]
pub struct PhotosView {
    /// The folder as shown.
    pub folder: String,
    /// Which of the folders that were chosen it is.
    pub number: u64,
    /// Photographs read, and of how many.
    pub read: [usize; 2],
    /// The filters that may have been in the bag.
    pub kit: Vec<BagView>,
    /// Photographs by scene, in the order in which they were made.
    pub scenes: Vec<SceneView>,
    /// Photographs of which it is known what was in front of the lens.
    pub known: usize,
    /// There is something to take back.
    pub can_undo: bool,
    /// There is something to do again.
    pub can_redo: bool,
    /// Where the table is written.
    pub table: String,
    /// What is to be said of the one that was there.
    pub notes: Vec<String>,
    /// Where corrected files would be written.
    pub out: String,
    /// Corrections, once they were asked for.
    pub correcting: Option<CorrectingView>,
}

/// A filter of the kit.
#[derive(Debug, Serialize)]
pub struct BagView {
    /// Its name.
    pub name: String,
    /// What it takes, in stops, as printed.
    pub takes: String,
    /// It was in the bag.
    pub there: bool,
}

/// Photographs that belong together by their time.
#[derive(Debug, Serialize)]
pub struct SceneView {
    /// Heading.
    pub title: String,
    /// In the order in which they were made.
    pub photographs: Vec<PhotoView>,
}

/// One photograph.
#[derive(Debug, Serialize)]
pub struct PhotoView {
    /// Its number in the folder.
    pub id: usize,
    /// Its name.
    pub file: String,
    /// Exposure in plain words.
    pub exposure: String,
    /// There is a picture.
    pub picture: bool,
    /// What was in front of the lens.
    pub through: String,
    /// How that is known and how sure it is.
    pub reason: String,
    /// What was said of it.
    pub said: Option<String>,
}

/// Corrections under way or done.
#[derive(Debug, Serialize)]
pub struct CorrectingView {
    /// Files done, and of how many.
    pub done: [u64; 2],
    /// It has ended.
    pub ended: bool,
    /// What was said, line by line.
    pub lines: Vec<String>,
    /// Why it could not be done.
    pub fault: Option<String>,
}

/// The sheet.
#[must_use]
pub fn photographs(session: &PhotoSession, number: u64, out: &Path) -> PhotosView {
    let (can_undo, can_redo) = session.steps();
    let bag = session.kit().map(|(opened, there)| BagView {
        name: opened.profile.filter.name.clone(),
        takes: kept::takes(&opened.profile),
        there,
    });
    let table = session.table();
    let note = |note: &String| begun(&plainly(note, session.folder()), session);
    PhotosView {
        folder: session.folder().display().to_string(),
        number,
        read: [session.arrived(), session.files().len()],
        kit: bag.collect(),
        scenes: scenes(session),
        known: session.rows().filter(|row| row.filters.is_some()).count(),
        can_undo,
        can_redo,
        table: table.path.display().to_string(),
        notes: table.notes.iter().map(note).collect(),
        out: out.display().to_string(),
        correcting: session.correcting.as_ref().map(|job| correcting(job, session)),
    }
}

fn correcting(job: &Correcting, session: &PhotoSession) -> CorrectingView {
    let Correcting { done, ended, lines, fault } = job.clone();
    let fault = fault.map(|fault| begun(&fault, session));
    CorrectingView { done, ended, lines, fault }
}

fn scenes(session: &PhotoSession) -> Vec<SceneView> {
    let mut order: Vec<(Option<DateTime>, usize)> =
        (0..session.files().len()).map(|id| (taken_at(session, id), id)).collect();
    // Those that do not say when come last, in the order of their names.
    order.sort_by_key(|(at, id)| (at.is_none(), *at, *id));
    let scenes = order.chunk_by(|(before, _), (now, _)| together(*before, *now));
    let view = |scene: &[(Option<DateTime>, usize)]| SceneView {
        title: title(scene.first().and_then(|s| s.0), scene.last().and_then(|s| s.0)),
        photographs: scene.iter().map(|(_, id)| photo(session, *id)).collect(),
    };
    scenes.map(view).collect()
}

fn taken_at(session: &PhotoSession, id: usize) -> Option<DateTime> {
    match session.seen(id)? {
        Seen::Read(photo, _) => photo.picture.info.capture.at,
        Seen::Unread(_) | Seen::Corrected(_) => None,
    }
}

fn together(before: Option<DateTime>, now: Option<DateTime>) -> bool {
    match before.zip(now) {
        Some((before, now)) => now.duration_since(before).as_secs_f64() / 60.0 <= SCENE_MINUTES,
        None => before.is_none() && now.is_none(),
    }
}

fn title(first: Option<DateTime>, last: Option<DateTime>) -> String {
    let Some((first, last)) = first.zip(last) else { return "Of no known time".to_owned() };
    let from = first.strftime("%-d %B %Y, %H:%M").to_string();
    let to = last.strftime("%H:%M").to_string();
    if from.ends_with(&to) { from } else { format!("{from} to {to}") }
}

fn photo(session: &PhotoSession, id: usize) -> PhotoView {
    let file = session.files()[id].file_name().unwrap_or_default();
    let (exposure, picture) = match session.seen(id) {
        Some(Seen::Read(photo, png)) => (exposure_words(&photo.picture.info), !png.is_empty()),
        _ => (String::new(), false),
    };
    let (through, reason) = match (session.row(id), session.seen(id)) {
        (Some(row), _) => (through(row), reason(row, session.answer(id))),
        (None, Some(Seen::Unread(why))) => ("Not read".to_owned(), why.clone()),
        (None, Some(Seen::Corrected(why))) => ("Corrected copy".to_owned(), why.clone()),
        (None, Some(Seen::Read(..))) => ("Read".to_owned(), String::new()),
        (None, None) => ("Being read".to_owned(), String::new()),
    };
    PhotoView {
        id,
        file: path_text(Path::new(file)),
        exposure,
        picture,
        through,
        reason: begun(&reason, session),
        said: said(session.answer(id)),
    }
}

/// With a large first letter, unless it is that of a filter's or a file's name: names stay as they are.
fn begun(words: &str, session: &PhotoSession) -> String {
    let mut names = session.kit().map(|(opened, _)| opened.profile.filter.name.as_str());
    let first = words.split([' ', ',', ':']).next().unwrap_or_default();
    if names.any(|name| words.starts_with(name)) || first.contains(['.', '/', '\\']) {
        return words.to_owned();
    }
    figures::sentence(words)
}

fn through(row: &UsedRow) -> String {
    let names = match &row.filters {
        None => return "Not known".to_owned(),
        Some(none) if none.is_empty() => return "Without a filter".to_owned(),
        Some(names) => names.join(" + "),
    };
    if row.mark.is_empty() { names } else { format!("{names}, mark {}", row.mark) }
}

/// How it is known, how sure that is, and what else is to be said.
fn reason(row: &UsedRow, answer: &PhotoAnswer) -> String {
    let known = if *answer == PhotoAnswer::NotKnown || row.filters.is_none() {
        String::new()
    } else if row.how_sure.is_empty() {
        row.how_known.clone()
    } else if row.how_known == How::User.text() {
        format!("{}, {}", row.how_known, row.how_sure)
    } else {
        format!("{}, by {}", row.how_sure, row.how_known)
    };
    let parts = [known, of_photographs(&row.note)];
    parts.into_iter().filter(|p| !p.is_empty()).collect::<Vec<_>>().join("; ")
}

fn said(answer: &PhotoAnswer) -> Option<String> {
    Some(match answer {
        PhotoAnswer::Program => return None,
        PhotoAnswer::Bare => "without a filter".to_owned(),
        PhotoAnswer::NotKnown => "not known".to_owned(),
        PhotoAnswer::Through(names, None) => names.join(" + "),
        PhotoAnswer::Through(names, Some(mark)) => format!("{}, mark {mark}", names.join(" + ")),
    })
}
