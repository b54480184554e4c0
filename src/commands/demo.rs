//! `lightloss demo`.

use crate::cli::DemoArgs;
use crate::commands::console::Console;
use crate::error::{Done, Failure};

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(_args: &DemoArgs, _console: &mut Console) -> Result<Done, Failure> {
    Err(Failure::Nothing("demo: not built yet".into()))
}
