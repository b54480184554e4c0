//! `lightloss report`: the page of a profile, written again from the profile alone.

use crate::cli::ReportArgs;
use crate::commands::console::Console;
use crate::commands::profiles::{self, Opened};
use crate::commands::{output, prints};
use crate::error::{Done, Failure};
use crate::report;
use crate::write::WriteError;

/// Name of the page.
pub const PAGE: &str = "report.html";

/// Runs the command.
///
/// # Errors
/// Where the profile cannot be read, or the page cannot be written.
pub fn run(args: &ReportArgs, console: &mut Console) -> Result<Done, Failure> {
    let Some(path) = &args.profile else {
        for path in profiles::given_or_kept(&[], console)? {
            write(&profiles::open(&path)?, console)?;
        }
        return Ok(Done::Clean);
    };
    write(&profiles::one(path)?, console)?;
    Ok(Done::Clean)
}

/// The page has no other place that could be chosen.
fn in_its_place(failure: Failure) -> Failure {
    const ADVICE: &str = "; the page is written beside its profile, so copy that into a folder in which \
                          you may write";
    match failure {
        Failure::NoFolder { path, source, .. } => {
            Failure::NoFolder { path, advice: ADVICE, source }
        }
        Failure::Write(WriteError::Refused { path, reason }) => {
            Failure::Nothing(format!("{} cannot be written: {reason}{ADVICE}", path.display()))
        }
        other => other,
    }
}

fn write(opened: &Opened, console: &mut Console) -> Result<(), Failure> {
    let pictures = prints::beside(opened.folder(), &opened.profile);
    let files = output::page(report::page_with(&opened.profile, pictures)?, PAGE);
    // What this command writes, it wrote before: it is meant to be written over.
    output::write_all(opened.folder(), &files, true, &[&opened.path]).map_err(in_its_place)?;
    console.line(&opened.folder().join(PAGE).display().to_string())
}
