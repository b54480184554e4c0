//! The pages of the window: the frame of each place; its content is filled in by a little script from
//! plain data.

use crate::safety;
use crate::say::habits;
use askama::Template;

/// The places, in their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Room {
    /// Frames of a shoot.
    Shoot,
    /// The filter that they show.
    Filter,
    /// The filters that are kept.
    Kit,
    /// Photographs, and through which filter each was made.
    Photographs,
    /// The plan of a shoot, which is reached from the first place.
    Plan,
}

impl Room {
    /// Those that every page leads to.
    pub const PLACES: [Self; 4] = [Self::Shoot, Self::Filter, Self::Kit, Self::Photographs];
    /// All of them.
    pub const ALL: [Self; 5] =
        [Self::Shoot, Self::Filter, Self::Kit, Self::Photographs, Self::Plan];
    /// Its path.
    #[must_use]
    pub fn path(self) -> &'static str {
        match self {
            Self::Shoot => "/shoot",
            Self::Filter => "/filter",
            Self::Kit => "/kit",
            Self::Photographs => "/photographs",
            Self::Plan => "/plan",
        }
    }
    /// Its name.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Shoot => "Shoot",
            Self::Filter => "Filter",
            Self::Kit => "Kit",
            Self::Photographs => "Photographs",
            Self::Plan => "Plan",
        }
    }
}

#[derive(Template)]
#[template(path = "window/shoot.html")]
struct ShootPage<'a> {
    at: Room,
    places: &'a [Room],
    sun: &'a str,
    choose: &'a str,
    which: &'a str,
}

#[derive(Template)]
#[template(path = "window/plan.html")]
struct PlanPage<'a> {
    at: Room,
    places: &'a [Room],
    sun: &'a str,
    indoors: String,
}

#[derive(Template)]
#[template(path = "window/filter.html")]
struct FilterPage<'a> {
    at: Room,
    places: &'a [Room],
    sun: &'a str,
}

#[derive(Template)]
#[template(path = "window/kit.html")]
struct KitPage<'a> {
    at: Room,
    places: &'a [Room],
    sun: &'a str,
}

#[derive(Template)]
#[template(path = "window/photographs.html")]
struct PhotographsPage<'a> {
    at: Room,
    places: &'a [Room],
    sun: &'a str,
    choose: &'a str,
    which: &'a str,
}

#[derive(Template)]
#[template(path = "window/enter.html")]
struct EnterPage;

/// The page of a place.
///
/// # Errors
/// Where the template cannot be written, which does not happen to a string.
pub fn page(at: Room) -> Result<String, askama::Error> {
    let (places, sun) = (&Room::PLACES[..], safety::SUN_SHORT);
    match at {
        Room::Shoot => {
            let choose = "Where are the frames?";
            let which = "Choose the folder with the frames of one filter: raw frames of a plain \
                         wall, some without the filter and some through it.";
            ShootPage { at, places, sun, choose, which }.render()
        }
        Room::Plan => PlanPage { at, places, sun, indoors: habits::INDOORS.join(" ") }.render(),
        Room::Filter => FilterPage { at, places, sun }.render(),
        Room::Photographs => {
            let choose = "Where are the photographs?";
            let which = "Choose the folder of an outing: some of its photographs may have been made \
                         through filters of your kit.";
            PhotographsPage { at, places, sun, choose, which }.render()
        }
        Room::Kit => KitPage { at, places, sun }.render(),
    }
}

/// The page that hands over the key: it leads on by itself, so that the step into the window comes
/// from our own page and brings the key along.
///
/// # Errors
/// As [`page`].
pub fn enter() -> Result<String, askama::Error> {
    EnterPage.render()
}

/// Files that the pages are made of: path, type, text.
pub const FILES: [(&str, &str, &str); 12] = [
    // Asked for by browsers, whatever a page says.
    ("/favicon.ico", "image/svg+xml", include_str!("../../templates/window/icon.svg")),
    ("/icon.svg", "image/svg+xml", include_str!("../../templates/window/icon.svg")),
    ("/report.css", "text/css", include_str!("../../templates/style.css")),
    ("/window.css", "text/css", include_str!("../../templates/window/window.css")),
    ("/window.js", "text/javascript", include_str!("../../templates/window/window.js")),
    ("/folder.js", "text/javascript", include_str!("../../templates/window/folder.js")),
    ("/prints.js", "text/javascript", include_str!("../../templates/window/prints.js")),
    ("/shoot.js", "text/javascript", include_str!("../../templates/window/shoot.js")),
    ("/photographs.js", "text/javascript", include_str!("../../templates/window/photographs.js")),
    ("/kit.js", "text/javascript", include_str!("../../templates/window/kit.js")),
    ("/plan.js", "text/javascript", include_str!("../../templates/window/plan.js")),
    ("/filter.js", "text/javascript", include_str!("../../templates/window/filter.js")),
];
