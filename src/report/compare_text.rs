//! A comparison as a terminal shows it, at most 80 columns wide.

use super::lines::wrapped;
use crate::compare::{Comparison, Difference};
use crate::profile::Profile;
use crate::rounding;
use crate::say::comparison as said;
use crate::say::figures::plain;

/// The answer, the differences, what is shared; `bold` for the answer.
#[must_use]
pub fn compare_text(
    first: &Profile,
    second: &Profile,
    comparison: &Comparison,
    bold: bool,
) -> String {
    let mut out = String::new();
    let lead = plain(&said::answer(comparison));
    let lead = wrapped("", &lead);
    out.push_str(&if bold { format!("\u{1b}[1m{}\u{1b}[0m\n", lead.trim_end()) } else { lead });
    out.push_str(&wrapped("", &format!("First: {}", first.filter.name)));
    out.push_str(&wrapped("", &format!("Second: {}", second.filter.name)));
    out.push('\n');
    out.push_str(&format!("{:<19}{:>9}{:>9}  second - first\n", "", "first", "second"));
    let mut line = |name: &str, difference: &Difference| {
        let places = rounding::places(difference.u95);
        let show = said::shows(difference);
        out.push_str(&format!(
            "{name:<19}{:>9}{:>9}  {:<20} {show}\n",
            rounding::fixed(difference.first, places),
            rounding::fixed(difference.second, places),
            format!(
                "{} +- {}",
                rounding::signed(difference.difference, places),
                rounding::fixed(difference.u95, places)
            ),
        ));
    };
    if let [one] = comparison.settings.as_slice() {
        line("strength, stops", &one.strength);
        for (name, channel) in ["red", "green", "blue"].iter().zip(&one.channels) {
            line(name, channel);
        }
        line("red minus green", &one.red_green);
        line("blue minus green", &one.blue_green);
        if let Some(mired) = &one.mired {
            line("shift, mired", mired);
        }
    } else {
        for setting in &comparison.settings {
            let mark = setting.mark.as_deref().unwrap_or("-");
            line(&format!("mark {mark}, stops"), &setting.strength);
        }
    }
    if let Some(leak) = &comparison.leak {
        out.push('\n');
        out.push_str(&wrapped("", &plain(&said::leak_sentence(leak))));
    }
    out.push('\n');
    for row in &comparison.shared {
        let word = said::sameness(row.sameness);
        out.push_str(&wrapped("  ", &format!("{} {word}: {}.", row.what, row.meaning)));
    }
    out
}
