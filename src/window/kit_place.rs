//! The kit in the window: what a person keeps, what has changed, and pages to print.

use super::answer::{No, json, no_page, printed, sent, understood};
use super::app::App;
use super::heard::Heard;
use super::work::unwritten;
use super::{photo_work, plainly};
use crate::cli::{Cli, Command};
use crate::commands::console::Console;
use crate::commands::{card, kit};
use crate::compare::compare;
use crate::compare::history::history;
use crate::error::Failure;
use crate::kit::Kit;
use crate::kit::kept::{KeptFilter, Listing};
use crate::kit_folder::{self, Bodies, KitFolder};
use crate::read::small;
use crate::report;
use crate::report::camera_page::camera_page;
use crate::report::compare_page::compare_page;
use crate::report::history_page::history_page;
use crate::report::sheet_page::sheet_page;
use crate::say::{camera, history as said, kept};
use crate::text::one_line;
use axum::body::Body;
use axum::extract::{Query, State};
use axum::http::Request;
use axum::response::Response;
use clap::Parser;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::ffi::OsString;
use std::path::Path;
use std::sync::Arc;
use tokio::task::block_in_place;

/// All filters that are kept.
#[derive(Serialize)]
struct KitView {
    /// Where they lie.
    root: String,
    filters: Vec<KeptView>,
    /// Camera records: the body's name, and the record in a line.
    bodies: Vec<[String; 2]>,
    /// Profiles and records that could not be read, with the reason.
    damaged: Vec<String>,
}

/// One filter.
#[derive(Serialize)]
struct KeptView {
    name: String,
    takes: String,
    colour: String,
    turn: String,
    day: String,
    age: String,
    /// Measurements, in words.
    measured: String,
    times: usize,
    /// What has changed since the first measurement.
    since: String,
    retired: bool,
}

fn view(listing: &Listing, bodies: &Bodies, root: String, today: Date) -> KitView {
    let filter = |filter: &KeptFilter| {
        let newest = filter.newest();
        KeptView {
            name: filter.name.clone(),
            takes: kept::takes(newest.profile()),
            colour: kept::colour(newest.profile()),
            turn: kept::turn(newest.profile()),
            day: kept::day(newest.at),
            age: kept::age(newest.at, today),
            measured: kept::measurements(filter.measurements.len()),
            times: filter.measurements.len(),
            since: said::short(&history(filter)),
            retired: filter.retired(),
        }
    };
    let damaged = listing.damaged.iter().chain(&bodies.damaged);
    let damaged = damaged.map(|d| format!("{}: {}", d.path.display(), d.reason));
    let records = bodies.records.iter();
    KitView {
        root,
        filters: listing.filters.iter().map(filter).collect(),
        bodies: records.map(|(_, r)| [r.body.shown(), camera::kept(r)]).collect(),
        damaged: damaged.collect(),
    }
}

/// The kit as plain data.
pub async fn state() -> Result<Response, No> {
    block_in_place(|| {
        let folder = KitFolder::of_person().map_err(No::cannot)?;
        let listing = folder.list().map_err(No::cannot)?;
        let bodies = folder.bodies().map_err(No::cannot)?;
        let today = jiff::ZonedDateTime::now().date();
        json(&view(&listing, &bodies, folder.root().display().to_string(), today))
    })
}

/// What is to be done with filters.
#[derive(Deserialize)]
#[serde(tag = "what", rename_all = "snake_case")]
enum Change {
    /// Gives a filter another name.
    Rename { name: String, to: String },
    /// Makes two names one filter.
    Merge { name: String, into: String },
    /// Takes a filter out of the bag.
    Retire { name: String },
    /// Puts it back.
    Back { name: String },
}

impl Change {
    fn words(&self) -> Vec<&str> {
        match self {
            Self::Rename { name, to } => vec!["rename", "--", name, to],
            Self::Merge { name, into } => vec!["merge", "--", name, into],
            Self::Retire { name } => vec!["retire", "--", name],
            Self::Back { name } => vec!["retire", "--back", "--", name],
        }
    }
    /// The name that is no longer there, and the one in its place.
    fn renamed(&self) -> Option<(&str, String)> {
        match self {
            Self::Rename { name, to } | Self::Merge { name, into: to } => {
                Some((name, one_line(to)))
            }
            Self::Retire { .. } | Self::Back { .. } => None,
        }
    }
}

/// Changes the kit as the command does; gives what it says.
pub async fn change(State(app): State<Arc<App>>, request: Request<Body>) -> Result<Response, No> {
    let change: Change = understood(&sent(request).await?)?;
    let words = ["lightloss", "kit"].into_iter().chain(change.words()).map(OsString::from);
    let words: Vec<OsString> = words.collect();
    block_in_place(|| {
        let parsed =
            Cli::try_parse_from(words).map_err(|e| No::Cannot(one_line(&e.to_string())))?;
        let Command::Kit(args) = parsed.command else { return Err(No::Missing) };
        let heard = Heard::default();
        let mut console = Console::to(Box::new(heard.clone()), Box::new(heard.clone()));
        kit::run(&args, &mut console).map_err(|failure| unwritten(&failure))?;
        photo_work::renew(&app, change.renamed());
        app.changed();
        json(&plainly::of_kit(&heard.text()))
    })
}

/// One filter that is meant.
#[derive(Deserialize)]
pub struct Named {
    name: String,
}

/// Two filters, or the first and the newest measurement of one.
#[derive(Deserialize)]
pub struct Pair {
    a: String,
    #[serde(default)]
    b: Option<String>,
}

/// The page of the newest measurement.
pub async fn report(Query(named): Query<Named>) -> Response {
    page(|listing| {
        let filter = kit_folder::filter(listing, &named.name)?;
        Ok(report::page(filter.newest().profile())?.html)
    })
}

/// A filter over the years.
pub async fn years(Query(named): Query<Named>) -> Response {
    page(|listing| {
        let filter = kit_folder::filter(listing, &named.name)?;
        Ok(history_page(&history(filter), filter.newest().profile())?.html)
    })
}

/// One page for a purchase or a return.
pub async fn sheet(Query(named): Query<Named>) -> Response {
    page(|listing| {
        let filter = kit_folder::filter(listing, &named.name)?;
        let several = filter.measurements.len() > 1;
        let years = several.then(|| said::answer(&history(filter)));
        let newest = filter.newest();
        Ok(sheet_page(newest.profile(), years, small::sha256(&newest.path).ok())?)
    })
}

/// The camera record of a body.
pub async fn body(Query(named): Query<Named>) -> Response {
    block_in_place(|| {
        let bodies = KitFolder::of_person().and_then(|folder| folder.bodies());
        let text = bodies.map_err(Failure::from).and_then(|bodies| {
            let found = bodies.records.iter().find(|(_, r)| r.body.shown() == named.name);
            let none = || Failure::Nothing(format!("the kit holds no record of {:?}", named.name));
            Ok(camera_page(&found.ok_or_else(none)?.1)?)
        });
        printed(text.unwrap_or_else(|failure| no_page(&failure.to_string())))
    })
}

/// Two filters side by side.
pub async fn side_by_side(Query(pair): Query<Pair>) -> Response {
    page(|listing| {
        let one = kit_folder::filter(listing, &pair.a)?;
        let (first, second) = match &pair.b {
            Some(b) => (one.newest(), kit_folder::filter(listing, b)?.newest()),
            None => (one.first(), one.newest()),
        };
        let (first, second) = (first.profile(), second.profile());
        Ok(compare_page(first, second, &compare(first, second)?)?.html)
    })
}

/// The exposure card of all filters in the bag: the sheet to print.
pub async fn cards() -> Response {
    page(|listing| file_of_card(listing, "card-a6.html"))
}

/// The same where the printer holds Letter paper.
pub async fn letter_cards() -> Response {
    page(|listing| file_of_card(listing, "card-a6-letter.html"))
}

/// The same for the phone.
pub async fn phone() -> Response {
    page(|listing| file_of_card(listing, "card.html"))
}

fn file_of_card(listing: &Listing, name: &str) -> Result<String, Failure> {
    let filters: Vec<_> = listing.in_use().map(|f| f.newest().profile().clone()).collect();
    if filters.is_empty() {
        return Err(Failure::Nothing("the kit holds no filter yet; keep one first".to_owned()));
    }
    let bag = Kit { filters, ..Kit::default() };
    let files = card::files(&bag, &card::card_of(&bag, listing))?;
    let found = files.into_iter().find(|(path, _)| path == Path::new(name));
    found.map(|(_, text)| text).ok_or_else(|| Failure::Nothing("there is no card".to_owned()))
}

/// A page to print, or one that says why there is none.
fn page(of: impl FnOnce(&Listing) -> Result<String, Failure>) -> Response {
    block_in_place(|| {
        let listing = KitFolder::of_person().and_then(|folder| folder.list());
        let text = listing.map_err(Failure::from).and_then(|listing| of(&listing));
        printed(text.unwrap_or_else(|failure| no_page(&failure.to_string())))
    })
}
