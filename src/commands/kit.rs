//! `lightloss kit`: the filters that a person keeps.

use crate::cli::kit::{
    AddArgs, HistoryArgs, KitArgs, KitCommand, ListArgs, MergeArgs, RenameArgs, RetireArgs,
    SheetArgs,
};
use crate::commands::console::Console;
use crate::commands::profiles::Opened;
use crate::commands::report::PAGE;
use crate::commands::{output, profiles};
use crate::compare;
use crate::compare::history::Outcome;
use crate::error::{Done, Failure, ProfilesError};
use crate::kit::kept::{Listing, Measurement};
use crate::kit_folder::{self, KeptAs, KitFolder, named};
use crate::profile::json::Document;
use crate::read::small;
use crate::report;
use crate::report::history_page::history_page;
use crate::report::kit_text;
use crate::report::sheet_page::{editing_page, sheet_page};
use crate::say::figures::plain;
use crate::say::{history as words, kept};
use crate::text::{shell_word, slug};
use crate::write::write_replacing;
use std::path::{Path, PathBuf};

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong, or the kit cannot be read or changed.
pub fn run(args: &KitArgs, console: &mut Console) -> Result<Done, Failure> {
    let kit = KitFolder::of_person()?;
    match &args.what {
        None => list(&kit, &ListArgs::default(), console),
        Some(KitCommand::List(args)) => list(&kit, args, console),
        Some(KitCommand::Add(args)) => add(&kit, args, console),
        Some(KitCommand::History(args)) => history(&kit, args, console),
        Some(KitCommand::Sheet(args)) => sheet(&kit, args, console),
        Some(KitCommand::Rename(args)) => rename(&kit, args, console),
        Some(KitCommand::Merge(args)) => merge(&kit, args, console),
        Some(KitCommand::Retire(args)) => retire(&kit, args, console),
    }
}

fn done(listing: &Listing) -> Done {
    if listing.damaged.is_empty() { Done::Clean } else { Done::SomeLeftOut }
}

fn list(kit: &KitFolder, args: &ListArgs, console: &mut Console) -> Result<Done, Failure> {
    let listing = profiles::listing(kit, console)?;
    let today = jiff::ZonedDateTime::now().date();
    console.print(&kit_text::list(&listing, args.retired, today))?;
    let bodies = profiles::bodies(kit, console)?;
    console.print(&kit_text::bodies(bodies.records.iter().map(|(_, record)| record)))?;
    console.line(&kit.root().display().to_string())?;
    Ok(if bodies.damaged.is_empty() { done(&listing) } else { Done::SomeLeftOut })
}

fn add(kit: &KitFolder, args: &AddArgs, console: &mut Console) -> Result<Done, Failure> {
    let files = profiles::files(&args.profiles);
    if args.name.is_some() && files.len() > 1 {
        return Err(Failure::usage(format!(
            "--name is for one profile, and these are {}; add them one by one",
            files.len()
        )));
    }
    // All are read before the first is kept: a wrong path changes nothing.
    let mut documents: Vec<Document> =
        files.iter().map(|file| document(file)).collect::<Result<_, _>>()?;
    if let (Some(name), [only]) = (&args.name, documents.as_mut_slice()) {
        *only = named(only, name)?;
    }
    let mut refused = Vec::new();
    for document in &documents {
        match keep(kit, document, args.replace) {
            Ok(said) => console.line(&said)?,
            Err(failure @ Failure::Kit(_)) => refused.push(failure),
            Err(failure) => return Err(failure),
        }
    }
    // One that cannot be kept does not stop the rest.
    if refused.len() == documents.len() {
        return refused.pop().map_or(Ok(Done::Clean), Err);
    }
    for failure in &refused {
        console.warn(&format!("not kept: {failure}"));
    }
    Ok(if refused.is_empty() { Done::Clean } else { Done::SomeLeftOut })
}

fn document(file: &Path) -> Result<Document, Failure> {
    let unread = |source| Failure::Unread {
        path: file.to_owned(),
        advice: "; give a profile.json or its folder",
        source,
    };
    let text = small::text(file, small::PROFILE_BYTES).map_err(unread)?;
    let of_file = |source| Failure::Profile { path: file.to_owned(), source };
    let document = Document::parse(&text).map_err(of_file)?;
    crate::kit::sound(&document.profile).map_err(|reason| {
        Failure::from(ProfilesError::Unsound { path: file.display().to_string(), reason })
    })?;
    Ok(document)
}

/// Keeps a profile with its page; what was done, in a line.
///
/// # Errors
/// Where its page cannot be made, or the kit refuses it.
pub fn keep(kit: &KitFolder, document: &Document, replace: bool) -> Result<String, Failure> {
    let given = &document.profile.filter.name;
    let document = &as_spelled(kit, document)?;
    let page = report::page(&document.profile)?.html;
    let kept = kit.keep(document, &[(PAGE.into(), page)], replace)?;
    let name = &document.profile.filter.name;
    let place = kept.path().display();
    let spelled =
        if given == name { String::new() } else { format!(" (the kit's name of {given:?})") };
    Ok(match kept {
        KeptAs::First(_) => format!("kept {name}: {place}"),
        KeptAs::Again(_) => {
            format!("kept {name}{spelled} again: {place}; see lightloss kit{}", news(kit, name))
        }
        KeptAs::Replaced(_) => {
            format!("kept {name}{spelled} in the place of an earlier measurement: {place}")
        }
        KeptAs::Already(_) => format!("{name}{spelled} is in the kit already: {place}"),
    })
}

/// A filter that the kit has keeps its name as it is spelled there.
fn as_spelled(kit: &KitFolder, document: &Document) -> Result<Document, Failure> {
    let listing = kit.list()?;
    let known = listing.find(&document.profile.filter.name);
    Ok(match known.filter(|known| known.name != document.profile.filter.name) {
        Some(known) => named(document, &known.name)?,
        None => document.clone(),
    })
}

/// What a new measurement shows of a filter against those before, in a sentence of its own; nothing
/// where it shows no change.
fn news(kit: &KitFolder, name: &str) -> String {
    let Ok(listing) = kit.list() else { return String::new() };
    let Some(filter) = listing.find(name) else { return String::new() };
    let history = compare::history::history(filter);
    if history.outcome() == Outcome::Steady {
        return String::new();
    }
    format!(
        "\n{} If this is another filter, give it a name of its own: lightloss kit rename.",
        plain(&words::answer(&history))
    )
}

/// Name of a history's page.
const HISTORY: &str = "history.html";

fn history(kit: &KitFolder, args: &HistoryArgs, console: &mut Console) -> Result<Done, Failure> {
    let listing = profiles::listing(kit, console)?;
    let filter = kit_folder::filter(&listing, &args.name)?;
    let history = compare::history::history(filter);
    if let Some(out) = &args.out {
        let page = history_page(&history, filter.newest().profile())?;
        let read: Vec<&PathBuf> = filter.measurements.iter().map(|m| &m.path).collect();
        output::write_all(out, &output::page(page, HISTORY), args.replace, &read)?;
    }
    console.print(&kit_text::history(&history, console.bold_allowed()))?;
    if let Some(out) = &args.out {
        console.line(&format!("\n{}", out.join(HISTORY).display()))?;
    }
    Ok(done(&listing))
}

fn sheet(kit: &KitFolder, args: &SheetArgs, console: &mut Console) -> Result<Done, Failure> {
    let opened = profiles::one(&args.name)?;
    let (page, what) = if args.editing {
        (editing_page(&opened.profile)?, "editing")
    } else {
        (sheet_with_years(kit, &opened, console)?, "sheet")
    };
    let folder = args.out.clone().unwrap_or_else(|| PathBuf::from("."));
    let file = format!("{}-{what}.html", slug(&opened.profile.filter.name));
    output::write_all(&folder, &[(file.clone().into(), page)], args.replace, &[&opened.path])?;
    console.line(&folder.join(file).display().to_string())?;
    Ok(Done::Clean)
}

fn sheet_with_years(
    kit: &KitFolder,
    opened: &Opened,
    console: &mut Console,
) -> Result<String, Failure> {
    let listing = profiles::listing(kit, console)?;
    let name = &opened.profile.filter.name;
    // What the kit says of its years belongs to its newest measurement.
    let filter = listing.find(name).filter(|filter| filter.newest().path == opened.path);
    let history = filter.filter(|filter| filter.measurements.len() > 1);
    let history = history.map(|f| crate::say::history::answer(&compare::history::history(f)));
    let hash = small::sha256(&opened.path).ok();
    Ok(sheet_page(&opened.profile, history, hash)?)
}

fn rename(kit: &KitFolder, args: &RenameArgs, console: &mut Console) -> Result<Done, Failure> {
    let changed = kit.rename(&args.name, &args.to)?;
    pages(&changed)?;
    console.line(&format!(
        "{} is now {}, in {}",
        args.name,
        args.to,
        kept::measurements(changed.len())
    ))?;
    Ok(Done::Clean)
}

fn merge(kit: &KitFolder, args: &MergeArgs, console: &mut Console) -> Result<Done, Failure> {
    let changed = kit.merge(&args.name, &args.into)?;
    // A filter has measurements: none of them changes where both names are its own.
    if changed.is_empty() {
        return Err(Failure::usage(format!(
            "{:?} and {:?} are one filter already; give the name of another one to merge with",
            args.name, args.into
        )));
    }
    pages(&changed)?;
    console.line(&format!(
        "{} of {} now {} to {}",
        kept::measurements(changed.len()),
        args.name,
        if changed.len() == 1 { "belongs" } else { "belong" },
        args.into
    ))?;
    Ok(Done::Clean)
}

fn retire(kit: &KitFolder, args: &RetireArgs, console: &mut Console) -> Result<Done, Failure> {
    if args.back {
        kit.bring_back(&args.name)?;
        console.line(&format!("{} is in the bag again", args.name))?;
    } else {
        kit.retire(&args.name)?;
        console.line(&format!(
            "{} is retired; lightloss kit list --retired shows it, lightloss kit retire --back {} \
             brings it back",
            args.name,
            shell_word(&args.name)
        ))?;
    }
    Ok(Done::Clean)
}

/// The pages beside profiles that have another name now.
fn pages(changed: &[Measurement]) -> Result<(), Failure> {
    for measurement in changed {
        let page = report::page(measurement.profile())?.html;
        write_replacing(&measurement.folder().join(PAGE), page.as_bytes())?;
    }
    Ok(())
}
