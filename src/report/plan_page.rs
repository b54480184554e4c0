//! The plan in words: for the terminal, and as a page to print and tick off.

use crate::field::plan::{Plan, Shot};
use crate::field::words;
use crate::profile::Kind;
use crate::safety;
use crate::shoot_file::ShotState;
use askama::Template;

/// Widest line of the terminal.
const WIDTH: usize = 79;

#[derive(Template)]
#[template(path = "plan.html")]
struct Page<'a> {
    plan: &'a Plan,
    sun: &'a str,
    light: Vec<String>,
    rows: Vec<Row>,
    dusk: &'a [&'a str],
    total: String,
}

/// One row of the shot list.
struct Row {
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
        dusk: &words::DUSK,
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
    out.push_str("\n  #  what                         time       n  why\n");
    for row in rows(plan) {
        let head =
            format!("{:>3}  {:<27}  {:<9} {:>2}  ", row.order, row.what, row.time, row.count);
        out.push_str(&wrapped(&head, &row.reason));
    }
    out.push_str("\nSee to:\n");
    for line in &plan.checklist {
        out.push_str(&wrapped("  - ", &format!("{} Why: {}", line.what, line.why)));
    }
    out.push_str("\nDusk and long times:\n");
    out.push_str(&wrapped("  ", &words::DUSK.join(" ")));
    out.push('\n');
    out.push_str(&wrapped("", sun(plan)));
    out
}

/// A text in lines of at most 79, each after the first set in as far as the head is wide.
#[must_use]
pub fn wrapped(head: &str, text: &str) -> String {
    let mut lines = vec![head.to_owned()];
    let indent = head.chars().count();
    for word in text.split_whitespace() {
        let length = lines.last().map_or(0, |line| line.chars().count());
        if length + word.chars().count() > WIDTH && length > indent {
            lines.push(" ".repeat(indent));
        }
        if let Some(line) = lines.last_mut() {
            if line.chars().count() > indent {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines.iter().map(|line| format!("{}\n", line.trim_end())).collect()
}

fn sun(plan: &Plan) -> &'static str {
    if safety::full_warning_needed(plan.strongest, &plan.name) {
        safety::SUN_FULL
    } else {
        safety::SUN_SHORT
    }
}

fn total(plan: &Plan) -> String {
    let minutes = (plan.duration().get() / 60.0).ceil();
    format!("{}: {} frames, about {minutes:.0} minutes.", plan.name, plan.frames())
}

/// What to do about the light, sentence by sentence.
fn light(plan: &Plan) -> Vec<String> {
    let light = &plan.light;
    let mut said = vec![format!(
        "At the aperture and ISO of the shoot the meter should read {} without the filter; the \
         bare frames then get {}, two stops more than metered, near half of full scale.",
        unit(&light.reading),
        unit(&light.bare.text)
    )];
    if light.brighten_thirds > 0 {
        said.push(format!(
            "That is {} brighter than your reading, in which one frame would take longer than four \
             minutes: a wider aperture, a higher ISO or a brighter wall, set before the first frame \
             and then left.",
            in_thirds(light.brighten_thirds)
        ));
    }
    match light.darken_thirds {
        0 => {}
        n => said.push(format!(
            "That is {} darker than your reading: close the aperture, lower the ISO or dim the \
             light before the first frame, since a shorter shutter time is less exact.",
            in_thirds(n)
        )),
    }
    match &light.too_dim {
        None => {}
        Some(Some((reading, n))) => said.push(format!(
            "The filtered frames need more than 30 s in this light. For 30 s the meter would have \
             to read {}, {} brighter: a wider aperture, a higher ISO or a brighter wall, set before \
             the first frame and then left.",
            unit(reading),
            in_thirds(*n)
        )),
        Some(None) => said.push(
            "No light makes this filter a 30 s exposure at the level of a bare frame of 1/250, so \
             its frames are timed on bulb; the brighter the light, the shorter."
                .to_owned(),
        ),
    }
    said.push(dial(plan));
    if plan.request.kind == Kind::Graduated {
        said.push(
            "A graduated filter keeps the bare time: its clear end is as bright as no filter."
                .to_owned(),
        );
    }
    said
}

fn dial(plan: &Plan) -> String {
    let doubt = plan.light.dial_doubt.get();
    let rest = if doubt < 0.005 {
        "for this pair it makes no difference whether your camera does.".to_owned()
    } else {
        format!("if yours keeps the times as shown, this pair is off by {doubt:.2} stop.")
    };
    format!("Times are those of the dial; behind 1/30 stands 1/32 s, behind 30 s 32 s: {rest}")
}

/// "2/3 stop", "1 stop", "1 1/3 stops".
pub(super) fn in_thirds(thirds: i32) -> String {
    let (whole, part) = (thirds / 3, thirds % 3);
    match (whole, part) {
        (0, part) => format!("{part}/3 stop"),
        (1, 0) => "1 stop".to_owned(),
        (whole, 0) => format!("{whole} stops"),
        (whole, part) => format!("{whole} {part}/3 stops"),
    }
}

fn unit(time: &str) -> String {
    format!("{time} s")
}

fn rows(plan: &Plan) -> Vec<Row> {
    let row = |(i, shot): (usize, &Shot)| Row {
        order: i + 1,
        what: what(shot),
        time: if shot.time.bulb { shot.time.text.clone() } else { unit(&shot.time.text) },
        count: shot.count,
        level: match shot.state {
            ShotState::Dark | ShotState::Leak => "\u{2013}".to_owned(),
            _ => format!("{:.0} %", 100.0 * shot.time.level),
        },
        reason: shot.reason.clone(),
    };
    plan.shots.iter().enumerate().map(row).collect()
}

fn what(shot: &Shot) -> String {
    let state = match shot.state {
        ShotState::Bare => "bare",
        ShotState::Filtered => "filter",
        ShotState::Dark => "dark",
        ShotState::Leak => "leak",
        ShotState::LightCheck => "light check",
        ShotState::Cloth => "cloth",
    };
    let mut said = state.to_owned();
    if let Some(mark) = &shot.mark {
        said.push_str(&format!(", mark {mark}"));
    }
    if let Some(rotation) = shot.rotation {
        said.push_str(&format!(", at {:.0}\u{b0}", rotation.get()));
    }
    if let Some(focal) = shot.focal {
        said.push_str(&format!(", {:.0} mm", focal.get()));
    }
    said
}
