//! From a profile to the page and its files.

use super::small_picture::FramePictures;
use super::view::{self, Drawings, PageView};
use crate::profile::Profile;
use askama::Template;

/// What `report` writes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReportFiles {
    /// The page: one file, nothing outside it.
    pub html: String,
    /// Name and text of each drawing, for a folder `plots`.
    pub plots: Vec<(String, String)>,
}

/// Why there is no page.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// A profile without a setting.
    #[error("the profile of {name:?} holds no measured setting; measure the filter again")]
    NoSetting {
        /// The filter.
        name: String,
    },
    /// The template refused.
    #[error("the page could not be put together: {0}")]
    Template(#[from] askama::Error),
}

#[derive(Template)]
#[template(path = "report.html")]
struct ReportPage<'a> {
    page: &'a PageView,
}

#[derive(Template)]
#[template(path = "report_body.html")]
struct ReportBody<'a> {
    page: &'a PageView,
}

/// All parts of the page of a profile.
///
/// # Errors
/// Where the profile holds no setting.
pub(super) fn viewed(profile: &Profile, drawings: &mut Drawings) -> Result<PageView, ReportError> {
    view::build(profile, drawings)
        .ok_or_else(|| ReportError::NoSetting { name: profile.filter.name.clone() })
}

/// What stands on the page of a profile, without the page around it.
///
/// # Errors
/// Where the profile holds no setting.
pub fn body(profile: &Profile, pictures: FramePictures) -> Result<String, ReportError> {
    let view = viewed(profile, &mut Drawings { pictures, ..Drawings::default() })?;
    Ok(ReportBody { page: &view }.render()?)
}

/// The page of a profile. A drawing that fails becomes a caution on the page.
///
/// # Errors
/// Where the profile holds no setting.
pub fn page(profile: &Profile) -> Result<ReportFiles, ReportError> {
    page_with(profile, FramePictures::new())
}

/// The same with small pictures of the frames in its table of them.
///
/// # Errors
/// As [`page`].
pub fn page_with(profile: &Profile, pictures: FramePictures) -> Result<ReportFiles, ReportError> {
    let mut drawings = Drawings { pictures, ..Drawings::default() };
    let view = viewed(profile, &mut drawings)?;
    let html = ReportPage { page: &view }.render()?;
    Ok(ReportFiles { html, plots: drawings.files })
}
