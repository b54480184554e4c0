//! `lightloss correct`.

use crate::cli::CorrectArgs;
use crate::commands::console::Console;
use crate::error::{Done, Failure};

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(_args: &CorrectArgs, _console: &mut Console) -> Result<Done, Failure> {
    Err(Failure::Nothing("correct: not built yet".into()))
}
