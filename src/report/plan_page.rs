//! The plan in words: for the terminal, and as a page to print and tick off.

use super::lines::wrapped;
use crate::field::plan::{Plan, Shot};
use crate::safety;
use crate::say::figures::significant;
use crate::say::habits;
use crate::say::plan::{light, total, unit, what};
use crate::shoot_file::ShotState;
use askama::Template;

#[derive(Template)]
#[template(path = "plan.html")]
struct Page<'a> {
    plan: &'a Plan,
    sun: String,
    light: Vec<String>,
    rows: Vec<ShotRow>,
    indoors: &'a [&'a str],
    total: String,
}

/// One row of the shot list.
struct ShotRow {
    order: usize,
    what: String,
    time: String,
    count: u32,
    level: String,
    reason: String,
}

/// The page to print.
///
/// # Errors
/// Where the template cannot be written, which does not happen to a string.
pub fn page(plan: &Plan) -> Result<String, askama::Error> {
    Page {
        plan,
        sun: sun(plan),
        light: light(plan),
        rows: rows(plan),
        indoors: &habits::INDOORS,
        total: total(plan),
    }
    .render()
}

/// The plan for the terminal, at most 79 wide.
#[must_use]
pub fn text(plan: &Plan) -> String {
    let mut out = format!("{}\n\n", total(plan));
    for sentence in light(plan) {
        out.push_str(&wrapped("", &sentence));
    }
    out.push_str("\n  #  what                         time         n  why\n");
    for row in rows(plan) {
        let head =
            format!("{:>3}  {:<27}  {:<11} {:>2}  ", row.order, row.what, row.time, row.count);
        out.push_str(&wrapped(&head, &row.reason));
    }
    out.push_str("\nSee to:\n");
    for line in &plan.checklist {
        out.push_str(&wrapped("  - ", &format!("{} Why: {}", line.what, line.why)));
    }
    out.push_str("\nMeanwhile:\n");
    out.push_str(&wrapped("  ", &habits::INDOORS.join(" ")));
    out.push('\n');
    out.push_str(&wrapped("", &sun(plan)));
    out
}

fn sun(plan: &Plan) -> String {
    safety::text(safety::full_warning_needed(plan.strongest, &plan.name))
}

fn rows(plan: &Plan) -> Vec<ShotRow> {
    let row = |(i, shot): (usize, &Shot)| ShotRow {
        order: i + 1,
        what: what(shot),
        time: if shot.time.bulb { shot.time.text.clone() } else { unit(&shot.time.text) },
        count: shot.count,
        level: match shot.state {
            ShotState::Dark | ShotState::Leak => "\u{2013}".to_owned(),
            _ => level(shot.time.level),
        },
        reason: shot.reason.clone(),
    };
    plan.shots.iter().enumerate().map(row).collect()
}

/// A share of full scale in percent; what is less than one keeps a figure.
fn level(share: f64) -> String {
    let percent = 100.0 * share;
    if percent < 0.95 {
        format!("{} %", significant(percent, 1))
    } else {
        format!("{percent:.0} %")
    }
}

#[cfg(test)]
mod tests {
    use super::level;

    #[test]
    fn a_faint_level_is_not_none() {
        assert_eq!(level(0.004_2), "0.4 %");
        assert_eq!(level(0.009_6), "1 %");
        assert_eq!(level(0.347), "35 %");
    }
}
