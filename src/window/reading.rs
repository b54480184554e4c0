//! A folder onto the desk: names at once, frames as they are read.

use super::app::App;
use super::outcome;
use super::session::ShootSession;
use crate::commands::gather::Listed;
use crate::commands::{gather, picture, shoot_json};
use crate::error::Failure;
use crate::read::{ReadOptions, pool};
use crate::shoot::Wish;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread;

/// Begins to read a folder; the pages hear of every frame.
///
/// # Errors
/// In one line, where the folder cannot be looked into, holds no frame, or its shoot.json cannot be
/// read.
pub fn begin(app: &Arc<App>, folder: &Path) -> Result<(), String> {
    let folder = folder.canonicalize().map_err(|e| {
        let why = crate::system::plain(&e);
        format!(
            "{} cannot be opened: {why}; give the folder that holds the frames",
            folder.display()
        )
    })?;
    let (listed, session) = listed(&folder).map_err(|failure| failure.to_string())?;
    let Listed { frames, companions, picture, .. } = listed;
    let said = session.said();
    let wish =
        outcome::prepared(&folder, session.files(), said).map_or_else(|_| Wish::default(), |p| p.2);
    let (number, stop) = {
        let mut desk = app.desk();
        let (number, stop) = desk.put(session);
        if let Some(session) = &mut desk.session {
            session.set_number(number);
        }
        (number, stop)
    };
    app.changed();
    let app = Arc::clone(app);
    thread::spawn(move || {
        let take = |id: usize, candidate| {
            if let Some(session) = app.desk().still(number) {
                session.take(id, candidate);
            }
            app.changed();
        };
        let first = frames.len();
        let options = ReadOptions::default();
        pool::each(&frames, &folder, options, &gather::worker(), &stop, &mut |id, result| {
            take(id, gather::candidate(&frames[id], &folder, result));
        });
        for (i, (path, of)) in companions.iter().enumerate() {
            take(first + i, gather::companion(path, of, &folder));
        }
        if !picture.is_empty() {
            let parts = picture::read(&picture, &folder, &wish, options, &|| ());
            if let Some(session) = app.desk().still(number) {
                session.take_picture(parts);
            }
            app.changed();
        }
    });
    Ok(())
}

fn listed(folder: &Path) -> Result<(Listed, ShootSession), Failure> {
    let args = outcome::arguments(folder, None)?.shoot;
    let document = shoot_json::read(&args)?;
    let listed = gather::listed(&args)?;
    if listed.frames.is_empty() {
        return Err(Failure::Nothing(format!(
            "there are no frames in {}; choose a folder that holds raw frames shot with and without \
             the filter",
            folder.display()
        )));
    }
    let beside = listed.companions.iter().map(|(path, _)| path);
    let paths: Vec<PathBuf> = listed.frames.iter().chain(beside).cloned().collect();
    let files = paths.iter().map(|path| pool::shown(path, folder)).collect();
    let (left, picture) = (listed.left.clone(), listed.picture.clone());
    let session = ShootSession::new(folder.to_owned(), paths, files, left, picture, document);
    Ok((listed, session))
}
