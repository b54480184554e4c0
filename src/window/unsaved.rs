//! What would be lost if the window ended now: for its pages, which can keep it, and for whoever sits at
//! the terminal.

use super::app::App;
use super::photo_work;
use super::photographs::PhotoSession;
use super::session::ShootSession;
use crate::shoot_file::FILE_NAME;
use serde::Serialize;

/// All of it.
#[derive(Debug, Serialize)]
pub struct Unsaved {
    /// Documents that were not written.
    pub documents: Vec<UnsavedDocument>,
    /// Corrections are being written.
    pub correcting: bool,
}

/// What was said of a folder, as the document that would be written into it.
#[derive(Debug, Serialize)]
pub struct UnsavedDocument {
    /// How it is called there.
    pub file: &'static str,
    /// Of what it says something.
    pub of: &'static str,
    /// What it says.
    pub text: String,
}

/// What is not written.
#[must_use]
pub fn unsaved(app: &App) -> Unsaved {
    let shoot = {
        let desk = app.desk();
        let said = desk.session.as_ref().filter(|s| s.is_unsaved()).and_then(ShootSession::said);
        said.and_then(|said| said.to_text().ok())
    };
    let album = app.album();
    let session = album.session.as_ref();
    let table = session.filter(|s| s.is_unsaved()).and_then(|s| photo_work::table_text(s).ok());
    let documents = [
        shoot.map(|text| UnsavedDocument { file: FILE_NAME, of: "frames", text }),
        table.map(|text| UnsavedDocument { file: photo_work::TABLE, of: "photographs", text }),
    ];
    Unsaved {
        documents: documents.into_iter().flatten().collect(),
        correcting: session.is_some_and(photo_work::is_running),
    }
}

/// The same in words, for when the window has ended.
#[must_use]
pub fn lines(app: &App) -> Vec<&'static str> {
    let photographs = app
        .album()
        .session
        .as_ref()
        .map(|s: &PhotoSession| (s.is_unsaved(), photo_work::is_running(s)));
    let (untold, correcting) = photographs.unwrap_or_default();
    let lines = [
        (
            app.is_unsaved(),
            "what you said of the frames was not saved; a page that is still open keeps it",
        ),
        (
            untold,
            "what you said of the photographs stands in no table; a page that is still open keeps it",
        ),
        (
            correcting,
            "not all photographs are corrected; what is there is whole, and the window goes on with the \
             others when it is asked again",
        ),
    ];
    lines.into_iter().filter_map(|(holds, line)| holds.then_some(line)).collect()
}
