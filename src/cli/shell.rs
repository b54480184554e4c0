//! What a shell and a packager ask for.

use clap::Args;
use std::path::PathBuf;

/// `completions`.
#[derive(Debug, Args)]
pub struct CompletionsArgs {
    /// The shell
    #[arg(value_enum)]
    pub shell: clap_complete::Shell,
}

/// `manual`.
#[derive(Debug, Args)]
pub struct ManualArgs {
    /// A command, for the page of its own; otherwise the page of the whole program
    pub command: Option<String>,
    /// Write the pages of the program and of every command into this folder instead
    #[arg(long, value_name = "DIR", conflicts_with = "command")]
    pub out: Option<PathBuf>,
    /// Write over what is there
    #[arg(long, requires = "out")]
    pub replace: bool,
}
