//! `lightloss compare`: two profiles side by side, printed and as a page.

use crate::cli::CompareArgs;
use crate::commands::console::Console;
use crate::commands::output;
use crate::commands::profiles::{self, Opened};
use crate::compare::compare;
use crate::error::{Done, Failure};
use crate::kit_folder::{self, KitFolder};
use crate::report::compare_page::{compare_page, compare_text};
use std::path::Path;

/// Name of the page.
const PAGE: &str = "compare.html";

/// Runs the command.
///
/// # Errors
/// Where a profile cannot be read, the two have nothing in common, or the page cannot be written.
pub fn run(args: &CompareArgs, console: &mut Console) -> Result<Done, Failure> {
    let (first, second) = match &args.b {
        Some(b) => (profiles::one(&args.a)?, profiles::one(b)?),
        None => with_kept(&args.a)?,
    };
    // The kit holds what was measured, not what was made of it.
    let beside = if in_kit(&second.path) { Path::new(".") } else { second.folder() };
    let folder = args.out.as_deref().unwrap_or(beside);
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

/// A profile and the kit's newest of the same filter; of a filter that is named, its first and its
/// newest.
fn with_kept(given: &Path) -> Result<(Opened, Opened), Failure> {
    let listing = KitFolder::of_person()?.list()?;
    // A folder without a profile may still have the name of a filter.
    let by_name = profiles::lying(given).is_empty()
        && (!given.exists() || listing.find(&given.display().to_string()).is_some());
    let of_path = if by_name { None } else { Some(profiles::one(given)?) };
    let name = match &of_path {
        Some(opened) => opened.profile.filter.name.clone(),
        None => given.display().to_string(),
    };
    let filter = kit_folder::filter(&listing, &name)?;
    let first = match of_path {
        Some(opened) => opened,
        None => profiles::open(&filter.first().path)?,
    };
    let newest = profiles::open(&filter.newest().path)?;
    let same = |path: &Path| path.canonicalize().ok();
    if same(&first.path) == same(&newest.path) {
        return Err(Failure::usage(format!(
            "the kit holds one measurement of {name:?}; give a second profile"
        )));
    }
    Ok((first, newest))
}

/// Whether a file lies in the kit, by its path or behind links.
fn in_kit(file: &Path) -> bool {
    let whole = |path: &Path| path.canonicalize().unwrap_or_else(|_| path.to_owned());
    KitFolder::of_person()
        .is_ok_and(|kit| file.starts_with(kit.root()) || whole(file).starts_with(whole(kit.root())))
}
