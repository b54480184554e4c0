//! `lightloss measure`.

use crate::cli::MeasureArgs;
use crate::commands::console::Console;
use crate::error::{Done, Failure};

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(_args: &MeasureArgs, _console: &mut Console) -> Result<Done, Failure> {
    Err(Failure::Nothing("measure: not built yet".into()))
}
