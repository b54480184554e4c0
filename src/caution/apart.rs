//! Doubts about frames that ought to show the same and do not.

use super::listed;
use crate::profile::Grade;
use crate::quantity::Stops;
use crate::text::in_stops;

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
    /// Frames that were named, or taken, as of one state, and cannot all be.
    NotOneState {
        /// Files that hang apart.
        apart: Vec<String>,
        /// Files of the others.
        others: Vec<String>,
        /// How much more light the former show.
        by: Stops,
        /// What all of them were taken for.
        taken: Shows,
        /// What the former look like instead.
        like: Option<Shows>,
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
        /// How it looks in them.
        looks: WallLooks,
        /// By how much that makes the filter seem stronger.
        worth: Stops,
    },
    /// The wall's fine structure is sharper or softer from one run on.
    Refocused {
        /// The last frame before, and the first one then.
        last_before: String,
        /// See `last_before`.
        first_after: String,
        /// The filter went on or came off between them.
        with_filter: bool,
        /// It is softer.
        softer: bool,
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

/// How a wall looks in one frame, beside another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WallLooks {
    /// Larger.
    Larger,
    /// Smaller.
    Smaller,
    /// As large, in another place.
    Elsewhere,
}

/// What a wall that moved may make of a filter before the number is doubted, stops (ours).
const WALL_WORTH: f64 = 0.01;
const REFOCUSED: &str = "the lens was focused or zoomed anew, or the camera moved";

/// What frames show, or seem to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Shows {
    /// The bare light.
    Bare,
    /// The one state of the filter.
    Filter,
    /// A mark of a ring, or a rotation.
    Mark(String),
}

impl ApartDoubt {
    /// Code, grade and words, which say what to do.
    pub(super) fn entry(&self) -> (&'static str, Grade, String) {
        match self {
            Self::Levels { apart, others, by } => {
                ("frames_apart", Grade::Note, levels(apart, others, *by))
            }
            Self::NotOneState { apart, others, by, taken, like } => {
                let text = not_one_state([apart, others], *by, taken, like.as_ref());
                ("not_one_state", Grade::Number, text)
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
            Self::WallShifted { through, looks, worth } => {
                let matters = worth.get().abs() > WALL_WORTH;
                let grade = if matters { Grade::Number } else { Grade::Note };
                ("wall_shifted", grade, wall(through, *looks, *worth))
            }
            Self::Refocused { last_before, first_after, with_filter, softer } => {
                let text = refocused([last_before, first_after], *with_filter, *softer);
                ("refocused", Grade::Number, text)
            }
            Self::AnotherLevel { files, below_bare, command } => {
                ("another_level", Grade::Number, another(files, *below_bare, command))
            }
        }
    }
}

fn levels(apart: &[String], others: &[String], by: Stops) -> String {
    format!(
        "{} {} {} {} light than {}, though camera and filter were set alike: light that drifted \
         meanwhile, or a cloud or a shadow over some of them. If something passed over, shoot again, or \
         leave those frames out with \"left_out\": true in shoot.json (lightloss frames SHOOT --write \
         makes one).",
        listed(apart),
        if apart.len() == 1 { "shows" } else { "show" },
        in_stops(by.get().abs(), 2),
        if by.get() < 0.0 { "less" } else { "more" },
        listed(others)
    )
}

fn not_one_state(
    [apart, others]: [&[String]; 2],
    by: Stops,
    taken: &Shows,
    like: Option<&Shows>,
) -> String {
    let one = apart.len() == 1;
    let taken_as = match taken {
        Shows::Bare => "all were taken as bare".to_owned(),
        Shows::Filter => "all were taken as shot through the filter".to_owned(),
        Shows::Mark(mark) => format!("all were taken as of mark {mark}"),
    };
    let (as_much, looks) = match like {
        None => ("", String::new()),
        Some(like) => {
            let what = match (like, one) {
                (Shows::Bare, true) => "a bare frame".to_owned(),
                (Shows::Bare, false) => "bare frames".to_owned(),
                (Shows::Filter, true) => "one through the filter".to_owned(),
                (Shows::Filter, false) => "frames through the filter".to_owned(),
                (Shows::Mark(mark), true) => format!("one of mark {mark}"),
                (Shows::Mark(mark), false) => format!("frames of mark {mark}"),
            };
            (if one { "It looks" } else { "They look" }, format!(" like {what}. "))
        }
    };
    let marks = matches!(taken, Shows::Mark(_)) && like != Some(&Shows::Bare);
    format!(
        "{} {} {} {} light than {}, though {taken_as}, and the number is made of both. {as_much}{looks}Look \
         at the table of frames, and {}.",
        listed(apart),
        if one { "shows" } else { "show" },
        in_stops(by.get().abs(), 2),
        if by.get() < 0.0 { "less" } else { "more" },
        listed(others),
        if marks {
            "give --marks in the order in which they were shot"
        } else {
            "name them with --bare and --filtered"
        }
    )
}

fn scattering(through: &[String], scatter: Stops, expected: Stops) -> String {
    format!(
        "Frames through the filter ({}) scatter by {}, where the bare ones let expect {:.3}: thin \
         cloud may have passed over all of them, which would make the filter look stronger than it is. \
         Shoot again in steadier light, with bare frames in between.",
        listed(through),
        in_stops(scatter.get(), 3),
        expected.get()
    )
}

fn patterns(apart: &[String], others: &[String], by: Stops, goes: &str) -> String {
    format!(
        "The light is spread otherwise over {} than over {}, by {} from place to place: the camera \
         moved, the lens was turned, or something shaded the wall.{goes} Fix the tripod, and shoot again.",
        listed(apart),
        listed(others),
        in_stops(by.get(), 2)
    )
}

fn wall(through: &[String], looks: WallLooks, worth: Stops) -> String {
    let (how, why) = match looks {
        WallLooks::Elsewhere => ("lies elsewhere than", "the camera moved"),
        WallLooks::Larger => ("looks larger than", REFOCUSED),
        WallLooks::Smaller => ("looks smaller than", REFOCUSED),
    };
    let seen = format!("({}) the wall {how} in the bare frames: {why}.", listed(through));
    let again = "Switch autofocus off, fix the tripod, and shoot again.";
    if worth.get().abs() <= WALL_WORTH {
        let least = in_stops(WALL_WORTH, 2);
        return format!("Through the filter {seen} That makes less than {least}. {again}");
    }
    let filter = if worth.get() > 0.0 { "stronger" } else { "weaker" };
    let by = in_stops(worth.get().abs(), 2);
    format!("The filter seems {filter} than it is, by about {by}. Through it {seen} {again}")
}

fn refocused([before, after]: [&String; 2], with_filter: bool, softer: bool) -> String {
    format!(
        "The number may be off by a tenth of a stop: from {after} on the wall's fine structure is {} than up \
         to {before}{}. The lens was focused anew, which changes its light (at 50 mm by 0.15 stop from far \
         away to one metre), or light fell on the wall from another side. Focus by hand before the filter \
         goes on, switch autofocus off, and shoot again.",
        if softer { "softer" } else { "sharper" },
        if with_filter { ", as the filter went on or came off" } else { "" }
    )
}

fn another(files: &[String], below_bare: Stops, command: &str) -> String {
    let (shows, were, these) =
        if files.len() == 1 { ("shows", "was", "it is") } else { ("show", "were", "these are") };
    format!(
        "{} {shows} {} less light than the bare frames, which is neither bare nor what the number \
         says, and {were} left out: another filter, a mark of a ring, or one of two filters by itself. The \
         number is that of the other frames alone. After a plan, put its shoot.json beside the frames: it \
         says which are bridges. If {these} what you meant, measure:\n  {command}",
        listed(files),
        in_stops(below_bare.get(), 1)
    )
}
