//! The view model of a comparison: ready strings and drawings.

use super::figures::{difference_ruler, maps, strengths};
use super::tables::{shared, tables};
use crate::compare::Comparison;
use crate::profile::{Grade, Profile};
use crate::report::table::Table;
use crate::report::view::{self, Drawings, Figure};
use crate::say::{cautions, comparison as said};

/// The whole page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CompareView {
    /// Both names.
    pub title: String,
    /// What each is: "First" or "Second", and a line.
    pub sides: Vec<(String, String)>,
    /// The answer.
    pub answer: String,
    /// Both on one ruler.
    pub strengths: Figure,
    /// Differences on a ruler with zero in the middle.
    pub differences: Figure,
    /// In figures.
    pub tables: Vec<Table>,
    /// Sentences on marks that only one has.
    pub only_in_one: Vec<String>,
    /// The red-leak check.
    pub leak: Option<String>,
    /// Maps of differences: heading and map.
    pub maps: Vec<(String, Figure)>,
    /// Their scale.
    pub legend: Option<Figure>,
    /// What is shared.
    pub shared: Table,
    /// Cautions on the numbers of either.
    pub cautions: Vec<(String, String)>,
    /// What could not be drawn.
    pub failures: Vec<String>,
    /// The sun.
    pub safety: Vec<String>,
}

/// Builds the page.
pub fn build(
    first: &Profile,
    second: &Profile,
    comparison: &Comparison,
    drawings: &mut Drawings,
) -> CompareView {
    let labels = said::labels(first, second);
    let strengths = strengths(first, second, comparison, &labels, drawings);
    let differences = difference_ruler(comparison, &labels, drawings);
    let (maps, legend) = maps(comparison, drawings);
    let mut safety = view::sun(first);
    safety.extend(view::sun(second).into_iter().filter(|text| !view::sun(first).contains(text)));
    let title = if first.filter.name == second.filter.name {
        format!("{}, twice", first.filter.name)
    } else {
        format!("{} and {}", first.filter.name, second.filter.name)
    };
    let side = |profile: &Profile| format!("{}. {}.", profile.filter.name, view::identity(profile));
    CompareView {
        title,
        sides: vec![("First".to_owned(), side(first)), ("Second".to_owned(), side(second))],
        answer: said::answer(comparison, &labels),
        strengths,
        differences,
        tables: tables(comparison, first.filter.kind),
        only_in_one: said::only_in_one(comparison),
        leak: comparison.leak.as_ref().map(said::leak_sentence),
        maps,
        legend,
        shared: shared(comparison),
        cautions: [("first", first), ("second", second)]
            .into_iter()
            .flat_map(|(which, profile)| {
                let told = cautions::of_grade(profile, Grade::Number).into_iter();
                told.map(move |told| {
                    let about = [which, told.about.as_str()];
                    let about: Vec<&str> = about.into_iter().filter(|a| !a.is_empty()).collect();
                    (about.join(", "), told.text.replace('\n', " "))
                })
            })
            .collect(),
        failures: drawings.failures.clone(),
        safety,
    }
}
