//! One filter on one side of paper, from parts of the report: for a purchase or a return claim, measurement,
//! uncertainty, cast and map; for editing what to set.

use super::page::{ReportError, viewed};
use super::view::evenness::MapView;
use super::view::{Drawings, PageView};
use crate::profile::Profile;
use crate::say::{editing, sheet as said};
use askama::Template;

/// Maps that a side has room for.
const MAPS: usize = 2;

/// What the sheet adds to the report's parts.
struct SheetView {
    page: PageView,
    claim: String,
    maps: Vec<MapView>,
    history: Option<String>,
    hash: Option<String>,
}

#[derive(Template)]
#[template(path = "sheet.html")]
struct SheetPage<'a> {
    sheet: &'a SheetView,
}

/// The sheet of a profile: one page, nothing outside it. `history` says what has changed since the
/// first measurement, `hash` is the SHA-256 of the profile's file.
///
/// # Errors
/// Where the profile holds no setting, or the template refuses.
pub fn sheet_page(
    profile: &Profile,
    history: Option<String>,
    hash: Option<String>,
) -> Result<String, ReportError> {
    let mut drawings = Drawings::default();
    let mut page = viewed(profile, &mut drawings)?;
    let all = page.evenness.as_mut().map(|e| std::mem::take(&mut e.maps)).unwrap_or_default();
    let maps = chosen(all, said::map_of(profile));
    let sheet = SheetView { claim: said::claim(profile), page, maps, history, hash };
    Ok(SheetPage { sheet: &sheet }.render()?)
}

/// The map of the setting that is told of, and the darkest one.
fn chosen(maps: Vec<MapView>, told: usize) -> Vec<MapView> {
    let last = maps.len().saturating_sub(1);
    let wanted = |index: usize| index == told || index == last;
    let kept = maps.into_iter().enumerate().filter(|(index, _)| wanted(*index));
    kept.map(|(_, map)| map).take(MAPS).collect()
}

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
        answer: editing::answer(profile),
        steps: editing::steps(profile),
        bounds: editing::bounds(profile),
    };
    Ok(EditingPage { sheet: &sheet }.render()?)
}
