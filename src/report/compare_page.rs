//! A comparison as a page, and as a terminal shows it: the answer, the two on one ruler, what differs by how
//! much, what both measurements share.

mod figures;
mod tables;
mod view;
pub use view::CompareView;

use super::lines::{answer, wrapped};
use super::view::Drawings;
use super::{ReportError, ReportFiles};
use crate::compare::Comparison;
use crate::profile::Profile;
use crate::rounding;
use crate::say::comparison as said;
use crate::say::figures::{plain, sentence, signed_with_doubt};
use askama::Template;

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

/// The answer, the differences, what is shared, at most 80 columns wide; `bold` for the answer.
#[must_use]
pub fn compare_text(
    first: &Profile,
    second: &Profile,
    comparison: &Comparison,
    bold: bool,
) -> String {
    let mut out = String::new();
    let labels = said::labels(first, second);
    out.push_str(&answer(&plain(&said::answer(comparison, &labels)), bold));
    out.push_str(&wrapped("", &format!("First: {}", said::titled(&labels[0], first))));
    out.push_str(&wrapped("", &format!("Second: {}", said::titled(&labels[1], second))));
    out.push('\n');
    out.push_str(&format!("{:<26}{:>9}{:>9}  second - first\n", "", "first", "second"));
    for (name, difference) in said::rows(comparison, first.filter.kind) {
        let places = rounding::places(difference.u95);
        out.push_str(&format!(
            "{:<26}{:>9}{:>9}  {:<21} {}\n",
            plain(&name),
            rounding::fixed(difference.first, places),
            rounding::fixed(difference.second, places),
            plain(&signed_with_doubt(difference.difference, difference.u95)),
            said::shows(&difference)
        ));
    }
    for (name, [first, second]) in said::evenness(comparison) {
        let sides = format!("first {first}; second {second}");
        out.push_str(&wrapped("", &format!("Unevenness, {}: {sides}.", name.to_lowercase())));
    }
    for sentence in said::only_in_one(comparison) {
        out.push_str(&wrapped("", &sentence));
    }
    if let Some(leak) = &comparison.leak {
        out.push('\n');
        out.push_str(&wrapped("", &plain(&said::leak_sentence(leak))));
    }
    out.push('\n');
    for row in &comparison.shared {
        let word = said::sameness(row.sameness);
        out.push_str(&wrapped("", &sentence(&format!("{}, {word}: {}.", row.what, row.meaning))));
    }
    out
}
