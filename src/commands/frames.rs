//! `lightloss frames`.

use crate::cli::FramesArgs;
use crate::commands::console::Console;
use crate::error::{Done, Failure};

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(_args: &FramesArgs, _console: &mut Console) -> Result<Done, Failure> {
    Err(Failure::Nothing("frames: not built yet".into()))
}
