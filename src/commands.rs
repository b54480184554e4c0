//! The commands join the stages; only they print.

pub mod camera;
pub mod card;
pub mod choose;
pub mod compare;
pub mod console;
pub mod correct;
pub mod demo;
pub mod frames;
pub mod gather;
pub mod measure;
pub mod output;
pub mod photos;
pub mod plan;
pub mod profiles;
pub mod report;
pub mod shoot_json;
pub mod shell;
pub mod which;

use crate::cli::{Cli, Command};
use crate::error::{Done, Failure};
use clap::{CommandFactory, FromArgMatches};
use console::Console;
use std::ffi::OsString;

/// The program's version.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");

/// Parses the arguments, runs the command, and gives the exit status; `commit` is shown with the
/// version.
///
/// `lightloss FOLDER` is `lightloss measure FOLDER`; a command's name wins over a folder of that
/// name.
pub fn run(
    arguments: impl IntoIterator<Item = OsString>,
    commit: Option<&str>,
    console: &mut Console,
) -> u8 {
    let arguments = with_default_command(arguments.into_iter().collect());
    // Clap wants text that lives as long as the program.
    let version = commit.map(|commit| &*format!("{VERSION} ({commit})").leak());
    let parsed = Cli::command()
        .version(version.unwrap_or(VERSION))
        .try_get_matches_from(arguments)
        .and_then(|matches| Cli::from_arg_matches(&matches));
    let outcome = match parsed {
        Ok(cli) => dispatch(cli.command, console),
        Err(error) => return console.clap(&error),
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

fn dispatch(command: Command, console: &mut Console) -> Result<Done, Failure> {
    match command {
        Command::Measure(args) => measure::run(&args, console),
        Command::Frames(args) => frames::run(&args, console),
        Command::Camera(args) => camera::run(&args, console),
        Command::Plan(args) => plan::run(&args, console),
        Command::Report(args) => report::run(&args, console),
        Command::Compare(args) => compare::run(&args, console),
        Command::Card(args) => card::run(&args, console),
        Command::Choose(args) => choose::run(&args, console),
        Command::Which(args) => which::run(&args, console),
        Command::Correct(args) => correct::run(&args, console),
        Command::Demo(args) => demo::run(&args, console),
        Command::Completions(args) => shell::completions(&args, console),
        Command::Manual(args) => shell::manual(&args, console),
    }
}

fn with_default_command(mut arguments: Vec<OsString>) -> Vec<OsString> {
    let Some(first) = arguments.get(1) else { return arguments };
    let text = first.to_string_lossy();
    let known = Cli::command().get_subcommands().any(|c| c.get_name() == text) || text == "help";
    let is_path = std::path::Path::new(first).exists() || text.contains(std::path::MAIN_SEPARATOR);
    if !known && !text.starts_with('-') && is_path {
        arguments.insert(1, "measure".into());
    }
    arguments
}
