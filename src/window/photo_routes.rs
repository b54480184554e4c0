//! What can be asked for of photographs.

use super::answer::{Chosen, Meant, No, Question, done, json, sent, typed, understood};
use super::app::App;
use super::photo_said::Saying;
use super::photo_work::Again;
use super::photographs::{PhotoSession, Seen};
use super::{photo_view, photo_work};
use crate::text::one_line;
use axum::body::Body;
use axum::extract::{Path, State};
use axum::http::{Request, StatusCode};
use axum::response::Response;
use serde::Deserialize;
use std::sync::Arc;
use tokio::task::block_in_place;

type Asked = State<Arc<App>>;

/// The sheet of photographs as plain data.
pub async fn state(State(app): Asked) -> Result<Response, No> {
    block_in_place(|| {
        let album = app.album();
        json(&album.session.as_ref().map(|session| {
            photo_view::photographs(session, album.number, &photo_work::out_of(session))
        }))
    })
}

/// A small picture.
pub async fn picture(State(app): Asked, Path(id): Path<usize>) -> Result<Response, No> {
    let album = app.album();
    match album.session.as_ref().and_then(|session| session.seen(id)) {
        Some(Seen::Read(_, png)) if !png.is_empty() => {
            Ok(typed(StatusCode::OK, "image/png", png.clone()))
        }
        _ => Err(No::Missing),
    }
}

/// Reads the photographs of a folder.
pub async fn open(State(app): Asked, request: Request<Body>) -> Result<Response, No> {
    let folder = Chosen::of(request).await?;
    let unsaved = app.album().session.as_ref().is_some_and(PhotoSession::is_unsaved);
    if unsaved && !folder.forget {
        let question = "What you said of these photographs stands in no table. Leave them?";
        return Err(No::Ask(Question::forget(question)));
    }
    block_in_place(|| photo_work::begin(&app, &folder.path))?;
    done()
}

#[derive(Deserialize)]
struct SaidOfPhotos {
    photographs: Vec<usize>,
    saying: Saying,
}

/// Says through which filter photographs were made.
pub async fn say(State(app): Asked, meant: Meant, request: Request<Body>) -> Result<Response, No> {
    let said: SaidOfPhotos = understood(&sent(request).await?)?;
    let saying = match said.saying {
        Saying::Mark(mark) => Saying::Mark(one_line(&mark)),
        other => other,
    };
    app.change(App::album, meant, |session| session.say(&said.photographs, &saying))
}

#[derive(Deserialize)]
struct InBag {
    name: String,
    there: bool,
}

/// Says which filters were in the bag.
pub async fn bag(State(app): Asked, meant: Meant, request: Request<Body>) -> Result<Response, No> {
    let bag: InBag = understood(&sent(request).await?)?;
    app.change(App::album, meant, |session| {
        session.bag(&bag.name, bag.there);
        Ok(())
    })
}

/// Takes the last step back.
pub async fn undo(State(app): Asked, meant: Meant) -> Result<Response, No> {
    app.change(App::album, meant, |session| {
        session.undo();
        Ok(())
    })
}

/// Does what was taken back again.
pub async fn redo(State(app): Asked, meant: Meant) -> Result<Response, No> {
    app.change(App::album, meant, |session| {
        session.redo();
        Ok(())
    })
}

#[derive(Deserialize)]
struct PhotoWriting {
    #[serde(default)]
    replace: bool,
    #[serde(default)]
    again: Option<Again>,
    #[serde(default)]
    white: White,
}

/// The light without the filter.
#[derive(Clone, Copy, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum White {
    /// As the camera took it, where that was not set through the filter.
    #[default]
    Judged,
    /// As the camera took it: a person says that it was set for the light without the filter.
    AsShot,
    /// As in the nearest photograph without a filter.
    NearestBare,
}

impl White {
    /// As the command line spells it; without a word it judges.
    fn word(self) -> Option<&'static str> {
        match self {
            Self::Judged => None,
            Self::AsShot => Some("as-shot"),
            Self::NearestBare => Some("nearest-bare"),
        }
    }
}

/// Writes the table.
pub async fn table(
    State(app): Asked,
    meant: Meant,
    request: Request<Body>,
) -> Result<Response, No> {
    let writing: PhotoWriting = understood(&sent(request).await?)?;
    json(&block_in_place(|| photo_work::write_table(&app, meant, writing.replace))?)
}

/// Writes the table and corrects by it.
pub async fn correct(
    State(app): Asked,
    meant: Meant,
    request: Request<Body>,
) -> Result<Response, No> {
    let PhotoWriting { replace, again, white } = understood(&sent(request).await?)?;
    json(&block_in_place(|| photo_work::correct(&app, meant, white.word(), replace, again))?)
}
