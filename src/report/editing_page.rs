//! What to set in an editor for photographs made through one filter, on one side of paper. It lays out
//! parts of the report's section on colour.

use super::page::{ReportError, viewed};
use super::view::{Drawings, PageView};
use crate::profile::Profile;
use crate::say::editing as said;
use askama::Template;

/// What the sheet adds to the report's parts.
struct EditingView {
    page: PageView,
    answer: String,
    steps: Vec<String>,
    bounds: Vec<&'static str>,
}

#[derive(Template)]
#[template(path = "editing.html")]
struct EditingPage<'a> {
    sheet: &'a EditingView,
}

/// The sheet for editing: one page, nothing outside it.
///
/// # Errors
/// Where the profile holds no setting, or the template refuses.
pub fn editing_page(profile: &Profile) -> Result<String, ReportError> {
    let page = viewed(profile, &mut Drawings::default())?;
    let sheet = EditingView {
        page,
        answer: said::answer(profile),
        steps: said::steps(profile),
        bounds: said::bounds(profile),
    };
    Ok(EditingPage { sheet: &sheet }.render()?)
}
