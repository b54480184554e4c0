//! The page of a comparison: the answer, the two on one ruler, what differs by how much, what both
//! measurements share.

mod figures;
mod tables;
mod view;

use super::page::{ReportError, ReportFiles};
use super::view::Drawings;
use crate::compare::Comparison;
use crate::profile::Profile;
use askama::Template;
pub use view::CompareView;

#[derive(Template)]
#[template(path = "compare.html")]
struct ComparePage<'a> {
    page: &'a CompareView,
}

/// The page of a comparison and its drawings.
///
/// # Errors
/// Where the template refuses.
pub fn compare_page(
    first: &Profile,
    second: &Profile,
    comparison: &Comparison,
) -> Result<ReportFiles, ReportError> {
    let mut drawings = Drawings::default();
    let view = view::build(first, second, comparison, &mut drawings);
    let html = ComparePage { page: &view }.render()?;
    Ok(ReportFiles { html, plots: drawings.files })
}
