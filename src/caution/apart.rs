//! Doubts about frames that ought to show the same and do not.

use super::listed;
use crate::profile::Grade;
use crate::quantity::Stops;

/// Frames that hang apart from others, named.
#[derive(Clone, Debug, PartialEq)]
pub enum ApartDoubt {
    /// Frames of one state at the same settings lie apart by a jump.
    Levels {
        /// Files that hang apart.
        apart: Vec<String>,
        /// Files of the others.
        others: Vec<String>,
        /// How much more light the former show.
        by: Stops,
    },
    /// Frames through the filter scatter far more than bare ones.
    Scatter {
        /// Files through the filter.
        through: Vec<String>,
        /// Scatter of one of them, standard deviation.
        scatter: Stops,
        /// What was to be expected.
        expected: Stops,
    },
    /// The light is spread otherwise over some bare frames than over others.
    Patterns {
        /// Files that hang apart.
        apart: Vec<String>,
        /// Files of the others.
        others: Vec<String>,
        /// Typical difference of places in the frame, whatever the level.
        by: Stops,
        /// Files through the filter, and whether those that hang apart show the same as they do.
        through: Option<(Vec<String>, bool)>,
        /// The pattern is what is measured, and differs by more than is reckoned with.
        is_measured: bool,
    },
    /// The wall looks larger or smaller through the filter, or lies elsewhere.
    WallShifted {
        /// Files through the filter.
        through: Vec<String>,
    },
    /// Frames that were left out agree among themselves, as those of another filter would.
    AnotherLevel {
        /// Their files.
        files: Vec<String>,
        /// How much less light they show than bare frames.
        below_bare: Stops,
        /// The command that measures them instead.
        command: String,
    },
}

impl ApartDoubt {
    /// Code, grade and words, which say what to do.
    pub(super) fn entry(&self) -> (&'static str, Grade, String) {
        match self {
            Self::Levels { apart, others, by } => {
                ("frames_apart", Grade::Note, levels(apart, others, *by))
            }
            Self::Scatter { through, scatter, expected } => {
                let text = scattering(through, *scatter, *expected);
                ("unsteady_through_filter", Grade::Number, text)
            }
            Self::Patterns { apart, others, by, through, is_measured } => {
                let goes = through.as_ref().map(|(files, with_apart)| {
                    let with = if *with_apart { "former" } else { "latter" };
                    format!(
                        " The frames through the filter ({}) go with the {with}.",
                        listed(files)
                    )
                });
                let text = patterns(apart, others, *by, &goes.unwrap_or_default());
                let grade = if *is_measured { Grade::Number } else { Grade::Note };
                ("patterns_apart", grade, text)
            }
            Self::WallShifted { through } => ("wall_shifted", Grade::Note, wall(through)),
            Self::AnotherLevel { files, below_bare, command } => {
                ("another_level", Grade::Number, another(files, *below_bare, command))
            }
        }
    }
}

fn levels(apart: &[String], others: &[String], by: Stops) -> String {
    format!(
        "{} {} {:.2} stop {} light than {}, though camera and filter were set alike: light that drifted \
         meanwhile, or a cloud or a shadow over some of them. If something passed over, shoot again, or \
         leave those frames out with \"left_out\": true in shoot.json (lightloss frames SHOOT --write \
         makes one).",
        listed(apart),
        if apart.len() == 1 { "shows" } else { "show" },
        by.get().abs(),
        if by.get() < 0.0 { "less" } else { "more" },
        listed(others)
    )
}

fn scattering(through: &[String], scatter: Stops, expected: Stops) -> String {
    format!(
        "Frames through the filter ({}) scatter by {:.3} stop, where the bare ones let expect {:.3}: thin \
         cloud may have passed over all of them, which would make the filter look stronger than it is. \
         Shoot again in steadier light, with bare frames in between.",
        listed(through),
        scatter.get(),
        expected.get()
    )
}

fn patterns(apart: &[String], others: &[String], by: Stops, goes: &str) -> String {
    format!(
        "The light is spread otherwise over {} than over {}, by {:.2} stop from place to place: the camera \
         moved, the lens was turned, or something shaded the wall.{goes} Fix the tripod, and shoot again.",
        listed(apart),
        listed(others),
        by.get()
    )
}

fn wall(through: &[String]) -> String {
    format!(
        "Through the filter ({}) the wall looks larger or smaller than in the bare frames, or lies \
         elsewhere: the camera moved, or the lens was focused or zoomed anew, which changes its light too. \
         Switch autofocus off, fix the tripod, and shoot again.",
        listed(through)
    )
}

fn another(files: &[String], below_bare: Stops, command: &str) -> String {
    let (shows, were, these) =
        if files.len() == 1 { ("shows", "was", "it is") } else { ("show", "were", "these are") };
    format!(
        "{} {shows} {:.1} stops less light than the bare frames, which is neither bare nor what the number \
         says, and {were} left out: another filter, a mark of a ring, or one of two filters by itself. The \
         number is that of the other frames alone. If {these} what you meant, measure:\n  {command}",
        listed(files),
        below_bare.get()
    )
}
