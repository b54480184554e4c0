//! `lightloss card`.

use crate::cli::CardArgs;
use crate::commands::console::Console;
use crate::error::{Done, Failure};

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(_args: &CardArgs, _console: &mut Console) -> Result<Done, Failure> {
    Err(Failure::Nothing("card: not built yet".into()))
}
