//! The window: frames seen and answered with the eyes, in the person's own browser.
//!
//! A small server on this machine alone. All that is known lives here; pages show it and send
//! decisions back. It measures with the functions of the commands, and writes only what is asked for,
//! where they would write it.

pub mod said;
pub mod outcome;
pub mod session;
pub mod view;
pub mod places;
pub mod door;
mod answer;
mod app;
mod heard;
mod kit_place;
pub mod marks;
mod pages;
mod photo_routes;
mod photo_said;
mod photo_view;
mod photo_work;
pub mod photographs;
mod plainly;
mod plan;
mod reading;
mod routes;
mod serve;
mod steps;
mod table_beside;
mod unsaved;
mod work;

use crate::commands::console::Console;
use crate::commands::open::Wanted;
use crate::error::{Done, Failure};
use app::{App, Pages};
use door::Door;
use serve::Sockets;
use std::io::IsTerminal;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{mpsc, watch};
use tokio::time::timeout;

/// A page that said farewell may be on its way to another place of the window.
const FAREWELL: Duration = Duration::from_secs(5);
/// A page that went without a word may come back: a browser that was killed, or one that put the page
/// to sleep.
const SILENCE: Duration = Duration::from_secs(600);

/// Opens the window and stays until its pages are closed, or the program is told to end.
///
/// # Errors
/// Where no port is to be had, or the folder cannot be looked into.
pub fn open(wanted: &Wanted, console: &mut Console) -> Result<Done, Failure> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|source| no_server(&source))?;
    runtime.block_on(stay(wanted, console))
}

fn no_server(source: &std::io::Error) -> Failure {
    Failure::Nothing(format!(
        "the window cannot be served: {}; use lightloss measure FOLDER instead",
        crate::system::plain(source)
    ))
}

async fn stay(wanted: &Wanted, console: &mut Console) -> Result<Done, Failure> {
    let sockets = Sockets::bind().await.map_err(|source| no_server(&source))?;
    let port = sockets.port().map_err(|source| no_server(&source))?;
    let (lines, mut heard) = mpsc::unbounded_channel();
    let app = Arc::new(App::new(Door::new(port), lines));
    if let Some(folder) = &wanted.folder {
        reading::begin(&app, folder).map_err(Failure::Nothing)?;
    }
    let told_to_end = tokio::signal::ctrl_c();
    tokio::pin!(told_to_end);
    // It hears from its first poll on: before anybody is told where the window is.
    tokio::select! {
        biased;
        _ = &mut told_to_end => return Ok(Done::Clean),
        () = std::future::ready(()) => {}
    }
    let link = app.door.new_link();
    console.line(&format!("The window is at {link}"))?;
    console.line("It ends when its page is closed, or with Ctrl-C.")?;
    if wanted.browser && opener::open_browser(&link).is_err() {
        console.warn("no browser could be opened; open that address yourself");
    }
    let served = tokio::spawn(sockets.serve(Arc::clone(&app)));
    let left = until_left(Arc::clone(&app));
    tokio::pin!(left);
    loop {
        tokio::select! {
            Some(line) = heard.recv() => console.warn(&line),
            () = &mut left => break,
            _ = &mut told_to_end => break,
        }
    }
    served.abort();
    unsaved::lines(&app).into_iter().for_each(|line| console.warn(line));
    if let Some(line) = app.door.refused() {
        console.warn(&line);
    }
    Ok(Done::Clean)
}

/// Ends when the last page was closed for good.
async fn until_left(app: Arc<App>) {
    let mut pages = app.pages();
    // Nobody sits at a terminal to end a window whose page never came.
    let waits = std::io::stderr().is_terminal();
    loop {
        let now = *pages.borrow_and_update();
        if now.open > 0 || (!now.ever && waits) {
            if pages.changed().await.is_err() {
                return;
            }
            continue;
        }
        // A word of farewell may come after the page went.
        if now.ever && timeout(FAREWELL, another(&mut pages)).await.is_ok() {
            continue;
        }
        if pages.borrow().farewell {
            return;
        }
        if now.ever {
            let link = app.door.new_link();
            app.say(format!("the page went away; to go on with it: {link}"));
        }
        if timeout(SILENCE, another(&mut pages)).await.is_err() {
            return;
        }
    }
}

/// Waits until a page is open again.
async fn another(pages: &mut watch::Receiver<Pages>) {
    while pages.changed().await.is_ok() {
        if pages.borrow_and_update().open > 0 {
            return;
        }
    }
}
