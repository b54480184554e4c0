//! `lightloss compare`.

use crate::cli::CompareArgs;
use crate::commands::console::Console;
use crate::error::{Done, Failure};

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(_args: &CompareArgs, _console: &mut Console) -> Result<Done, Failure> {
    Err(Failure::Nothing("compare: not built yet".into()))
}
