//! The plan of a camera record: for the terminal, and as a page to print and tick off.

use super::lines::wrapped;
use crate::field::wall_plan::{LIGHTS, WallLevel, WallPlan};
use crate::say::wall;
use askama::Template;

#[derive(Template)]
#[template(path = "wall.html")]
struct WallPage<'a> {
    total: String,
    light: Vec<String>,
    levels: Vec<LevelView>,
    lamps: String,
    way_of_lamps: String,
    of_light: [&'static str; LIGHTS],
    of_lamps: Vec<&'static str>,
    darks: Vec<&'static str>,
    darks_before: String,
    darks_after: String,
    see_to: &'a [(&'a str, &'a str)],
}

/// One light level.
struct LevelView {
    number: usize,
    set: String,
    way: String,
    down: Vec<&'static str>,
    up: Vec<&'static str>,
}

/// The page to print.
///
/// # Errors
/// Where the template cannot be written, which does not happen to a string.
pub fn page(plan: &WallPlan) -> Result<String, askama::Error> {
    let level = |(n, level): (usize, &WallLevel)| {
        let down: Vec<&'static str> = level.times.iter().map(|t| t.text()).collect();
        let up = down.iter().rev().copied().collect();
        LevelView { number: n + 1, set: wall::set(level), way: wall::way(level), down, up }
    };
    WallPage {
        total: wall::total(plan),
        light: wall::light(plan),
        levels: plan.levels.iter().enumerate().map(level).collect(),
        lamps: wall::lamps(plan),
        way_of_lamps: wall::way_of_lamps(plan),
        of_light: wall::OF_LIGHT,
        of_lamps: plan.lamps.iter().map(|t| t.text()).collect(),
        darks: plan.darks.iter().map(|t| t.text()).collect(),
        darks_before: wall::darks_before(plan),
        darks_after: wall::darks_after(plan),
        see_to: &wall::SEE_TO,
    }
    .render()
}

/// The plan for the terminal, at most 79 wide.
#[must_use]
pub fn text(plan: &WallPlan) -> String {
    let mut out = format!("{}\n\n", wall::total(plan));
    for sentence in wall::light(plan) {
        out.push_str(&wrapped("", &sentence));
    }
    out.push_str(&wrapped("", &wall::darks_before(plan)));
    for (n, level) in plan.levels.iter().enumerate() {
        out.push('\n');
        out.push_str(&wrapped(&format!("{:>3}  ", n + 1), &wall::set(level)));
        out.push_str(&wrapped("     ", &wall::way(level)));
        out.push_str(&wrapped("     ", &wall::along(&level.times)));
    }
    let after = plan.levels.len() + 1;
    out.push('\n');
    out.push_str(&wrapped(&format!("{after:>3}  "), &wall::lamps(plan)));
    out.push_str(&wrapped("     ", &wall::way_of_lamps(plan)));
    out.push('\n');
    out.push_str(&wrapped(&format!("{:>3}  ", after + 1), &wall::darks_after(plan)));
    out.push_str("\nSee to:\n");
    for (what, why) in wall::SEE_TO {
        out.push_str(&wrapped("  - ", &format!("{what} Why: {why}")));
    }
    out.push_str("\nAfterwards: lightloss camera FOLDER\n");
    out
}
