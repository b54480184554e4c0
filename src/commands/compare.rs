//! `lightloss compare`: two profiles side by side, printed and as a page.

use crate::cli::CompareArgs;
use crate::commands::console::Console;
use crate::commands::{output, profiles};
use crate::compare::compare;
use crate::error::{Done, Failure};
use crate::report::compare_page::compare_page;
use crate::report::compare_text::compare_text;

/// Name of the page.
const PAGE: &str = "compare.html";

/// Runs the command.
///
/// # Errors
/// Where a profile cannot be read, the two have nothing in common, or the page cannot be written.
pub fn run(args: &CompareArgs, console: &mut Console) -> Result<Done, Failure> {
    let (first, second) = (profiles::one(&args.a)?, profiles::one(&args.b)?);
    let folder = args.out.as_deref().unwrap_or_else(|| second.folder());
    let read = [&first.path, &second.path];
    let (first, second) = (&first.profile, &second.profile);
    let found = compare(first, second)?;
    let files = output::page(compare_page(first, second, &found)?, PAGE);
    output::write_all(folder, &files, args.replace, &read)?;
    console.print(&compare_text(first, second, &found, console.bold_allowed()))?;
    console.line("")?;
    console.line(&folder.join(PAGE).display().to_string())?;
    Ok(Done::Clean)
}
