//! Parse, run, exit status.

use lightloss::commands::{self, console::Console};
use lightloss::read::{pool::WORKER_ARGUMENT, serve};
use lightloss::window;
use std::process::ExitCode;

/// The commit that this was built from, or nothing outside a checkout (`build.rs`).
const COMMIT: &str = include_str!(env!("LIGHTLOSS_COMMIT_FILE"));
/// Digits of the commit that are shown.
const DIGITS: usize = 12;

fn main() -> ExitCode {
    // Before the command line is parsed: this argument is for the program itself.
    if std::env::args_os().skip(1).eq([WORKER_ARGUMENT]) {
        let served = serve(&mut std::io::stdin().lock(), &mut std::io::stdout().lock());
        return if served.is_ok() { ExitCode::SUCCESS } else { ExitCode::FAILURE };
    }
    let commit = COMMIT.get(..DIGITS);
    let (arguments, mut console) = (std::env::args_os(), Console::standard());
    ExitCode::from(commands::run(arguments, commit, &mut console, window::open))
}
