//! `lightloss report`.

use crate::cli::ReportArgs;
use crate::commands::console::Console;
use crate::error::{Done, Failure};

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(_args: &ReportArgs, _console: &mut Console) -> Result<Done, Failure> {
    Err(Failure::Nothing("report: not built yet".into()))
}
