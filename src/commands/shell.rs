//! `lightloss completions` and `lightloss manual`, made from the command definitions, and
//! `lightloss licences`.

use crate::cli::{Cli, CompletionsArgs, ManualArgs};
use crate::commands::VERSION;
use crate::commands::console::Console;
use crate::commands::output;
use crate::error::{Done, Failure};
use clap::CommandFactory;
use std::path::PathBuf;

/// The program's name.
const NAME: &str = "lightloss";

/// Whoever has the program has these: how to relink it, and the texts of every licence.
const LICENCES: [&str; 3] = [
    include_str!("../../THIRD-PARTY.md"),
    include_str!("../../LICENSES/LGPL-2.1.txt"),
    include_str!("../../LICENSES/third-party.txt"),
];

/// Writes completions for a shell.
///
/// # Errors
/// Where standard output cannot be written.
pub fn completions(args: &CompletionsArgs, console: &mut Console) -> Result<Done, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), NAME, &mut script);
    console.print(&String::from_utf8_lossy(&script))?;
    Ok(Done::Clean)
}

/// Writes a manual page, of the program or of one command, in the format of `man`.
///
/// # Errors
/// Where there is no such command, or standard output cannot be written.
pub fn manual(args: &ManualArgs, console: &mut Console) -> Result<Done, Failure> {
    let mut whole = Cli::command().disable_help_subcommand(true);
    whole.build();
    if let Some(folder) = &args.out {
        let mut pages = Vec::new();
        all_pages(whole, &mut pages)?;
        output::write_all::<PathBuf, _>(folder, &pages, args.replace, &[])?;
        console.line(&folder.display().to_string())?;
        return Ok(Done::Clean);
    }
    let page = match &args.command {
        None => whole,
        Some(name) => whole.find_subcommand(name).cloned().ok_or_else(|| {
            let known: Vec<&str> = whole.get_subcommands().map(clap::Command::get_name).collect();
            Failure::usage(format!("there is no command {name:?}; give {}", known.join(", ")))
        })?,
    };
    console.print(&page_of(page)?)?;
    Ok(Done::Clean)
}

fn page_of(page: clap::Command) -> Result<String, Failure> {
    // Its own name is "measure", its page and its synopsis are of "lightloss measure".
    // Clap wants text that lives as long as the program.
    let name = page.get_display_name().unwrap_or(NAME).to_owned().leak();
    let mut text = Vec::new();
    clap_mangen::Man::new(page.name(&*name).version(VERSION))
        .render(&mut text)
        .map_err(Failure::Output)?;
    Ok(String::from_utf8_lossy(&text).into_owned())
}

/// The page of a command and those of its own commands, as `man` looks for them.
fn all_pages(page: clap::Command, into: &mut Vec<output::NewFile>) -> Result<(), Failure> {
    for below in page.get_subcommands().filter(|below| below.get_name() != "help") {
        all_pages(below.clone(), into)?;
    }
    let name = format!("{}.1", page.get_display_name().unwrap_or(NAME));
    into.push((name.into(), page_of(page)?));
    Ok(())
}

/// Prints the licences of everything that the program is linked from.
///
/// # Errors
/// Where standard output cannot be written.
pub fn licences(console: &mut Console) -> Result<Done, Failure> {
    LICENCES.iter().try_for_each(|text| console.line(text))?;
    Ok(Done::Clean)
}
