//! `lightloss plan`.

use crate::cli::{KindArg, PlanArgs};
use crate::commands::console::Console;
use crate::commands::kit::write_all;
use crate::error::{Done, Failure};
use crate::exposure;
use crate::field::plan::{Plan, Request};
use crate::profile::Kind;
use crate::quantity::Millimetres;
use crate::report::plan_page;
use crate::shoot_file::FILE_NAME;

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(args: &PlanArgs, console: &mut Console) -> Result<Done, Failure> {
    let rating = exposure::parse_rating(&args.rated).map_err(|error| wrong(&error))?;
    let metered = args.metered.as_deref().map(exposure::parse_time).transpose();
    if let Some(said) = &rating.said {
        console.complain(&format!("note: {said}"));
    }
    let plan = Plan::of(Request {
        kind: kind(args.kind),
        rating,
        metered: metered.map_err(|error| wrong(&error))?,
        marks: args.marks.clone(),
        name: args.name.clone(),
        slot: args.slot,
        focal: args.focal.iter().copied().map(Millimetres::new).collect(),
    })
    .map_err(|error| wrong(&error))?;
    let mut text = plan_page::text(&plan);
    if let Some(folder) = &args.out {
        let failed = |error: &dyn std::fmt::Display| Failure::Nothing(format!("plan: {error}"));
        let page = plan_page::page(&plan).map_err(|error| failed(&error))?;
        let document = plan.shoot_file().to_text().map_err(|error| failed(&error))?;
        let files = [("plan.html".to_owned(), page), (FILE_NAME.to_owned(), document)];
        write_all(folder, &files, args.replace)?;
        text.push_str(&format!(
            "Put {FILE_NAME} into the folder with the frames; measure reads it.\n{}\n",
            folder.join("plan.html").display()
        ));
    }
    console.print(&text)?;
    Ok(Done::Clean)
}

fn wrong(error: &dyn std::fmt::Display) -> Failure {
    Failure::Usage(error.to_string())
}

fn kind(kind: KindArg) -> Kind {
    match kind {
        KindArg::Solid => Kind::Solid,
        KindArg::Variable => Kind::Variable,
        KindArg::Graduated => Kind::Graduated,
        KindArg::Polariser => Kind::Polariser,
        KindArg::Stack => Kind::Stack,
    }
}
