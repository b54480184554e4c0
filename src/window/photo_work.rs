//! Photographs onto the desk, their table and their corrections onto the disk.

use super::answer::No;
use super::app::App;
use super::heard::Heard;
use super::photographs::{Correcting, PhotoSession, Seen};
use super::plainly::plainly;
use super::work::unwritten;
use crate::cli::{Cli, Command, CorrectArgs};
use crate::commands::console::{Console, Shown};
use crate::commands::correct::mark;
use crate::commands::photos::{self, Photo};
use crate::commands::profiles::Opened;
use crate::commands::{correct, gather, used_table};
use crate::editing::used_csv::{UsedRow, write_used};
use crate::error::{Done, Failure};
use crate::kit_folder::KitFolder;
use crate::read::{ReadOptions, pool};
use crate::reduce::grid::FrameSummary;
use crate::report::small_picture::{Balance, ON_SHEET, small_picture};
use crate::write::{self, png::png};
use clap::Parser;
use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError};
use std::thread;
use std::time::Duration;

/// Name of the table beside the photographs.
const TABLE: &str = "used.csv";
/// How often the pages hear of corrections.
const BEAT: Duration = Duration::from_millis(200);

/// Where the table of a folder lies.
#[must_use]
pub fn table_of(session: &PhotoSession) -> PathBuf {
    session.folder().join(TABLE)
}

/// Where its corrected files go.
#[must_use]
pub fn out_of(session: &PhotoSession) -> PathBuf {
    session.folder().join("corrected")
}

/// Begins to read the photographs of a folder; the pages hear of each.
///
/// # Errors
/// In one line, where the folder or the kit cannot be looked into, or holds nothing.
pub fn begin(app: &Arc<App>, folder: &Path) -> Result<(), String> {
    let folder = folder.canonicalize().map_err(|e| {
        format!("{} cannot be opened: {}", folder.display(), crate::system::plain(&e))
    })?;
    let files = photos::photographs(std::slice::from_ref(&folder)).map_err(|e| e.to_string())?;
    let kit = bag().map_err(|e| e.to_string())?;
    let session = PhotoSession::new(folder, files.clone(), kit);
    let (number, stop) = app.album().put(session);
    app.changed();
    let app = Arc::clone(app);
    thread::spawn(move || {
        let (base, options) = (Path::new(""), ReadOptions::default());
        pool::each(&files, base, options, &gather::worker(), &stop, &mut |id, result| {
            let seen = match result {
                Ok(summary) => {
                    let picture = picture(&summary);
                    let photo = Photo::of(&files[id], summary);
                    match &photo.corrected {
                        Some(what) => Seen::Corrected(mark::refused(what)),
                        None => Seen::Read(Box::new(photo), picture),
                    }
                }
                Err(unread) => Seen::Unread(unread.error.to_string()),
            };
            let mut album = app.album();
            if album.number == number
                && let Some(session) = &mut album.session
            {
                session.take(id, seen);
            }
            drop(album);
            app.changed();
        });
    });
    Ok(())
}

fn picture(summary: &FrameSummary) -> Vec<u8> {
    let drawn = small_picture(summary, Balance::as_shot(summary), ON_SHEET);
    png(drawn.width, drawn.height, &drawn.rgb).unwrap_or_default()
}

/// The newest profile of each filter that the person uses.
fn bag() -> Result<Vec<Opened>, Failure> {
    let listing = KitFolder::of_person()?.list()?;
    let opened = listing.in_use().map(|filter| {
        let newest = filter.newest();
        Opened { path: newest.path.clone(), profile: newest.profile().clone() }
    });
    Ok(opened.collect())
}

/// Writes the table; gives its path.
///
/// # Errors
/// Where nothing is known, a table is in the way, or the system refuses.
pub fn write_table(app: &App, replace: bool) -> Result<String, No> {
    let (rows, path, number, answers) = {
        let album = app.album();
        let session = album.session.as_ref().ok_or_else(super::work::no_folder)?;
        if session.arrived() < session.files().len() {
            return Err(No::Cannot("the photographs are still being read".to_owned()));
        }
        let rows: Vec<UsedRow> = session.rows().cloned().collect();
        (rows, table_of(session), album.number, session.answers().to_vec())
    };
    let text =
        write_used(&used_table::relative(&rows, &path)).map_err(|e| No::Cannot(e.to_string()))?;
    write::write(&path, text.as_bytes(), replace).map_err(|e| unwritten(&Failure::from(e)))?;
    let mut album = app.album();
    if album.number == number
        && let Some(session) = &mut album.session
    {
        session.stands_in_a_table(answers);
    }
    Ok(path.display().to_string())
}

/// Writes the table and begins to correct by it; the pages hear of every file.
///
/// # Errors
/// As [`write_table`], and where corrections are under way.
pub fn correct(app: &Arc<App>, white: Option<&str>, replace: bool) -> Result<String, No> {
    if app.album().session.as_ref().is_some_and(is_running) {
        return Err(No::Cannot("corrections are being written already".to_owned()));
    }
    let (args, folder) = {
        let album = app.album();
        let session = album.session.as_ref().ok_or_else(super::work::no_folder)?;
        if session.originals().next().is_none() {
            let line = "these are corrected copies alone; choose the folder of their originals";
            return Err(No::Cannot(line.to_owned()));
        }
        let args = arguments(session, white, replace).map_err(|e| No::Cannot(e.to_string()))?;
        (args, session.folder().to_owned())
    };
    let path = write_table(app, replace)?;
    let number = app.album().number;
    let app = Arc::clone(app);
    tell(&app, number, &Correcting::default());
    thread::spawn(move || {
        let job = Job { folder, ..Job::default() };
        let ended = thread::scope(|scope| {
            let working = scope.spawn(|| correct::run(&args, &mut job.console()));
            while !working.is_finished() {
                thread::sleep(BEAT);
                tell(&app, number, &job.state(None));
            }
            working.join()
        });
        let end = ended.unwrap_or_else(|_| {
            Err(Failure::Nothing("the corrections broke off; what is whole is there".to_owned()))
        });
        tell(&app, number, &job.state(Some(end)));
    });
    Ok(path)
}

fn is_running(session: &PhotoSession) -> bool {
    session.correcting.as_ref().is_some_and(|job| !job.ended)
}

/// Tells the pages how far it is.
fn tell(app: &App, number: u64, now: &Correcting) {
    let mut album = app.album();
    if album.number == number
        && let Some(session) = &mut album.session
    {
        session.correcting = Some(now.clone());
    }
    drop(album);
    app.changed();
}

/// The command line that corrects by the table.
fn arguments(
    session: &PhotoSession,
    white: Option<&str>,
    replace: bool,
) -> Result<CorrectArgs, Failure> {
    let mut words: Vec<OsString> = vec!["lightloss".into(), "correct".into()];
    words.extend(["--used".into(), table_of(session).into()]);
    words.extend(white.into_iter().flat_map(|white| ["--white".into(), white.into()]));
    if replace {
        words.push("--replace".into());
    }
    words.push("--".into());
    words.extend(session.originals().map(OsString::from));
    match Cli::try_parse_from(words).map_err(Failure::usage)?.command {
        Command::Correct(args) => Ok(args),
        _ => Err(Failure::Nothing("the photographs are no arguments".to_owned())),
    }
}

/// What a command says and how far it is, while it works.
#[derive(Clone, Default)]
struct Job {
    folder: PathBuf,
    said: Heard,
    bar: Shown,
}

impl Job {
    fn console(&self) -> Console {
        let (out, err) = (Box::new(self.said.clone()), Box::new(self.said.clone()));
        Console::to(out, err).showing(Arc::clone(&self.bar))
    }
    fn state(&self, end: Option<Result<Done, Failure>>) -> Correcting {
        let bar = self.bar.lock().unwrap_or_else(PoisonError::into_inner);
        let done = bar.as_ref().map_or([0, 0], |b| [b.position(), b.length().unwrap_or(0)]);
        let page = |line: &str| plainly(line, &self.folder);
        let lines = self.said.text().lines().map(page).collect();
        let ended = end.is_some();
        let fault = end.and_then(Result::err).map(|failure| page(&failure.to_string()));
        Correcting { done, ended, lines, fault }
    }
}
