//! What all pages of one window share.

use super::answer::{Meant, No, done};
use super::door::Door;
use super::photographs::PhotoSession;
use super::session::ShootSession;
use axum::response::Response;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::{mpsc, watch};
use tokio::task::block_in_place;

/// Pages of one window that may be open at a time: each waits for news on a connection of its own, and
/// browsers keep six to one address (common practice, no source), of which one must stay free to ask by.
const MOST_PAGES: usize = 5;

/// What is looked at, and the reading of it.
#[derive(Debug)]
pub struct Desk<T> {
    /// A folder's frames; `None` before one was chosen.
    pub session: Option<T>,
    /// Ends the reading of its frames.
    pub stop: Arc<AtomicBool>,
    /// Counts the folders that were chosen.
    pub number: u64,
}

/// Which pages are open.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Pages {
    /// So many.
    pub open: usize,
    /// One was open at some time.
    pub ever: bool,
    /// The last one that went said so.
    pub farewell: bool,
}

/// The window.
#[derive(Debug)]
pub struct App {
    /// Who may come in.
    pub door: Door,
    desk: Mutex<Desk<ShootSession>>,
    album: Mutex<Desk<PhotoSession>>,
    revision: watch::Sender<u64>,
    pages: watch::Sender<Pages>,
    lines: mpsc::UnboundedSender<String>,
}

/// One open page; gone when dropped.
#[derive(Debug)]
pub struct OpenPage(Arc<App>);

impl App {
    /// A window behind a door; `lines` are for whoever sits at the terminal.
    #[must_use]
    pub fn new(door: Door, lines: mpsc::UnboundedSender<String>) -> Self {
        Self {
            door,
            desk: Mutex::default(),
            album: Mutex::default(),
            revision: watch::Sender::new(0),
            pages: watch::Sender::new(Pages::default()),
            lines,
        }
    }
    /// The shoot, for one at a time.
    pub fn desk(&self) -> MutexGuard<'_, Desk<ShootSession>> {
        self.desk.lock().unwrap_or_else(PoisonError::into_inner)
    }
    /// The photographs, for one at a time.
    pub fn album(&self) -> MutexGuard<'_, Desk<PhotoSession>> {
        self.album.lock().unwrap_or_else(PoisonError::into_inner)
    }
    /// Changes what lies on one of the desks, and tells all pages.
    ///
    /// # Errors
    /// As [`Desk::meant`], and where the change cannot be.
    pub fn change<T>(
        &self,
        desk: impl FnOnce(&Self) -> MutexGuard<'_, Desk<T>>,
        meant: Meant,
        change: impl FnOnce(&mut T) -> Result<(), String>,
    ) -> Result<Response, No> {
        block_in_place(|| change(desk(self).meant(meant)?).map_err(No::Cannot))?;
        self.changed();
        done()
    }
    /// Tells all pages that something is new.
    pub fn changed(&self) {
        self.revision.send_modify(|revision| *revision += 1);
    }
    /// Counts what is new.
    #[must_use]
    pub fn revisions(&self) -> watch::Receiver<u64> {
        self.revision.subscribe()
    }
    /// Which pages are open, as they come and go.
    #[must_use]
    pub fn pages(&self) -> watch::Receiver<Pages> {
        self.pages.subscribe()
    }
    /// A page was opened; `None` where too many are.
    #[must_use]
    pub fn page(self: &Arc<Self>) -> Option<OpenPage> {
        let mut room = false;
        self.pages.send_modify(|pages| {
            room = pages.open < MOST_PAGES;
            if room {
                *pages = Pages { open: pages.open + 1, ever: true, farewell: false };
            }
        });
        room.then(|| OpenPage(Arc::clone(self)))
    }
    /// A page says that it is being closed.
    pub fn farewell(&self) {
        self.pages.send_modify(|pages| pages.farewell = true);
    }
    /// Says a line at the terminal; where nobody sits there it is lost.
    pub fn say(&self, line: String) {
        drop(self.lines.send(line));
    }
    /// Frames of which something was said that is not saved.
    #[must_use]
    pub fn is_unsaved(&self) -> bool {
        self.desk().session.as_ref().is_some_and(ShootSession::is_unsaved)
    }
}

impl Drop for OpenPage {
    fn drop(&mut self) {
        self.0.pages.send_modify(|pages| pages.open = pages.open.saturating_sub(1));
    }
}

impl<T> Default for Desk<T> {
    fn default() -> Self {
        Self { session: None, stop: Arc::default(), number: 0 }
    }
}

impl<T> Desk<T> {
    /// Puts another folder on the desk and gives its number; the reading of the one before ends.
    pub fn put(&mut self, session: T) -> (u64, Arc<AtomicBool>) {
        self.stop.store(true, Ordering::Relaxed);
        self.stop = Arc::default();
        self.number += 1;
        self.session = Some(session);
        (self.number, Arc::clone(&self.stop))
    }
    /// What was put on the desk under a number, unless something else lies there by now.
    pub fn still(&mut self, number: u64) -> Option<&mut T> {
        self.session.as_mut().filter(|_| self.number == number)
    }
    /// What is on the desk, for a page that means it.
    ///
    /// # Errors
    /// Where no folder was chosen, or the page means another one.
    pub fn meant(&mut self, meant: Meant) -> Result<&mut T, No> {
        let Some(session) = &mut self.session else {
            return Err(No::Cannot("choose a folder first".to_owned()));
        };
        if !meant.is(self.number) {
            let line = "another folder was chosen in another page of this window, so nothing was done; \
                        look at what is on this page now";
            return Err(No::Cannot(line.to_owned()));
        }
        Ok(session)
    }
}
