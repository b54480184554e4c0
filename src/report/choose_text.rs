//! The choice of a filter for the terminal.

use super::lines::{self, rows, wrapped};
use crate::exposure::sentence_text;
use crate::field::choose::{Choice, Question};
use crate::kit::Kit;
use crate::profile::Kind;
use crate::safety;
use crate::say::choice::{self, made_up};
use crate::say::{figures, habits};
use comfy_table::Table;

/// Rows that are printed.
const MOST: usize = 8;
/// Times from here on leave room for a wave, in seconds.
const MINUTES_S: f64 = 60.0;

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
    out.push_str(&format!("{}\n", wrapped("", &choice::best(best, question, metered))));
    let shown = &choices[..choices.len().min(MOST)];
    let table = table(shown);
    let mut rows = rows(&table).map(|line| format!(" {line}"));
    out.extend(rows.next());
    for (choice, row) in shown.iter().zip(rows) {
        out.push_str(&row);
        for doubt in &choice.cautions {
            out.push_str(&wrapped("      ", &choice::doubt(doubt)));
        }
    }
    if choices.len() > MOST {
        out.push_str(&wrapped("  ", &choice::more(choices.len() - MOST, question)));
    }
    out.push('\n');
    out.push_str(&special(kit));
    let effects: Vec<String> =
        habits::EFFECTS.iter().map(|(what, time)| format!("{what} {time}")).collect();
    let usual = format!("Usual times (common practice): {}.", effects.join(", "));
    out.push_str(&wrapped("", &usual));
    if shown.iter().any(|choice| choice.time.get() >= MINUTES_S) {
        out.push_str(&wrapped("By the sea: ", habits::SEA_SHORT));
    }
    out.push_str(&wrapped("", safety::SUN_SHORT));
    let dangerous = |c: &Choice| c.names.iter().any(|n| safety::full_warning_needed(c.stops, n));
    if shown.iter().any(dangerous) {
        out.push_str(&wrapped("", safety::SUN_FULL));
    }
    out
}

fn table(choices: &[Choice]) -> Table {
    let mut table = lines::table(["time", "to make up", "stops", "filter"]);
    for choice in choices {
        table.add_row([
            sentence_text(choice.time),
            made_up(choice.thirds),
            figures::plain(&figures::in_hundredths(choice.stops, choice.u95)),
            choice.names.join(" + "),
        ]);
    }
    table
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
