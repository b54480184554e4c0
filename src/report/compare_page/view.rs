//! The view model of a comparison: ready strings and drawings.

use super::figures::{difference_ruler, maps, strengths};
use super::tables::{shared, tables};
use crate::compare::leak::{LEAK_BELOW, RedLeak, Verdict};
use crate::compare::{Comparison, Difference, SettingDifference};
use crate::profile::{Grade, Profile};
use crate::report::table::Table;
use crate::report::view::words::{self, fixed, signed, unit};
use crate::report::view::{self, Drawings, Figure};

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
    pub lonely: Vec<String>,
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
    let strengths = strengths(first, second, comparison, drawings);
    let differences = difference_ruler(comparison, drawings);
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
        answer: answer(comparison),
        strengths,
        differences,
        tables: tables(comparison, first.filter.kind),
        lonely: lonely(comparison),
        leak: comparison.leak.as_ref().map(leak_sentence),
        maps,
        legend,
        shared: shared(comparison),
        cautions: [("first", first), ("second", second)]
            .into_iter()
            .flat_map(|(which, profile)| {
                let cautions = view::cautions(profile, Grade::Number).into_iter();
                cautions.map(move |caution| {
                    let about = [which.to_owned(), caution.about];
                    let about: Vec<String> = about.into_iter().filter(|a| !a.is_empty()).collect();
                    (about.join(", "), caution.lines.join(" "))
                })
            })
            .collect(),
        failures: drawings.failures.clone(),
        safety,
    }
}

/// What the comparison comes to, in a sentence or two.
#[must_use]
pub fn answer(comparison: &Comparison) -> String {
    if let Some(graduation) = &comparison.graduation {
        let [a, b] = graduation.dark_end;
        let difference = b - a;
        let way = if difference.get() < 0.0 { "less" } else { "more" };
        return format!(
            "The second's dark end takes {} {} {way} than the first's.",
            fixed(difference.abs().get(), 2),
            unit(difference.get())
        );
    }
    match comparison.settings.as_slice() {
        [one] => one_answer(&one.strength),
        many => many_answer(many),
    }
}

fn one_answer(strength: &Difference) -> String {
    let places = crate::rounding::places(strength.u95);
    let size = fixed(strength.difference.abs(), places);
    let doubt = crate::rounding::fixed(strength.u95, places);
    let way = if strength.difference < 0.0 { "less" } else { "more" };
    if strength.shows() {
        let unit = unit(strength.difference);
        format!("The second takes {size}\u{a0}\u{b1}\u{a0}{doubt} {unit} {way} than the first.")
    } else {
        format!(
            "No difference shows: the second takes {size}\u{a0}\u{b1}\u{a0}{doubt} stop {way} than the first."
        )
    }
}

fn many_answer(settings: &[SettingDifference]) -> String {
    let differing: Vec<&SettingDifference> =
        settings.iter().filter(|s| s.strength.shows()).collect();
    let largest = settings
        .iter()
        .max_by(|a, b| a.strength.difference.abs().total_cmp(&b.strength.difference.abs()));
    let Some(largest) = largest else { return String::new() };
    let count = match differing.len() {
        0 => format!("No difference shows at any of {} marks", settings.len()),
        n if n == settings.len() => "All marks differ by more than their doubt".to_owned(),
        1 => format!("1 of {} marks differs by more than its doubt", settings.len()),
        n => format!("{n} of {} marks differ by more than their doubt", settings.len()),
    };
    format!(
        "{count}; the largest difference is {} stop at mark {}.",
        words::signed_with_doubt(largest.strength.difference, largest.strength.u95),
        largest.mark.as_deref().unwrap_or("\u{2013}")
    )
}

/// What the red-leak check says, and what it can say.
#[must_use]
pub fn leak_sentence(leak: &RedLeak) -> String {
    let x = words::signed_with_doubt(leak.x, leak.u95);
    let limit = signed(LEAK_BELOW, 2);
    let lead = format!(
        "Red against green, tungsten light minus white light, comes to x = {x} stop (a leak shows \
         below {limit})."
    );
    if !leak.same_model {
        return format!(
            "{lead} The two were measured with different cameras, or with unknown ones, so x says \
             nothing of the filter."
        );
    }
    let follows = match leak.verdict {
        Verdict::Leak => {
            "The filter lets far red through: it looks weaker and warmer in lamp light than in \
             daylight, and casts measured under lamps do not hold outdoors."
        }
        Verdict::Undecided => {
            "The doubt reaches across that limit: more frames under each light would decide it."
        }
        Verdict::NoSign => {
            "There is no sign of a far-red leak. A camera that cuts far red itself could not show one."
        }
    };
    format!("{lead} {follows}")
}

fn lonely(comparison: &Comparison) -> Vec<String> {
    let sentence = |which: &str, marks: &[String]| {
        let plural = if marks.len() == 1 { "Mark" } else { "Marks" };
        (!marks.is_empty())
            .then(|| format!("{plural} {} stand in the {which} profile only.", marks.join(", ")))
    };
    let both =
        [sentence("first", &comparison.only_first), sentence("second", &comparison.only_second)];
    both.into_iter().flatten().collect()
}
