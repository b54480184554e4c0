//! `lightloss plan`.

use crate::cli::PlanArgs;
use crate::commands::console::Console;
use crate::error::{Done, Failure};

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(_args: &PlanArgs, _console: &mut Console) -> Result<Done, Failure> {
    Err(Failure::Nothing("plan: not built yet".into()))
}
