//! `lightloss choose`.

use crate::cli::ChooseArgs;
use crate::commands::console::Console;
use crate::error::{Done, Failure};

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(_args: &ChooseArgs, _console: &mut Console) -> Result<Done, Failure> {
    Err(Failure::Nothing("choose: not built yet".into()))
}
