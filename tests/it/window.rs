//! The window as a program that is talked to: what it shows and decides, and who is turned away.

#![allow(clippy::unwrap_used)]

mod attacks;
mod decisions;
mod kept;
mod lost;
mod photographs;

use lightloss_test_files::window::Window;
use std::path::Path;

/// A window on a folder.
fn open(folder: Option<&Path>) -> Window {
    Window::open(Path::new(env!("CARGO_BIN_EXE_lightloss")), folder)
}
