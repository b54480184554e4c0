//! The plan of a shoot, as a page to print and as the document for the frames' folder.

use super::answer::{No, no_page, printed, typed};
use super::plainly::of_frames;
use crate::error::Failure;
use crate::exposure;
use crate::field::plan::{Plan, Request};
use crate::profile::Kind;
use crate::report::plan_page;
use crate::shoot_file::FILE_NAME;
use crate::text::one_line;
use axum::extract::Query;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::Response;
use serde::Deserialize;

/// What was written into the form.
#[derive(Debug, Deserialize)]
pub struct Form {
    kind: Kind,
    #[serde(default)]
    name: String,
    #[serde(default)]
    rated: String,
    #[serde(default)]
    metered: String,
    #[serde(default)]
    marks: String,
    #[serde(default)]
    slot: Option<String>,
}

/// The page to print; where the form is not understood, a page that says why.
pub async fn page(Query(form): Query<Form>) -> Response {
    let text = plan(&form).and_then(|plan| Ok(plan_page::page(&plan)?));
    printed(text.unwrap_or_else(|failure| no_page(&of_frames(&failure.to_string()))))
}

/// The document for the folder with the frames.
pub async fn document(Query(form): Query<Form>) -> Result<Response, No> {
    let text = plan(&form).and_then(|plan| Ok(plan.shoot_file().to_text()?));
    let text = text.map_err(|failure| No::Cannot(of_frames(&failure.to_string())))?;
    let mut response = typed(StatusCode::OK, "application/json", text);
    let kept = HeaderValue::from_str(&format!("attachment; filename=\"{FILE_NAME}\""));
    let kept = kept.map_err(No::cannot)?;
    response.headers_mut().insert(header::CONTENT_DISPOSITION, kept);
    Ok(response)
}

fn plan(form: &Form) -> Result<Plan, Failure> {
    let given = |text: &str| (!text.trim().is_empty()).then(|| one_line(text));
    let rating = given(&form.rated).map(|text| exposure::parse_rating(&text)).transpose();
    let metered = given(&form.metered).map(|text| exposure::parse_time(&text)).transpose();
    let marks = form.marks.split(',').filter_map(given).collect();
    Plan::of(Request {
        kind: form.kind,
        rating: rating.map_err(Failure::usage)?,
        metered: metered.map_err(Failure::usage)?,
        marks,
        name: given(&form.name),
        slot: form.slot.is_some(),
        focal: Vec::new(),
    })
    .map_err(Failure::usage)
}
