//! The choice of a filter for the terminal.

use super::lines::wrapped;
use crate::exposure::sentence_text;
use crate::field::choose::{Choice, Question};
use crate::kit::Kit;
use crate::profile::Kind;
use crate::quantity::Stops;
use crate::safety;
use crate::say::choice::{self, made_up};
use crate::say::{figures, habits};

/// Rows that are printed.
const MOST: usize = 8;

/// The answer: the best first, then the table, cautions, footnotes.
#[must_use]
pub fn text(kit: &Kit, question: &Question, metered: &str, choices: &[Choice]) -> String {
    let mut out = String::new();
    let Some(best) = choices.first() else {
        return format!(
            "No filter of this kit multiplies a time.\n{}{}",
            special(kit),
            wrapped("", safety::SUN_SHORT)
        );
    };
    out.push_str(&format!("{}\n\n", choice::best(best, question, metered)));
    out.push_str("  time          to make up          stops          filter\n");
    for choice in choices.iter().take(MOST) {
        out.push_str(&row(choice));
        for doubt in &choice.cautions {
            out.push_str(&wrapped("      ", &choice::doubt(doubt)));
        }
    }
    if choices.len() > MOST {
        out.push_str(&format!("  and {} more, farther off\n", choices.len() - MOST));
    }
    out.push('\n');
    out.push_str(&special(kit));
    let effects: Vec<String> =
        habits::EFFECTS.iter().map(|(what, time)| format!("{what} {time}")).collect();
    let usual = format!("Usual times (common practice): {}.", effects.join(", "));
    out.push_str(&wrapped("", &usual));
    out.push_str(&wrapped("", sun(kit, choices)));
    out
}

fn sun(kit: &Kit, choices: &[Choice]) -> &'static str {
    let shown = choices.iter().take(MOST);
    let strongest = shown.map(|c| c.stops.get()).fold(kit.strongest().get(), f64::max);
    safety::text(Stops::new(strongest), kit.filters.iter().map(|p| p.filter.name.as_str()))
}

fn row(choice: &Choice) -> String {
    let strength = figures::plain(&figures::in_hundredths(choice.stops, choice.u95));
    format!(
        "  {:<12}  {:<18}  {strength:<13}  {}\n",
        sentence_text(choice.time),
        made_up(choice.thirds),
        choice.names.join(" + ")
    )
}

fn special(kit: &Kit) -> String {
    let mut said = String::new();
    if kit.has(Kind::Polariser) {
        said.push_str(&wrapped("Polariser: ", habits::POLARISER));
    }
    if kit.has(Kind::Graduated) {
        said.push_str(&wrapped("Graduated filter: ", habits::GRADUATED));
    }
    said
}
