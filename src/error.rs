//! Failures by whose fault they are, and the exit status they end with.

/// How a command ended when it did what it was asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Done {
    /// Nothing was at fault.
    Clean,
    /// Some frames were unreadable or left out for a fault.
    SomeLeftOut,
}

/// Why a command ended without doing what it was asked.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// The command line is wrong: what was given, and what to type instead.
    #[error("{0}")]
    Usage(String),
    /// Nothing could be measured, written or read, with the reason.
    #[error("{0}")]
    Nothing(String),
    /// The reader of our output went away, which is no fault.
    #[error("the reader of the output went away")]
    PipeClosed,
}

impl Done {
    /// 0 or 1.
    #[must_use]
    pub const fn status(self) -> u8 {
        match self {
            Self::Clean => 0,
            Self::SomeLeftOut => 1,
        }
    }
}

impl Failure {
    /// 2 for a wrong command line, 3 where nothing could be done.
    #[must_use]
    pub const fn status(&self) -> u8 {
        match self {
            Self::Usage(_) => 2,
            Self::Nothing(_) => 3,
            Self::PipeClosed => 0,
        }
    }
}

/// What the system says of a file, in plain words and without its number.
#[must_use]
pub fn plain(error: &std::io::Error) -> String {
    use std::io::ErrorKind as E;
    match error.kind() {
        E::NotFound => "there is no such file or folder".to_owned(),
        E::PermissionDenied => "it may not be opened (permission denied)".to_owned(),
        E::InvalidData => "it is no text".to_owned(),
        _ => {
            let words = error.to_string();
            words.split(" (os error").next().unwrap_or_default().to_lowercase()
        }
    }
}
