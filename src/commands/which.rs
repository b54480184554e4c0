//! `lightloss which`.

use crate::cli::WhichArgs;
use crate::commands::console::Console;
use crate::error::{Done, Failure};

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(_args: &WhichArgs, _console: &mut Console) -> Result<Done, Failure> {
    Err(Failure::Nothing("which: not built yet".into()))
}
