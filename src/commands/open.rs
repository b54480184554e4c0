//! `lightloss open`: which folder the window shows, and when a folder given alone means the window.

use crate::cli::OpenArgs;
use std::ffi::OsString;
use std::io::IsTerminal;
use std::path::PathBuf;

/// What the window is asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// The folder with the frames; chosen in the window where there is none.
    pub folder: Option<PathBuf>,
    /// The person's browser is to be opened.
    pub browser: bool,
}

impl From<OpenArgs> for Wanted {
    fn from(args: OpenArgs) -> Self {
        Self { folder: args.folder, browser: !args.no_browser }
    }
}

/// The arguments with the command that they mean where none is named: without a terminal behind it
/// (dropped on an icon, opened from a file manager) the window, otherwise `measure` for a folder.
#[must_use]
pub fn with_command(mut arguments: Vec<OsString>, known: impl Fn(&str) -> bool) -> Vec<OsString> {
    let Some(first) = arguments.get(1) else {
        if is_behind_an_icon() {
            arguments.push("open".into());
        }
        return arguments;
    };
    let text = first.to_string_lossy();
    let is_path = std::path::Path::new(first).exists() || text.contains(std::path::MAIN_SEPARATOR);
    if !known(&text) && !text.starts_with('-') && is_path {
        let command = if is_behind_an_icon() { "open" } else { "measure" };
        arguments.insert(1, command.into());
    }
    arguments
}

/// Whether a person started the program without a terminal: none of its streams is one, nobody reads
/// its output through a pipe or from a file, and there is a desktop. A script has one of these.
fn is_behind_an_icon() -> bool {
    let streams = [
        std::io::stdin().is_terminal(),
        std::io::stdout().is_terminal(),
        std::io::stderr().is_terminal(),
    ];
    !streams.contains(&true) && !has_controlling_terminal() && !is_read() && has_desktop()
}

/// A terminal that the streams were led away from.
fn has_controlling_terminal() -> bool {
    cfg!(unix) && std::fs::File::open("/dev/tty").is_ok()
}

#[cfg(unix)]
fn is_read() -> bool {
    use std::os::unix::fs::FileTypeExt;
    let about = std::fs::metadata("/dev/stdout").map(|about| about.file_type());
    about.is_ok_and(|kind| kind.is_fifo() || kind.is_file())
}

#[cfg(not(unix))]
fn is_read() -> bool {
    false
}

fn has_desktop() -> bool {
    let set = |name| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    !cfg!(target_os = "linux") || set("DISPLAY") || set("WAYLAND_DISPLAY")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_alone_is_measured_where_somebody_reads_the_output() {
        // Tests run with their output read, or at a terminal.
        let words = |list: &[&str]| list.iter().map(OsString::from).collect::<Vec<_>>();
        let known = |word: &str| word == "measure";
        let given = with_command(words(&["lightloss", "."]), known);
        assert_eq!(given, words(&["lightloss", "measure", "."]));
        for same in [&["lightloss", "measure", "."][..], &["lightloss", "--help"], &["lightloss"]] {
            assert_eq!(with_command(words(same), known), words(same));
        }
    }
}
