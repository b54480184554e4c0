//! Failures by whose fault they are, and the exit status they end with.

use crate::body_record::json::RecordError;
use crate::compare::CompareError;
use crate::editing::used_csv::TableError;
use crate::kit_folder::KitError;
use crate::measure::MeasureError;
use crate::measure::camera::CameraError;
use crate::profile::json::JsonError;
use crate::report::ReportError;
use crate::shoot::SortError;
use crate::shoot_file::ShootFileError;
use crate::simulate::files::FilesError;
use crate::system::plain;
use crate::text::shell_word;
use crate::write::WriteError;
use std::error::Error;
use std::path::PathBuf;

/// How a command ended when it did what it was asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Done {
    /// Nothing was at fault.
    Clean,
    /// Some frames were unreadable or left out for a fault.
    SomeLeftOut,
}

/// Why a command ended without doing what it was asked; what was behind it stays its source.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// The command line is wrong: what was given, and what to type instead.
    #[error("{0}")]
    Usage(Box<dyn Error + Send + Sync>),
    /// Nothing is left to do, for reasons that were said.
    #[error("{0}")]
    Nothing(String),
    /// A file or folder that cannot be read.
    #[error("{:?} cannot be read: {}{}", shown(path), plain(source), allowed(source, advice))]
    Unread {
        /// Where.
        path: PathBuf,
        /// What to do, after a semicolon; may be empty.
        advice: &'static str,
        /// The system's words.
        source: std::io::Error,
    },
    /// A folder that cannot be made.
    #[error("the folder {} cannot be made: {}{advice}", path.display(), refused(source))]
    NoFolder {
        /// Where.
        path: PathBuf,
        /// What to do, after a semicolon.
        advice: &'static str,
        /// The system's words.
        source: std::io::Error,
    },
    /// A profile that cannot be understood.
    #[error("{:?}: {source}", shown(path))]
    Profile {
        /// Where.
        path: PathBuf,
        /// What is wrong with it.
        source: JsonError,
    },
    /// A camera record that cannot be understood.
    #[error("{:?}: {source}", shown(path))]
    CameraRecord {
        /// Where.
        path: PathBuf,
        /// What is wrong with it.
        source: RecordError,
    },
    /// Several profiles where one is needed, or none where one is.
    #[error(transparent)]
    Profiles(#[from] ProfilesError),
    /// A profile that cannot be written.
    #[error(transparent)]
    Unwritable(#[from] JsonError),
    /// A shoot.json that cannot be read or written.
    #[error(transparent)]
    ShootFile(#[from] ShootFileError),
    /// A kit that cannot be read or changed.
    #[error(transparent)]
    Kit(#[from] KitError),
    /// A table of photographs.
    #[error("{}: {source}", path.display())]
    Table {
        /// Where.
        path: PathBuf,
        /// What is wrong with it.
        source: TableError,
    },
    /// A table that cannot be made.
    #[error(transparent)]
    Rows(#[from] TableError),
    /// A file that cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// Frames of the simulation that cannot be written.
    #[error(transparent)]
    Simulation(#[from] FilesError),
    /// Frames that make no shoot.
    #[error(transparent)]
    Sort(#[from] SortError),
    /// A shoot that cannot be measured.
    #[error(transparent)]
    Measure(#[from] MeasureError),
    /// Frames that make no camera record.
    #[error(transparent)]
    Camera(#[from] CameraError),
    /// Profiles that cannot be compared.
    #[error(transparent)]
    Compare(#[from] CompareError),
    /// A page that cannot be made.
    #[error("the page failed: {0}")]
    Page(#[from] askama::Error),
    /// A report that cannot be made.
    #[error(transparent)]
    Report(#[from] ReportError),
    /// A document that cannot be made.
    #[error("the document failed: {0}")]
    Json(#[from] serde_json::Error),
    /// Standard output cannot be written.
    #[error("standard output cannot be written: {}", plain(.0))]
    Output(std::io::Error),
    /// The reader of our output went away, which is no fault.
    #[error("the reader of the output went away")]
    PipeClosed,
}

/// A choice of profiles that a command cannot work with.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ProfilesError {
    /// One is needed.
    #[error("{folder:?} holds {} profiles where one is needed; give one of them: {}", names.len(), names.join(", "))]
    Several {
        /// The folder.
        folder: String,
        /// Its profiles' folders.
        names: Vec<String>,
    },
    /// Two of one name.
    #[error("{first:?} and {second:?} both name the filter {name:?}; give one of them")]
    Twins {
        /// Where the first was read.
        first: String,
        /// Where the second was read.
        second: String,
        /// The filter's name.
        name: String,
    },
    /// It reads, and is of no use.
    #[error("{path:?}: {reason}")]
    Unsound {
        /// Where.
        path: String,
        /// Why.
        reason: String,
    },
    /// None was given, and the kit holds none.
    #[error(
        "no PROFILE was given and the kit {kit} is empty; give a profile.json or its folder, or keep \
         one with lightloss kit add PROFILE"
    )]
    NoneKept {
        /// The kit's folder.
        kit: String,
    },
    /// None was given, and all that the kit holds are retired.
    #[error(
        "no PROFILE was given and all filters of the kit {kit} are retired; give one by its name, or \
         bring it back: lightloss kit retire --back {}",
        shell_word(name)
    )]
    AllRetired {
        /// The kit's folder.
        kit: String,
        /// One of them.
        name: String,
    },
    /// None could be read.
    #[error("no profile could be read; give the profile.json that measure wrote, or its folder")]
    None,
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
    /// A command line that is wrong, with what to type instead.
    pub fn usage(error: impl Into<Box<dyn Error + Send + Sync>>) -> Self {
        Self::Usage(error.into())
    }

    /// 2 for a wrong command line, 3 where nothing could be done.
    #[must_use]
    pub const fn status(&self) -> u8 {
        match self {
            Self::Usage(_)
            | Self::Profiles(
                ProfilesError::Several { .. }
                | ProfilesError::Twins { .. }
                | ProfilesError::NoneKept { .. }
                | ProfilesError::AllRetired { .. },
            ) => 2,
            Self::Kit(error) if error.is_usage() => 2,
            Self::PipeClosed => 0,
            _ => 3,
        }
    }
}

/// What to do: another file is of no help where the right one is closed.
fn allowed(source: &std::io::Error, otherwise: &'static str) -> &'static str {
    match source.kind() {
        std::io::ErrorKind::PermissionDenied => "; give yourself the right to read it",
        _ => otherwise,
    }
}

/// Of what is made and not opened.
fn refused(source: &std::io::Error) -> String {
    match source.kind() {
        std::io::ErrorKind::PermissionDenied => "permission denied".to_owned(),
        _ => plain(source),
    }
}

fn shown(path: &std::path::Path) -> String {
    path.display().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_that_may_not_be_made_was_never_to_be_opened() {
        let source = std::io::ErrorKind::PermissionDenied.into();
        let failure = Failure::NoFolder { path: "corrected".into(), advice: "; choose", source };
        let said = "the folder corrected cannot be made: permission denied; choose";
        assert_eq!(failure.to_string(), said);
    }
}
