//! What can be asked for.

use super::answer::{
    Chosen, Meant, No, Question, done, guarded, html, json, sent, typed, understood,
};
use super::app::{App, OpenPage};
use super::door::{Admitted, Refusal};
use super::pages::{self, Room};
use super::said::{Claims, Said};
use super::{
    kit_place, photo_routes, photo_work, places, plainly, plan, reading, unsaved, view, work,
};
use crate::exposure;
use crate::profile::Kind;
use crate::quantity::Stops;
use crate::report;
use crate::report::small_picture::{ON_SHEET, small_picture};
use crate::text::one_line;
use crate::write::png::png;
use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Path, State};
use axum::http::{HeaderValue, Request, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use futures_util::Stream;
use serde::Deserialize;
use std::convert::Infallible;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;
use tokio::task::block_in_place;

/// What was asked must be there and answered within so long.
const PATIENCE: Duration = Duration::from_secs(30);
/// A sign of life on a connection that waits for news.
const SIGN_OF_LIFE: Duration = Duration::from_secs(15);

type Answer = Result<Response, No>;
type Window = State<Arc<App>>;

/// Everything that can be asked for, behind the door.
pub fn router(app: Arc<App>) -> Router {
    let mut router = Router::new()
        .route("/", get(|| async { page(Room::Shoot) }))
        .route("/enter/{token}", get(enter))
        .route("/events", get(events))
        .route("/state", get(state))
        .route("/profile.json", get(profile))
        .route("/filter/body", get(filter_body))
        .route("/picture/{id}", get(picture))
        .route("/places", get(beginnings).post(inside))
        .route("/open", post(open))
        .route("/decide", post(decide))
        .route("/marks", post(marks))
        .route("/claim", post(claim))
        .route("/undo", post(undo))
        .route("/redo", post(redo))
        .route("/save", post(save))
        .route("/write", post(write))
        .route("/keep", post(keep))
        .route("/kit/state", get(kit_place::state))
        .route("/kit/change", post(kit_place::change))
        .route("/kit/report", get(kit_place::report))
        .route("/kit/years", get(kit_place::years))
        .route("/kit/body", get(kit_place::body))
        .route("/kit/sheet", get(kit_place::sheet))
        .route("/kit/compare", get(kit_place::side_by_side))
        .route("/kit/cards", get(kit_place::cards))
        .route("/kit/letter-cards", get(kit_place::letter_cards))
        .route("/kit/phone", get(kit_place::phone))
        .route("/photograph/{id}", get(photo_routes::picture))
        .route("/photographs/state", get(photo_routes::state))
        .route("/photographs/open", post(photo_routes::open))
        .route("/photographs/say", post(photo_routes::say))
        .route("/photographs/bag", post(photo_routes::bag))
        .route("/photographs/undo", post(photo_routes::undo))
        .route("/photographs/redo", post(photo_routes::redo))
        .route("/photographs/table", post(photo_routes::table))
        .route("/photographs/correct", post(photo_routes::correct))
        .route("/plan/page", get(plan::page))
        .route("/plan/shoot.json", get(plan::document))
        .route("/unsaved", get(not_written))
        .route("/leave", post(leave));
    for place in Room::ALL {
        let shown = move |State(app): Window| async move {
            // Filters may have come into the kit, and gone, since its folder was taken.
            if place == Room::Photographs {
                block_in_place(|| photo_work::renew(&app, None));
            }
            page(place)
        };
        router = router.route(place.path(), get(shown));
    }
    for (path, kind, text) in pages::FILES {
        router = router.route(path, get(move || async move { typed(StatusCode::OK, kind, text) }));
    }
    let door = middleware::from_fn_with_state(Arc::clone(&app), door);
    router.fallback(|| async { No::Missing }).layer(door).with_state(app)
}

/// Nothing is answered before the door has looked at it, and nothing leaves without its headers.
async fn door(State(app): Window, request: Request<Body>, next: Next) -> Response {
    let admitted = app.door.admit(request.method(), request.uri(), request.headers());
    let response = match admitted {
        Err(refusal) => No::Refused(refusal).into_response(),
        Ok(admitted) if (admitted == Admitted::Enter) != is_enter(&request) => {
            No::Missing.into_response()
        }
        Ok(_) => match tokio::time::timeout(PATIENCE, next.run(request)).await {
            Ok(response) => response,
            Err(_) => {
                app.door.count(Refusal::Slow);
                No::Refused(Refusal::Slow).into_response()
            }
        },
    };
    if response.status() == StatusCode::PAYLOAD_TOO_LARGE {
        app.door.count(Refusal::Long);
    }
    if response.status() == StatusCode::BAD_REQUEST && admitted.is_ok() {
        app.door.count(Refusal::Broken);
    }
    guarded(response)
}

fn is_enter(request: &Request<Body>) -> bool {
    request.uri().path().starts_with(super::door::ENTER)
}

async fn enter(State(app): Window) -> Answer {
    let mut response = html(pages::enter().map_err(No::cannot)?);
    let cookie = HeaderValue::from_str(&app.door.cookie());
    response.headers_mut().insert(header::SET_COOKIE, cookie.map_err(No::cannot)?);
    Ok(response)
}

fn page(place: Room) -> Answer {
    Ok(html(pages::page(place).map_err(No::cannot)?))
}

async fn events(State(app): Window) -> Answer {
    let open = app.page().ok_or(No::Refused(Refusal::Crowd))?;
    let news = Sse::new(news(app.revisions(), open));
    Ok(news.keep_alive(KeepAlive::new().interval(SIGN_OF_LIFE)).into_response())
}

/// The number of the latest change, at once and whenever there is a new one.
fn news(
    revisions: watch::Receiver<u64>,
    open: OpenPage,
) -> impl Stream<Item = Result<Event, Infallible>> {
    let first = (revisions, open, true);
    futures_util::stream::unfold(first, |(mut revisions, open, at_once)| async move {
        if !at_once {
            revisions.changed().await.ok()?;
        }
        let now = *revisions.borrow_and_update();
        Some((Ok(Event::default().data(now.to_string())), (revisions, open, false)))
    })
}

async fn state(State(app): Window) -> Answer {
    block_in_place(|| json(&app.desk().session.as_ref().map(view::sheet)))
}

async fn profile(State(app): Window, meant: Meant) -> Answer {
    let text = block_in_place(|| work::profile_text(&app, meant))?;
    Ok(typed(StatusCode::OK, "application/json", text))
}

async fn filter_body(State(app): Window, meant: Meant) -> Answer {
    block_in_place(|| {
        let (profile, pictures) = {
            let mut desk = app.desk();
            let session = &*desk.meant(meant)?;
            (work::measured(session.outcome())?, view::pictures(session))
        };
        let profile = plainly::of_filter(&profile);
        Ok(html(report::body(&profile, pictures).map_err(No::cannot)?))
    })
}

async fn picture(State(app): Window, Path(id): Path<usize>) -> Answer {
    block_in_place(|| {
        let drawn = {
            let desk = app.desk();
            let session = desk.session.as_ref().ok_or(No::Missing)?;
            let (summary, balance) = session.picture(id).ok_or(No::Missing)?;
            small_picture(summary, balance, ON_SHEET)
        };
        let bytes = png(drawn.width, drawn.height, &drawn.rgb).ok_or(No::Missing)?;
        Ok(typed(StatusCode::OK, "image/png", bytes))
    })
}

async fn beginnings(State(app): Window) -> Answer {
    let shoot = app.desk().session.as_ref().map(|s| s.folder().to_owned());
    let photographs = app.album().session.as_ref().map(|s| s.folder().to_owned());
    let open = [(Room::Shoot, shoot), (Room::Photographs, photographs)];
    let named = |(room, folder): (Room, Option<PathBuf>)| {
        Some((format!("Open under {}", room.name()), folder?))
    };
    let open = open.into_iter().filter_map(named).collect();
    block_in_place(|| json(&places::beginnings(open)))
}

#[derive(Deserialize)]
struct Folder {
    path: String,
}

async fn inside(request: Request<Body>) -> Answer {
    let folder: Folder = understood(&sent(request).await?)?;
    block_in_place(|| json(&places::inside(&folder.path)?))
}

async fn open(State(app): Window, request: Request<Body>) -> Answer {
    let chosen = Chosen::of(request).await?;
    if app.is_unsaved() && !chosen.forget {
        let question = "What you said of these frames is not saved. Leave them?";
        return Err(No::Ask(Question::forget(question)));
    }
    block_in_place(|| reading::begin(&app, &chosen.path))?;
    done()
}

#[derive(Deserialize)]
struct Decision {
    frames: Vec<usize>,
    /// What they are; the program decides where it is absent.
    #[serde(default)]
    said: Option<Said>,
    #[serde(default)]
    mark: Option<String>,
    /// All frames are meant.
    #[serde(default)]
    all: bool,
}

async fn decide(State(app): Window, meant: Meant, request: Request<Body>) -> Answer {
    let decision: Decision = understood(&sent(request).await?)?;
    let mark = decision.mark.as_deref().map(one_line).filter(|mark| !mark.is_empty());
    app.change(App::desk, meant, |session| match decision.said {
        Some(said) => session.decide(&decision.frames, said, mark.as_deref()),
        None if decision.all => session.leave_all_to_program(),
        None => session.leave_to_program(&decision.frames),
    })
}

#[derive(Deserialize)]
struct Marks {
    marks: String,
}

async fn marks(State(app): Window, meant: Meant, request: Request<Body>) -> Answer {
    let marks: Marks = understood(&sent(request).await?)?;
    let names: Vec<String> =
        marks.marks.split(',').map(one_line).filter(|mark| !mark.is_empty()).collect();
    app.change(App::desk, meant, |session| session.name_marks(&names))
}

#[derive(Deserialize)]
struct Claimed {
    #[serde(default)]
    name: Option<String>,
    /// "" takes it back.
    #[serde(default)]
    kind: Option<String>,
    #[serde(default)]
    rated: Option<String>,
    #[serde(default)]
    note: Option<String>,
}

async fn claim(State(app): Window, meant: Meant, request: Request<Body>) -> Answer {
    let claimed: Claimed = understood(&sent(request).await?)?;
    let (rated, told) = match claimed.rated.as_deref().map(rated).transpose()? {
        Some((rated, told)) => (Some(rated), told),
        None => (None, None),
    };
    let claims = Claims {
        name: claimed.name.as_deref().map(one_line),
        kind: claimed.kind.as_deref().map(kind).transpose()?,
        rated,
        note: claimed.note.as_deref().map(one_line),
    };
    app.change(App::desk, meant, |session| session.claim(claims))?;
    json(&told)
}

fn kind(word: &str) -> Result<Option<Kind>, No> {
    if word.is_empty() {
        return Ok(None);
    }
    serde_json::from_value(word.into()).map(Some).map_err(|_| No::Refused(Refusal::Broken))
}

/// Stops, and what is to be said of how the text was read.
fn rated(text: &str) -> Result<(Vec<Stops>, Option<String>), No> {
    if text.trim().is_empty() {
        return Ok((Vec::new(), None));
    }
    let rating = exposure::parse_rating(text).map_err(No::cannot)?;
    let told = rating.said.clone().or_else(|| rating.doubtful());
    let stops = rating.range().map_or_else(|| vec![rating.weakest], |range| range.to_vec());
    Ok((stops, told))
}

async fn undo(State(app): Window, meant: Meant) -> Answer {
    app.change(App::desk, meant, |session| {
        session.undo();
        Ok(())
    })
}

async fn redo(State(app): Window, meant: Meant) -> Answer {
    app.change(App::desk, meant, |session| {
        session.redo();
        Ok(())
    })
}

#[derive(Deserialize)]
struct Writing {
    #[serde(default)]
    replace: bool,
}

async fn save(State(app): Window, meant: Meant, request: Request<Body>) -> Answer {
    let writing: Writing = understood(&sent(request).await?)?;
    let path = block_in_place(|| work::save(&app, meant, writing.replace))?;
    app.changed();
    json(&path)
}

async fn write(State(app): Window, meant: Meant, request: Request<Body>) -> Answer {
    let writing: Writing = understood(&sent(request).await?)?;
    json(&block_in_place(|| work::write_profile(&app, meant, writing.replace))?)
}

async fn keep(State(app): Window, meant: Meant, request: Request<Body>) -> Answer {
    let writing: Writing = understood(&sent(request).await?)?;
    let said = block_in_place(|| {
        let said = work::keep(&app, meant, writing.replace)?;
        photo_work::renew(&app, None);
        Ok::<_, No>(said)
    })?;
    app.changed();
    json(&said)
}

async fn not_written(State(app): Window) -> Answer {
    block_in_place(|| json(&unsaved::unsaved(&app)))
}

async fn leave(State(app): Window, _: Bytes) -> Answer {
    app.farewell();
    done()
}
