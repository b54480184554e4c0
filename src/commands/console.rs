//! The only place that writes to standard output and standard error.

use crate::error::Failure;
use crate::text::is_hidden;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::borrow::Cow;
use std::io::{IsTerminal, Write};
use std::sync::{Arc, Mutex};

/// Where a command speaks.
pub struct Console {
    out: Box<dyn Write>,
    err: Box<dyn Write>,
    out_bold: bool,
    err_bold: bool,
    progress: bool,
    one_terminal: bool,
    shown: Option<Shown>,
}

/// Where somebody else looks at how far a command is.
pub type Shown = Arc<Mutex<Option<ProgressBar>>>;

impl Console {
    /// Standard output and standard error of the process.
    #[must_use]
    pub fn standard() -> Self {
        let (out, err) = (std::io::stdout(), std::io::stderr());
        let set = |name| std::env::var_os(name).filter(|v| !v.is_empty());
        // A terminal that cannot move its cursor shows neither bold nor progress.
        let dumb = set("TERM").is_none_or(|term| term == "dumb") && cfg!(unix);
        let plain = set("NO_COLOR").is_some() || dumb;
        Self {
            out_bold: out.is_terminal() && !plain,
            err_bold: err.is_terminal() && !plain,
            progress: err.is_terminal() && !dumb,
            one_terminal: out.is_terminal() && err.is_terminal(),
            out: Box::new(out),
            err: Box::new(err),
            shown: None,
        }
    }
    /// Any two writers, taken as no terminals.
    #[must_use]
    pub fn to(out: Box<dyn Write>, err: Box<dyn Write>) -> Self {
        Self {
            out,
            err,
            out_bold: false,
            err_bold: false,
            progress: false,
            one_terminal: false,
            shown: None,
        }
    }
    /// Lets somebody else look at how far it is.
    #[must_use]
    pub fn showing(self, shown: Shown) -> Self {
        Self { shown: Some(shown), ..self }
    }
    /// Whether bold may be used on standard output.
    #[must_use]
    pub fn bold_allowed(&self) -> bool {
        self.out_bold
    }
    /// A bar on standard error for so many files; hidden where that is no terminal.
    #[must_use]
    pub fn progress(&self, files: usize, doing: &'static str) -> ProgressBar {
        if let Some(mut shown) = self.shown.as_ref().and_then(|shown| shown.lock().ok()) {
            let hidden = ProgressDrawTarget::hidden();
            let bar = ProgressBar::with_draw_target(Some(files as u64), hidden);
            *shown = Some(bar.clone());
            return bar;
        }
        if !self.progress {
            return ProgressBar::hidden();
        }
        let bar = ProgressBar::with_draw_target(Some(files as u64), ProgressDrawTarget::stderr());
        let style = ProgressStyle::with_template("{msg} {pos} of {len} files {wide_bar} {eta}");
        bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()));
        bar.with_message(doing)
    }
    /// Whether both streams end before the same eyes, so that nothing need be said on both.
    #[must_use]
    pub fn one_terminal(&self) -> bool {
        self.one_terminal
    }
    /// Text to standard output, as it is.
    ///
    /// # Errors
    /// [`Failure::PipeClosed`] where the reader went away, otherwise what the system says.
    pub fn print(&mut self, text: &str) -> Result<(), Failure> {
        let text = harmless(text);
        self.out.write_all(text.as_bytes()).and_then(|()| self.out.flush()).map_err(|error| {
            if error.kind() == std::io::ErrorKind::BrokenPipe {
                Failure::PipeClosed
            } else {
                Failure::Output(error)
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
    pub fn warn(&mut self, text: &str) {
        drop(writeln!(self.err, "{}", harmless(text)));
    }
    /// What clap has to say (help, version, a wrong command line) and the status it ends with.
    pub fn clap(&mut self, error: &clap::Error) -> u8 {
        let bold = if error.use_stderr() { self.err_bold } else { self.out_bold };
        let text = error.render();
        let text = if bold { text.ansi().to_string() } else { text.to_string() };
        if error.use_stderr() {
            drop(write!(self.err, "{text}"));
            2
        } else {
            match self.print(&text) {
                Ok(()) | Err(Failure::PipeClosed) => 0,
                Err(failure) => {
                    self.warn(&format!("lightloss: {failure}"));
                    failure.status()
                }
            }
        }
    }
}

/// Bold and its end, the only words to the terminal that we use.
const OURS: [&str; 2] = ["\u{1b}[1m", "\u{1b}[0m"];

/// Names in files and profiles may hold anything: control characters in them, and what turns the
/// direction of text, never reach the terminal.
fn harmless(text: &str) -> Cow<'_, str> {
    let control = |c: char| is_hidden(c) && c != '\n' && c != '\t';
    if !text.contains(control) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        let ours = OURS.iter().find(|word| rest.starts_with(**word));
        let taken = ours.map_or(c.len_utf8(), |word| word.len());
        if ours.is_none() && control(c) {
            out.push(char::REPLACEMENT_CHARACTER);
        } else {
            out.push_str(&rest[..taken]);
        }
        rest = &rest[taken..];
    }
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_but_our_own_bold_speaks_to_the_terminal() {
        assert_eq!(harmless("plain\ttext\n"), "plain\ttext\n");
        assert_eq!(harmless("\u{1b}[1mTen\u{1b}[0m\n"), "\u{1b}[1mTen\u{1b}[0m\n");
        let hostile = harmless("\u{1b}]0;title\u{7}\u{1b}[31mred\r\u{9b}2J");
        assert!(!hostile.contains(char::is_control), "{hostile:?}");
        assert!(hostile.contains("red"), "{hostile:?}");
    }
}
