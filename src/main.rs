//! Parse, run, exit status.

use lightloss::commands::{self, console::Console};
use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(commands::run(std::env::args_os(), &mut Console::standard()))
}
