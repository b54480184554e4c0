//! The only place that writes to standard output and standard error.

use crate::error::Failure;
use std::io::{IsTerminal, Write};

/// Where a command speaks.
pub struct Console {
    out: Box<dyn Write>,
    err: Box<dyn Write>,
    out_is_terminal: bool,
    err_is_terminal: bool,
}

impl Console {
    /// Standard output and standard error of the process.
    #[must_use]
    pub fn standard() -> Self {
        let (out, err) = (std::io::stdout(), std::io::stderr());
        let plain = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty());
        Self {
            out_is_terminal: out.is_terminal() && !plain,
            err_is_terminal: err.is_terminal(),
            out: Box::new(out),
            err: Box::new(err),
        }
    }
    /// Any two writers, taken as no terminals.
    #[must_use]
    pub fn to(out: Box<dyn Write>, err: Box<dyn Write>) -> Self {
        Self { out, err, out_is_terminal: false, err_is_terminal: false }
    }
    /// Whether bold may be used on standard output.
    #[must_use]
    pub fn bold_allowed(&self) -> bool {
        self.out_is_terminal
    }
    /// Whether progress may be drawn on standard error.
    #[must_use]
    pub fn progress_allowed(&self) -> bool {
        self.err_is_terminal
    }
    /// Text to standard output, as it is.
    ///
    /// # Errors
    /// [`Failure::PipeClosed`] where the reader went away, otherwise what the system says.
    pub fn print(&mut self, text: &str) -> Result<(), Failure> {
        self.out.write_all(text.as_bytes()).and_then(|()| self.out.flush()).map_err(|error| {
            if error.kind() == std::io::ErrorKind::BrokenPipe {
                Failure::PipeClosed
            } else {
                Failure::Nothing(format!("standard output cannot be written: {error}"))
            }
        })
    }
    /// A line to standard output.
    ///
    /// # Errors
    /// As [`Console::print`].
    pub fn line(&mut self, text: &str) -> Result<(), Failure> {
        self.print(&format!("{text}\n"))
    }
    /// A line to standard error; where even that fails there is nobody left to tell.
    pub fn complain(&mut self, text: &str) {
        drop(writeln!(self.err, "{text}"));
    }
    /// What clap has to say (help, version, a wrong command line) and the status it ends with.
    pub fn clap(&mut self, error: &clap::Error) -> u8 {
        let text = if self.out_is_terminal {
            error.render().ansi().to_string()
        } else {
            error.render().to_string()
        };
        if error.use_stderr() {
            drop(write!(self.err, "{text}"));
            2
        } else {
            drop(self.print(&text));
            0
        }
    }
}
