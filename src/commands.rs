//! The commands join the stages; only they print.

pub mod bodies;
pub mod camera;
pub mod card;
pub mod choose;
pub mod compare;
pub mod console;
pub mod correct;
pub mod demo;
pub mod folder;
pub mod frames;
pub mod gather;
pub mod kit;
pub mod measure;
pub mod named;
pub mod open;
pub mod output;
pub mod photos;
pub mod picture;
pub mod plan;
pub mod prints;
pub mod profiles;
pub mod report;
pub mod shoot_json;
pub mod shell;
pub mod used_table;
pub mod which;

use crate::cli::{Cli, Command};
use crate::error::{Done, Failure};
use clap::error::ContextKind;
use clap::{CommandFactory, FromArgMatches};
use console::Console;
use std::ffi::OsString;

/// The program's version.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");

/// Parses the arguments, runs the command, and gives the exit status; `commit` is shown with the
/// version.
///
/// `lightloss FOLDER` is `lightloss measure FOLDER`, or `lightloss open FOLDER` without a terminal; a
/// command's name wins over a folder of that name. `window` is what `open` runs.
pub fn run(
    arguments: impl IntoIterator<Item = OsString>,
    commit: Option<&str>,
    console: &mut Console,
    window: Window,
) -> u8 {
    let arguments = with_default_command(arguments.into_iter().collect());
    // Clap wants text that lives as long as the program.
    let version = commit.map(|commit| &*format!("{VERSION} ({commit})").leak());
    let parsed = Cli::command()
        .version(version.unwrap_or(VERSION))
        .try_get_matches_from(arguments)
        .and_then(|matches| Cli::from_arg_matches(&matches));
    let outcome = match parsed {
        Ok(Cli { command: Command::Open(args) }) => window(&args.into(), console),
        Ok(cli) => dispatch(cli.command, console),
        Err(mut error) => {
            // No word that begins with a dash is meant as a file's name.
            error.remove(ContextKind::Suggested);
            return console.clap(&error);
        }
    };
    match outcome {
        Ok(done) => done.status(),
        Err(Failure::PipeClosed) => Failure::PipeClosed.status(),
        Err(failure) => {
            console.warn(&format!("lightloss: {failure}"));
            failure.status()
        }
    }
}

/// Serves the window and stays until it is closed.
pub type Window = fn(&open::Wanted, &mut Console) -> Result<Done, Failure>;

fn dispatch(command: Command, console: &mut Console) -> Result<Done, Failure> {
    match command {
        Command::Measure(args) => measure::run(&args, console),
        Command::Frames(args) => frames::run(&args, console),
        Command::Plan(args) => plan::run(&args, console),
        Command::Camera(args) => camera::run(&args, console),
        Command::Report(args) => report::run(&args, console),
        Command::Compare(args) => compare::run(&args, console),
        Command::Card(args) => card::run(&args, console),
        Command::Choose(args) => choose::run(&args, console),
        Command::Kit(args) => kit::run(&args, console),
        Command::Which(args) => which::run(&args, console),
        Command::Correct(args) => correct::run(&args, console),
        Command::Demo(args) => demo::run(&args, console),
        Command::Completions(args) => shell::completions(&args, console),
        Command::Manual(args) => shell::manual(&args, console),
        Command::Licences => shell::licences(console),
        Command::Open(_) => Err(Failure::usage("lightloss open stands by itself".to_owned())),
    }
}

fn with_default_command(arguments: Vec<OsString>) -> Vec<OsString> {
    let known = |word: &str| {
        Cli::command().get_subcommands().any(|c| c.get_name() == word) || word == "help"
    };
    open::with_command(arguments, known)
}
