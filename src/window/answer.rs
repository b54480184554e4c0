//! Answers: what is asked for with the headers that every answer carries, or one line that says why
//! not.

use super::door::Refusal;
use axum::body::{Body, Bytes, to_bytes};
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderValue, Request, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::path::PathBuf;

/// Bytes of what a page may send.
pub const MOST_BODY: usize = 64 * 1024;
/// Everything from here, nothing from elsewhere, nothing written into the page itself.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; \
                      connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";
/// Pages to print stand alone: with their own styles, without any script.
const PRINTED: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; \
                       form-action 'none'; frame-ancestors 'none'";

/// Why a page does not get what it asks for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum No {
    /// It cannot be done, in one line.
    Cannot(String),
    /// It can be done where the person says so.
    Ask(Question),
    /// There is no such thing.
    Missing,
    /// Turned away at the door.
    Refused(Refusal),
}

impl No {
    /// It cannot be done, in the words of what went wrong.
    pub fn cannot(why: impl std::fmt::Display) -> Self {
        Self::Cannot(why.to_string())
    }
}

/// What a person is asked before something is lost.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    line: String,
    choices: Vec<Choice>,
}

/// An answer that does something: its button, and what is sent along with the same request again.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
struct Choice {
    label: &'static str,
    send: Value,
}

impl Question {
    /// Whether to write over what is there.
    #[must_use]
    pub fn replace(line: String) -> Self {
        Self { line, choices: Vec::new() }.or("Yes", json!({ "replace": true }))
    }
    /// Whether to leave what was said.
    #[must_use]
    pub fn forget(line: &str) -> Self {
        let line = line.to_owned();
        Self { line, choices: Vec::new() }.or("Yes", json!({ "forget": true }))
    }
    /// What to do with corrected files that are there.
    #[must_use]
    pub fn again(line: String) -> Self {
        Self { line, choices: Vec::new() }.or("Write them anew", json!({ "again": "anew" }))
    }
    /// With another answer.
    #[must_use]
    pub fn or(mut self, label: &'static str, send: Value) -> Self {
        self.choices.push(Choice { label, send });
        self
    }
}

/// The folder that a page means, by its number among those that were chosen: pages may lie open while
/// another one goes on to another folder.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Meant(Option<u64>);

impl Meant {
    /// Whether it is that folder; a request that names none means the one that is there.
    #[must_use]
    pub fn is(self, number: u64) -> bool {
        self.0.is_none_or(|meant| meant == number)
    }
}

impl<S: Sync> FromRequestParts<S> for Meant {
    type Rejection = No;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, No> {
        let Some(value) = parts.headers.get("x-folder") else { return Ok(Self(None)) };
        let number = value.to_str().ok().and_then(|text| text.parse().ok());
        Ok(Self(Some(number.ok_or(No::Refused(Refusal::Broken))?)))
    }
}

#[derive(Serialize)]
struct Why<'a> {
    error: &'a str,
    ask: bool,
    choices: &'a [Choice],
}

impl From<String> for No {
    fn from(line: String) -> Self {
        Self::Cannot(line)
    }
}

impl IntoResponse for No {
    fn into_response(self) -> Response {
        let (status, error, choices) = match &self {
            Self::Cannot(line) => (StatusCode::UNPROCESSABLE_ENTITY, line.as_str(), &[][..]),
            Self::Ask(of) => (StatusCode::CONFLICT, of.line.as_str(), of.choices.as_slice()),
            Self::Missing => (StatusCode::NOT_FOUND, "there is no such page", &[][..]),
            Self::Refused(refusal) => (refusal.status(), refusal.line(), &[][..]),
        };
        let ask = status == StatusCode::CONFLICT;
        let text = serde_json::to_string(&Why { error, ask, choices }).unwrap_or_default();
        typed(status, "application/json", text)
    }
}

/// An answer of a type.
pub fn typed(status: StatusCode, kind: &'static str, body: impl Into<Body>) -> Response {
    let mut response = Response::new(body.into());
    *response.status_mut() = status;
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    response
}

/// What a page is told where there is nothing to tell.
///
/// # Errors
/// None in practice.
pub fn done() -> Result<Response, No> {
    json(&true)
}

/// A folder that was chosen.
#[derive(Deserialize)]
pub struct Chosen {
    /// Its whole path.
    pub path: PathBuf,
    /// What was said and is not written may be forgotten.
    #[serde(default)]
    pub forget: bool,
}

impl Chosen {
    /// As a page sends it.
    ///
    /// # Errors
    /// Where it cannot be understood, or is no whole path.
    pub async fn of(request: Request<Body>) -> Result<Self, No> {
        let chosen: Self = understood(&sent(request).await?)?;
        if chosen.path.is_absolute() {
            return Ok(chosen);
        }
        Err(No::Cannot("give the whole path of a folder".to_owned()))
    }
}

/// Plain data.
///
/// # Errors
/// Where it is none, which does not happen.
pub fn json(data: &impl Serialize) -> Result<Response, No> {
    let text = serde_json::to_string(data).map_err(No::cannot)?;
    Ok(typed(StatusCode::OK, "application/json", text))
}

/// A page.
pub fn html(text: String) -> Response {
    typed(StatusCode::OK, "text/html; charset=utf-8", text)
}

/// A page to print, which stands alone.
pub fn printed(text: String) -> Response {
    let mut response = html(text);
    let policy = HeaderValue::from_static(PRINTED);
    response.headers_mut().insert(header::CONTENT_SECURITY_POLICY, policy);
    response
}

/// A page that says in one line why there is none.
#[must_use]
pub fn no_page(line: &str) -> String {
    let line = line.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" \
         content=\"width=device-width, initial-scale=1\"><title>No page</title></head><body><main>\
         <h1>No page yet</h1><p>{line}</p></main></body></html>\n"
    )
}

/// What a page sent, up to a size.
///
/// # Errors
/// Where it is longer.
pub async fn sent(request: Request<Body>) -> Result<Bytes, No> {
    let told = request.headers().get(header::CONTENT_LENGTH);
    let told = told.and_then(|v| v.to_str().ok()?.parse::<usize>().ok());
    if told.is_some_and(|told| told > MOST_BODY) {
        return Err(No::Refused(Refusal::Long));
    }
    to_bytes(request.into_body(), MOST_BODY).await.map_err(|_| No::Refused(Refusal::Long))
}

/// What a page sent, understood.
///
/// # Errors
/// Where it is none of ours.
pub fn understood<T: DeserializeOwned>(bytes: &Bytes) -> Result<T, No> {
    serde_json::from_slice(bytes).map_err(|_| No::Refused(Refusal::Broken))
}

/// The headers of every answer.
pub fn guarded(mut response: Response) -> Response {
    const ALWAYS: [(&str, &str); 6] = [
        ("cache-control", "no-store"),
        ("x-content-type-options", "nosniff"),
        ("x-frame-options", "DENY"),
        ("referrer-policy", "no-referrer"),
        ("cross-origin-resource-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
    ];
    let headers: &mut HeaderMap = response.headers_mut();
    let policy = HeaderValue::from_static(POLICY);
    headers.entry(header::CONTENT_SECURITY_POLICY).or_insert(policy);
    for (name, value) in ALWAYS {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}
