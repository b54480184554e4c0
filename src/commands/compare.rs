//! `lightloss compare`: two profiles side by side, printed and as a page.

use crate::cli::CompareArgs;
use crate::commands::console::Console;
use crate::commands::measure::write_files;
use crate::commands::report::{profile_path, read_profile};
use crate::compare::compare;
use crate::error::{Done, Failure};
use crate::report::compare_page::compare_page;
use crate::report::compare_text::compare_text;
use std::path::Path;

/// Name of the page.
const PAGE: &str = "compare.html";

/// Runs the command.
///
/// # Errors
/// Where a profile cannot be read, the two have nothing in common, or the page cannot be written.
pub fn run(args: &CompareArgs, console: &mut Console) -> Result<Done, Failure> {
    let (first_path, second_path) = (profile_path(&args.a), profile_path(&args.b));
    let (first, second) = (read_profile(&first_path)?, read_profile(&second_path)?);
    let (first, second) = (first.profile, second.profile);
    let found = compare(&first, &second).map_err(|e| Failure::Nothing(e.to_string()))?;
    let beside = second_path.parent().filter(|p| !p.as_os_str().is_empty());
    let folder = args.out.as_deref().or(beside).unwrap_or_else(|| Path::new("."));
    let files =
        compare_page(&first, &second, &found).map_err(|e| Failure::Nothing(e.to_string()))?;
    write_files(&files, PAGE, folder, args.replace)?;
    console.print(&compare_text(&first, &second, &found, console.bold_allowed()))?;
    console.line("")?;
    console.line(&folder.join(PAGE).display().to_string())?;
    Ok(Done::Clean)
}
