//! Summaries to a sorted shoot: which frames are bare, dark, through the filter, or left out.
//!
//! Pure functions of what was read and what the user wishes. Frames as they were observed never
//! change; each pass takes them with the indices that still stand and gives back judgements, which
//! [`verdicts`] alone applies, so that every file ends with a [`verdict::Judgement`].

pub mod wish;
pub mod times;
pub mod look;
pub mod verdict;
pub mod frames;
pub mod verdicts;
pub mod error;
pub mod order;
pub mod folders;
mod lent;
mod unlit;
mod faults;
mod faint_bridge;
mod damage;
mod lit;
mod sheet;
mod seen;
mod runs;
mod kalman;
mod hypotheses;
mod evidence;
mod another;
mod layout;
mod marks;
mod misnamed;
mod roles;
mod parts;
mod planned;

use crate::caution::Caution;
use crate::profile::Kind;
use crate::reduce::grid::FrameSummary;
pub use error::SortError;
use error::Spoilt;
pub use frames::{Candidate, Judged, Shoot, State};
pub use seen::Seen;
use std::collections::BTreeMap;
use verdict::Judgement;
use verdicts::Verdicts;
pub use wish::{Label, Wish};

/// Sorts what was read.
///
/// # Errors
/// Where no measurable shoot can be made of it.
pub fn sort(candidates: Vec<Candidate>, wish: &Wish) -> Result<Shoot, SortError> {
    let (shoot, fault) = survey(candidates, wish)?;
    fault.map_or(Ok(shoot), Err)
}

/// Sorts what was read as far as that goes: every frame with its verdict, and why no measurable
/// shoot can be made of it, if so.
///
/// # Errors
/// Where no frame could be read at all, or a name that was given is none of theirs.
pub fn survey(
    candidates: Vec<Candidate>,
    wish: &Wish,
) -> Result<(Shoot, Option<SortError>), SortError> {
    survey_again(candidates, wish, &mut Seen::default())
}

/// The same of frames that were sorted before, perhaps under another wish: only what is not seen yet
/// is looked at.
///
/// # Errors
/// As [`survey`].
pub fn survey_again(
    candidates: Vec<Candidate>,
    wish: &Wish,
    seen: &mut Seen,
) -> Result<(Shoot, Option<SortError>), SortError> {
    let (readable, others) = readable(candidates);
    if readable.is_empty() {
        return Err(nothing_readable(&others));
    }
    let order = order::order(&readable.iter().map(|s| &s.info).collect::<Vec<_>>());
    let frames = frames::observe_again(order.sorted(readable), order.timed, wish, seen);
    let all: Vec<usize> = (0..frames.len()).collect();
    let mut cautions = Vec::new();
    cautions.extend(order.clock_disagrees.then_some(Caution::ClockDisagrees));
    cautions.extend((!order.timed && frames.len() > 1).then_some(Caution::NoCaptureTimes));
    let mut verdicts = Verdicts::none(frames.len());
    verdicts.judge(faults::outside_limits(&frames, wish)?);
    let (wish, planned) = planned::labelled(&frames, &verdicts.good(&all), wish);
    cautions.extend(planned);
    let sorted = parts::sort(&frames, &mut verdicts, &wish);
    cautions.extend(sorted.cautions);
    let (settings, kind, fault) = match sorted.roles {
        Ok((settings, kind)) => (settings, kind, None),
        Err(fault) => {
            let fault = folders::with_commands(fault, &frames, |i| verdicts.is_good(i), &wish);
            let fault = fault.each_apart(&wish);
            (Vec::new(), wish.kind.unwrap_or(Kind::Solid), Some(fault))
        }
    };
    let frames = verdicts.onto(frames);
    Ok((Shoot { frames, others, settings, kind, timed: order.timed, cautions }, fault))
}

type Others = Vec<(String, String, Judgement)>;

/// What could be read, each content once, and the other files with their verdicts.
fn readable(candidates: Vec<Candidate>) -> (Vec<FrameSummary>, Others) {
    let (mut readable, mut others) = (Vec::new(), Vec::new());
    let mut seen: BTreeMap<String, String> = BTreeMap::new();
    for Candidate { file, sha256, outcome } in candidates {
        let known = seen.get(&sha256).filter(|_| !sha256.is_empty());
        match (outcome, known) {
            (Err(judgement), _) => others.push((file, sha256, judgement)),
            (Ok(_), Some(of)) => {
                let judgement = Judgement::Duplicate { of: of.clone() };
                others.push((file, sha256, judgement));
            }
            (Ok(summary), None) => {
                seen.insert(sha256, file);
                readable.push(summary);
            }
        }
    }
    (readable, others)
}

fn nothing_readable(others: &Others) -> SortError {
    let mut unreadable =
        others.iter().filter(|(_, _, judgement)| matches!(judgement, Judgement::Unreadable { .. }));
    let first = unreadable
        .next()
        .map(|(file, _, judgement)| Spoilt { file: file.clone(), judgement: judgement.clone() });
    SortError::NothingReadable { first, more: unreadable.count() }
}
