//! Photographs onto the desk, their table and their corrections onto the disk.

use super::answer::{Meant, No, Question};
use super::app::App;
use super::heard::Heard;
use super::photographs::{Correcting, PhotoSession, Seen};
use super::plainly::plainly;
use super::table_beside::TableBeside;
use super::work::{ask_for, unwritten};
use crate::cli::{Cli, Command, CorrectArgs};
use crate::commands::console::{Console, Shown};
use crate::commands::photos::{self, Photo};
use crate::commands::profiles::Opened;
use crate::commands::{correct, gather, used_table};
use crate::editing::used_csv::write_used;
use crate::error::{Done, Failure};
use crate::kit_folder::KitFolder;
use crate::read::{ReadOptions, pool, small};
use crate::reduce::grid::FrameSummary;
use crate::report::small_picture::{Balance, ON_SHEET, small_picture};
use crate::text::count;
use crate::write::{self, png::png};
use clap::Parser;
use serde::Deserialize;
use serde_json::json;
use std::collections::BTreeSet;
use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError};
use std::thread;
use std::time::Duration;

/// Name of the table beside the photographs.
pub const TABLE: &str = "used.csv";
/// How often the pages hear of corrections.
const BEAT: Duration = Duration::from_millis(200);

/// What to do with corrected files that are there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Again {
    /// They are written over.
    Anew,
    /// They stay, as long as they are what was asked for.
    Keep,
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
    let mut kit = bag(&BTreeSet::new()).map_err(|e| e.to_string())?;
    let table = TableBeside::read(folder.join(TABLE), &mut kit);
    let session = PhotoSession::new(folder, files.clone(), kit, table);
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
                        Some(what) => Seen::Corrected(photos::corrected_already(what)),
                        None => Seen::Read(Box::new(photo), picture),
                    }
                }
                Err(unread) => Seen::Unread(unread.error.to_string()),
            };
            if let Some(session) = app.album().still(number) {
                session.take(id, seen);
            }
            app.changed();
        });
    });
    Ok(())
}

fn picture(summary: &FrameSummary) -> Vec<u8> {
    let drawn = small_picture(summary, Balance::as_shot(summary), ON_SHEET);
    png(drawn.width, drawn.height, &drawn.rgb).unwrap_or_default()
}

/// The newest profile of each filter that the person uses, or names.
fn bag(named: &BTreeSet<String>) -> Result<Vec<Opened>, Failure> {
    let listing = KitFolder::of_person()?.list()?;
    let named = named.iter().filter_map(|name| listing.find(name)).filter(|f| f.retired());
    let opened = listing.in_use().chain(named).map(|filter| {
        let newest = filter.newest();
        Opened { path: newest.path.clone(), profile: newest.profile().clone() }
    });
    Ok(opened.collect())
}

/// Takes the kit as it is now, after a filter of it was given another name where one was.
pub fn renew(app: &App, renamed: Option<(&str, String)>) {
    let mut album = app.album();
    let Some(session) = &mut album.session else { return };
    if let Some((name, to)) = renamed {
        session.rename(name, &to);
    }
    let named: BTreeSet<String> = session.named().cloned().collect();
    // A kit that cannot be read stays what it was.
    if let Ok(kit) = bag(&named) {
        session.set_kit(kit);
    }
}

/// The table as text.
///
/// # Errors
/// None in practice.
pub fn table_text(session: &PhotoSession) -> Result<String, Failure> {
    let table = session.table();
    let rows = table.with_others(session.rows().cloned());
    Ok(write_used(&used_table::relative(&rows, &table.path))?)
}

/// Writes the table; gives its path.
///
/// # Errors
/// Where nothing is known, a table is in the way, or the system refuses.
pub fn write_table(app: &App, meant: Meant, replace: bool) -> Result<String, No> {
    let (text, table, number, answers) = {
        let mut album = app.album();
        let number = album.number;
        let session = album.meant(meant)?;
        if session.arrived() < session.files().len() {
            return Err(No::Cannot("the photographs are still being read".to_owned()));
        }
        let text = table_text(session).map_err(No::cannot)?;
        (text, session.table().clone(), number, session.answers().to_vec())
    };
    let path = &table.path;
    let now = small::bytes(path, small::TABLE_BYTES).ok();
    if now.as_deref() != Some(text.as_bytes()) {
        if path.exists() && !replace {
            return Err(in_the_way(&table, now.as_deref()));
        }
        write::write(path, text.as_bytes(), replace).map_err(|e| unwritten(&Failure::from(e)))?;
    }
    let shown = path.display().to_string();
    if let Some(session) = app.album().still(number) {
        session.stands_in_a_table(answers, text.into_bytes());
    }
    Ok(shown)
}

/// Asks for a table that is there, as it is now.
fn in_the_way(table: &TableBeside, now: Option<&[u8]>) -> No {
    let known = table.bytes.as_deref();
    if !table.missed || now != known {
        return ask_for(&table.path, known.map(|known| now == Some(known)));
    }
    No::Ask(Question::replace(format!(
        "{} holds what could not be taken onto this page and would be lost. Write over it?",
        table.path.display()
    )))
}

/// Writes the table and begins to correct by it; the pages hear of every file.
///
/// # Errors
/// As [`write_table`], and where corrections are under way, or corrected files are in the way.
pub fn correct(
    app: &Arc<App>,
    meant: Meant,
    white: Option<&str>,
    replace: bool,
    again: Option<Again>,
) -> Result<String, No> {
    let (args, folder) = {
        let mut album = app.album();
        let session = album.meant(meant)?;
        if is_running(session) {
            return Err(No::Cannot("corrections are being written already".to_owned()));
        }
        if session.originals().next().is_none() {
            let line = "these are corrected copies alone; choose the folder of their originals";
            return Err(No::Cannot(line.to_owned()));
        }
        if again.is_none() {
            refuse_corrected(session)?;
        }
        let anew = again == Some(Again::Anew);
        let args = arguments(session, white, anew).map_err(No::cannot)?;
        (args, session.folder().to_owned())
    };
    let path = write_table(app, meant, replace)?;
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

/// Asks for corrected files that are there: another program may have written into them since.
fn refuse_corrected(session: &PhotoSession) -> Result<(), No> {
    let mut outs = session.corrections();
    let all = outs.len();
    outs.retain(|out| out.exists());
    if outs.is_empty() {
        return Ok(());
    }
    let there = count(outs.len(), "corrected file");
    let one = ("lies", "it", "it is");
    let (lie, them, they) = if outs.len() == 1 { one } else { ("lie", "them", "they are") };
    let question = Question::again(format!(
        "{there} {lie} in {} already. What another program wrote into {them} since is lost where {they} \
         written anew.",
        out_of(session).display(),
    ));
    let keep = json!({ "again": "keep" });
    Err(No::Ask(if outs.len() < all {
        question.or("Keep them, write the others", keep)
    } else {
        question
    }))
}

/// Whether corrections are being written.
#[must_use]
pub fn is_running(session: &PhotoSession) -> bool {
    session.correcting.as_ref().is_some_and(|job| !job.ended)
}

/// Tells the pages how far it is.
fn tell(app: &App, number: u64, now: &Correcting) {
    if let Some(session) = app.album().still(number) {
        session.correcting = Some(now.clone());
    }
    app.changed();
}

/// The command line that corrects by the table.
fn arguments(
    session: &PhotoSession,
    white: Option<&str>,
    anew: bool,
) -> Result<CorrectArgs, Failure> {
    let mut words: Vec<OsString> = vec!["lightloss".into(), "correct".into()];
    words.extend(["--used".into(), session.table().path.clone().into()]);
    words.extend(white.into_iter().flat_map(|white| ["--white".into(), white.into()]));
    if anew {
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
