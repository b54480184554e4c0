//! `lightloss report`: the page of a profile, written again from the profile alone.

use crate::cli::ReportArgs;
use crate::commands::console::Console;
use crate::commands::{output, profiles};
use crate::error::{Done, Failure};
use crate::report;

/// Name of the page.
pub const PAGE: &str = "report.html";

/// Runs the command.
///
/// # Errors
/// Where the profile cannot be read, or the page cannot be written.
pub fn run(args: &ReportArgs, console: &mut Console) -> Result<Done, Failure> {
    let opened = profiles::one(&args.profile)?;
    let files = output::page(report::page(&opened.profile)?, PAGE);
    // What this command writes, it wrote before: it is meant to be written over.
    output::write_all(opened.folder(), &files, true, &[&opened.path])?;
    console.line(&opened.folder().join(PAGE).display().to_string())?;
    Ok(Done::Clean)
}
