//! Why nothing can be measured of a shoot.

use super::verdict::Judgement;
use super::wish::Wish;
use crate::text::count;

/// A file with what is held against it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{file}: {}", judgement.verdict().text)]
pub struct Spoilt {
    /// Its name as shown.
    pub file: String,
    /// Why it is not used.
    pub judgement: Judgement,
}

fn because(first: Option<&Spoilt>, otherwise: &str) -> String {
    let Some(spoilt) = first else { return otherwise.to_owned() };
    let remedy = match spoilt.judgement {
        Judgement::OtherPicture => {
            "; give a folder of frames of a plain wall, shot with and without the filter; where they \
             do show a surface that stays as it is, name them with --bare FILE... --filtered FILE...; \
             photographs go to lightloss which"
        }
        Judgement::OtherLens { .. } => {
            "; bare and filtered frames need one lens at one focal length: shoot both through it"
        }
        _ => "",
    };
    format!("{spoilt}{remedy}")
}

/// "1 mark is", "3 marks are".
fn many(n: usize, one: &str, [is, are]: [&str; 2]) -> String {
    format!("{} {}", count(n, one), if n == 1 { is } else { are })
}

fn and_others(more: usize) -> String {
    match more {
        0 => String::new(),
        1 => " (nor could one other be read)".to_owned(),
        more => format!(" (nor could {more} others be read)"),
    }
}

fn together(whole: Option<&str>) -> String {
    let said =
        |command| format!("\nor together, if they are one shoot of one filter:\n  {command}");
    whole.map_or_else(String::new, said)
}

/// Why nothing can be measured.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SortError {
    /// No readable frame at all.
    #[error(
        "no frame could be read; {}{}",
        because(first.as_ref(), "the folder holds no frames"),
        and_others(*more)
    )]
    NothingReadable {
        /// The first that could not be read.
        first: Option<Spoilt>,
        /// How many others could not.
        more: usize,
    },
    /// No exposure data anywhere.
    #[error(
        "the frames carry no exposure times; give them with --time FILE=SECONDS, or say with --same-exposure that all were exposed alike"
    )]
    NoExposure,
    /// Everything shows one level.
    #[error(
        "the levels of the good frames do not tell which are bare and which are filtered: all show the same, or the filter slid between its runs; name them with --bare FILE... --filtered FILE..."
    )]
    OneLevel,
    /// No good frame without the filter.
    #[error("no good frame without the filter is left; {}", because(first.as_ref(), "there were none"))]
    NoBare {
        /// What became of the first frame that was not used.
        first: Option<Spoilt>,
    },
    /// No good frame through the filter.
    #[error("no good frame through the filter is left; {}", because(first.as_ref(), "there were none"))]
    NoFiltered {
        /// What became of the first frame that was not used.
        first: Option<Spoilt>,
    },
    /// Marks and runs do not match.
    #[error(
        "{} named but {} found; look at lightloss frames, or put each mark's frames in a folder named after it beside a folder named bare",
        many(*marks, "mark", ["is", "are"]),
        many(*runs, "filtered run", ["was", "were"])
    )]
    MarksMismatch {
        /// Named.
        marks: usize,
        /// Found.
        runs: usize,
    },
    /// A name given on the command line is not among the frames.
    #[error("{file:?} is not among the frames of the shoot")]
    NoSuchFrame {
        /// The name.
        file: String,
    },
    /// The folder holds several filters.
    #[error(
        "the folder seems to hold more than one shoot: {reason}; measure them one by one:\n  {}{}",
        commands.join("\n  "),
        together(whole.as_deref())
    )]
    SeveralFilters {
        /// What makes it seem so.
        reason: String,
        /// One ready command each.
        commands: Vec<String>,
        /// A command for all of it, where it may be one shoot after all.
        whole: Option<String>,
    },
    /// Bare and filtered frames lie far apart in time.
    #[error(
        "bare and filtered frames lie more than 20 minutes apart, between {before} and {after}; if they belong together, say so:\n  {command}"
    )]
    FarApart {
        /// Last frame before the gap.
        before: String,
        /// First frame after it.
        after: String,
        /// A ready command.
        command: String,
    },
}

impl SortError {
    /// The same, with commands that do not write to one folder.
    #[must_use]
    pub fn each_apart(self, wish: &Wish) -> Self {
        match self {
            Self::SeveralFilters { reason, commands, whole } => {
                Self::SeveralFilters { reason, commands: wish.apart(commands), whole }
            }
            other => other,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_said_as_one() {
        let said = |marks, runs| SortError::MarksMismatch { marks, runs }.to_string();
        assert!(said(4, 1).starts_with("4 marks are named but 1 filtered run was found; look"));
        assert!(said(1, 3).starts_with("1 mark is named but 3 filtered runs were found; look"));
    }

    #[test]
    fn photographs_are_sent_where_they_belong() {
        let said = |judgement| {
            let first = Some(Spoilt { file: "P0001.dng".to_owned(), judgement });
            SortError::NoBare { first }.to_string()
        };
        let photograph = said(Judgement::OtherPicture);
        assert!(photograph.contains("P0001.dng: not of the test surface; give a folder"));
        assert!(photograph.ends_with("photographs go to lightloss which"));
        assert!(!said(Judgement::OtherShoot).contains("lightloss which"));
    }
}
