//! `lightloss plan`.

use crate::cli::PlanArgs;
use crate::commands::console::Console;
use crate::commands::output::write_all;
use crate::error::{Done, Failure};
use crate::exposure::{self, GivenTime};
use crate::field::plan::{Plan, Request};
use crate::field::wall_plan::WallPlan;
use crate::profile::Kind;
use crate::quantity::Millimetres;
use crate::report::{plan_page, target_page, wall_page};
use crate::shoot_file::FILE_NAME;
use crate::text::one_line;
use std::ffi::OsStr;
use std::path::Path;

/// Name of the page of a filter's plan.
const PAGE: &str = "plan.html";
/// Name of the page of a camera record's plan.
const WALL: &str = "wall-plan.html";
/// Name of the page with the target.
const TARGET: &str = "target.html";

/// Whether a file of this name is a page that a plan was written with.
#[must_use]
pub fn is_page(name: &OsStr) -> bool {
    [PAGE, WALL, TARGET].iter().any(|page| name == *page)
}

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(args: &PlanArgs, console: &mut Console) -> Result<Done, Failure> {
    // The command line has seen to it that one of the two is there.
    match args.kind {
        Some(kind) => of_filter(args, kind, console),
        None => of_wall(args, console),
    }
}

fn time(given: Option<&str>) -> Result<Option<GivenTime>, Failure> {
    given.map(exposure::parse_time).transpose().map_err(Failure::usage)
}

fn of_wall(args: &PlanArgs, console: &mut Console) -> Result<Done, Failure> {
    let longest = time(args.longest.as_deref())?;
    let plan = WallPlan::of(time(args.metered.as_deref())?, longest).map_err(Failure::usage)?;
    let mut text = wall_page::text(&plan);
    if let Some(folder) = &args.out {
        let files = [(WALL.into(), wall_page::page(&plan)?)];
        write_all::<&Path, _>(folder, &files, args.replace, &[])?;
        text.push_str(&format!("{}\n", folder.join(WALL).display()));
    }
    console.print(&text)?;
    Ok(Done::Clean)
}

fn of_filter(args: &PlanArgs, kind: Kind, console: &mut Console) -> Result<Done, Failure> {
    let rating = args.rated.as_deref().map(exposure::parse_rating).transpose();
    let rating = rating.map_err(Failure::usage)?;
    let told = |rating: &exposure::Rating| rating.said.clone().or_else(|| rating.doubtful());
    if let Some(said) = rating.as_ref().and_then(told) {
        console.warn(&format!("note: {said}"));
    }
    let plan = Plan::of(Request {
        kind,
        rating,
        metered: time(args.metered.as_deref())?,
        marks: args.marks.iter().map(|mark| one_line(mark)).collect(),
        name: args.name.as_deref().map(one_line),
        slot: args.slot,
        focal: args.focal.iter().copied().map(Millimetres::new).collect(),
    })
    .map_err(Failure::usage)?;
    let mut text = plan_page::text(&plan);
    if args.sharpness {
        text.push_str(&target_page::text());
    }
    if let Some(folder) = &args.out {
        let document = plan.shoot_file().to_text()?;
        let mut files = vec![(PAGE.into(), plan_page::page(&plan)?), (FILE_NAME.into(), document)];
        if args.sharpness {
            files.push((TARGET.into(), target_page::page()?));
        }
        write_all::<&Path, _>(folder, &files, args.replace, &[])?;
        text.push_str(&format!(
            "Put {FILE_NAME} into the folder with the frames; measure reads it.\n{}\n",
            folder.join(PAGE).display()
        ));
        if args.sharpness {
            text.push_str(&format!("{}\n", folder.join(TARGET).display()));
        }
    }
    console.print(&text)?;
    Ok(Done::Clean)
}
