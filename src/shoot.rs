//! Summaries to a sorted shoot: which frames are bare, dark, through the filter, or left out.
//!
//! Pure functions of what was read and what the user wishes; nothing is silently used or dropped:
//! every file ends with a [`verdict::Judgement`].

pub mod levels;
pub mod times;
pub mod look;
pub mod motif;
pub mod order;
pub mod runs;
pub mod verdict;
pub mod error;
pub mod labels;
pub mod planned;
mod parts;
mod faults;
mod folders;
mod layout;
mod marks;
mod roles;

use crate::caution::Caution;
use crate::exposure::Times;
use crate::frame::{Exposure, FrameInfo};
use crate::profile::{FrameState, Kind};
use crate::quantity::{Degrees, FNumber, Iso, Seconds};
use crate::reduce::grid::FrameSummary;
use crate::shoot_file::PlannedShot;
pub use error::SortError;
use levels::{LevelFrame, levels};
use look::{Look, look};
use rayon::prelude::*;
use std::collections::BTreeMap;
use times::{Said, Understood, understand};
use verdict::Judgement;

/// What the user says one frame is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Label {
    /// Without the filter.
    Bare,
    /// Through it, at a mark where one is named.
    Filtered(Option<String>),
    /// Lens capped.
    Dark,
    /// Opaque card in the filter's place.
    Leak,
    /// The whole filter turned at a mark, to see whether the light is polarised; not measured.
    LightCheck(Option<String>),
    /// A dark cloth round holder and mount, at a mark where one is named; not measured.
    Cloth(Option<String>),
    /// Not to be used.
    LeftOut,
}

/// What the user wishes and says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Wish {
    /// Kind of filter, where said.
    pub kind: Option<Kind>,
    /// Labels of a variable filter's marks in the order they were shot.
    pub marks: Vec<String>,
    /// What frames are, by file; empty where the program is to sort them itself.
    pub labels: BTreeMap<String, Label>,
    /// Dial or exact times.
    pub times: Times,
    /// What was planned, in capture order; empty without a plan.
    pub planned: Vec<PlannedShot>,
    /// Rotation of the whole filter, by file.
    pub rotations: BTreeMap<String, Degrees>,
    /// Times of single frames, by file.
    pub frame_times: BTreeMap<String, Seconds>,
    /// Apertures of single frames, by file.
    pub frame_f_numbers: BTreeMap<String, FNumber>,
    /// ISO settings of single frames, by file.
    pub frame_isos: BTreeMap<String, Iso>,
    /// Aperture for a lens without contacts.
    pub f_number: Option<FNumber>,
    /// ISO where the files do not tell.
    pub iso: Option<Iso>,
    /// Frames without exposure data were exposed alike.
    pub same_exposure: bool,
    /// First frame of the shoot.
    pub from: Option<String>,
    /// Last frame of the shoot.
    pub to: Option<String>,
    /// The shoot's folder as it was typed, for commands to be typed again.
    pub shoot: String,
}

impl Wish {
    /// Whether bare or filtered frames are named, so that nothing is left to be sorted.
    #[must_use]
    pub fn is_labelled(&self) -> bool {
        self.labels.values().any(|l| matches!(l, Label::Bare | Label::Filtered(_)))
    }
}

/// What became of reading one file.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// Name as shown.
    pub file: String,
    /// SHA-256 of its bytes, empty where they could not be read.
    pub sha256: String,
    /// The summary, or why there is none.
    pub outcome: Result<FrameSummary, Judgement>,
}

/// A frame that could be read, with what is understood of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// What was read.
    pub summary: FrameSummary,
    /// Exposure; `None` where no time is known.
    pub exposure: Option<Understood>,
    /// First look.
    pub look: Look,
    /// Middle of the exposure, minutes from the first frame's start (frame count where no times).
    pub minutes: f64,
    /// Bare, dark, setting, left out.
    pub state: FrameState,
    /// Run, numbered from 1 in capture order.
    pub run: Option<u32>,
    /// Setting.
    pub setting: Option<usize>,
    /// What the user says it is.
    pub label: Option<Label>,
    /// Rotation of the whole filter, where said.
    pub rotation: Option<Degrees>,
    /// Why.
    pub judgement: Judgement,
}

/// One state of the filter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct State {
    /// Label of a variable filter's mark.
    pub mark: Option<String>,
}

/// A sorted shoot.
#[derive(Clone, Debug, PartialEq)]
pub struct Shoot {
    /// Readable frames in capture order.
    pub frames: Vec<Judged>,
    /// Files without a summary: unreadable, companions, duplicates.
    pub others: Vec<(String, String, Judgement)>,
    /// States of the filter in order of first appearance.
    pub settings: Vec<State>,
    /// Kind as said or as found.
    pub kind: Kind,
    /// Every frame has a capture time.
    pub timed: bool,
    /// Doubts about the sorting.
    pub cautions: Vec<Caution>,
}

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
    let (mut frames, others, order) = read_frames(candidates, wish)?;
    let mut cautions = Vec::new();
    if order.clock_disagrees {
        cautions.push(Caution::ClockDisagrees);
    }
    if !order.timed && frames.len() > 1 {
        cautions.push(Caution::NoCaptureTimes);
    }
    faults::outside_limits(&mut frames, wish)?;
    let (frames, sorted) = match planned::obeyed(&frames, wish) {
        Ok((wish, backwards)) => {
            cautions.extend(backwards);
            parts::sort(frames, &wish, &mut cautions)
        }
        Err(fault) => (frames, Err(fault)),
    };
    let (settings, kind, fault) = match sorted {
        Ok((settings, kind)) => (settings, kind, None),
        Err(fault) => {
            let fault = folders::instead(fault, &frames, wish);
            (Vec::new(), wish.kind.unwrap_or(Kind::Solid), Some(fault))
        }
    };
    Ok((Shoot { frames, others, settings, kind, timed: order.timed, cautions }, fault))
}

type Sorted = Result<(Vec<State>, Kind), SortError>;

/// Judges frames that may make one shoot.
fn judge_all(frames: &mut [Judged], wish: &Wish, cautions: &mut Vec<Caution>) -> Sorted {
    faults::foreign(frames);
    faults::unexposed(frames)?;
    let dark = faults::dark(frames, wish);
    faults::clipped(frames);
    let (settings, kind) = roles::assign(frames, wish, cautions)?;
    faults::buried(frames, &dark);
    faults::other_exposures(frames, cautions);
    faults::outliers(frames);
    roles::check(frames, &settings, cautions)?;
    Ok((settings, kind))
}

type Set = (Vec<Judged>, Vec<(String, String, Judgement)>, order::Order);

fn read_frames(candidates: Vec<Candidate>, wish: &Wish) -> Result<Set, SortError> {
    let (mut readable, mut others) = (Vec::new(), Vec::new());
    let mut seen: BTreeMap<String, String> = BTreeMap::new();
    for candidate in candidates {
        let Candidate { file, sha256, outcome } = candidate;
        match outcome {
            Err(judgement) => others.push((file, sha256, judgement)),
            Ok(summary) => match seen.get(&sha256).filter(|_| !sha256.is_empty()) {
                Some(of) => {
                    others.push((file, sha256, Judgement::Duplicate { of: of.clone() }));
                }
                None => {
                    seen.insert(sha256, file);
                    readable.push(summary);
                }
            },
        }
    }
    if readable.is_empty() {
        let reason = others.iter().find_map(|(file, _, judgement)| match judgement {
            Judgement::Unreadable { reason } => Some(format!("{file}: {reason}")),
            _ => None,
        });
        let reason = reason.unwrap_or_else(|| "the folder holds no frames".to_owned());
        return Err(SortError::NothingReadable { reason });
    }
    let order = order::order(&readable.iter().map(|s| &s.info).collect::<Vec<_>>());
    let mut slots: Vec<Option<FrameSummary>> = readable.into_iter().map(Some).collect();
    let ordered: Vec<FrameSummary> =
        order.indices.iter().filter_map(|&i| slots[i].take()).collect();
    Ok((judge(ordered, order.timed, wish), others, order))
}

fn judge(ordered: Vec<FrameSummary>, timed: bool, wish: &Wish) -> Vec<Judged> {
    let start = ordered.first().and_then(|s| s.info.capture.at);
    ordered
        .into_par_iter()
        .enumerate()
        .map(|(i, summary)| {
            let said = Said {
                times: wish.times,
                time: wish.frame_times.get(&summary.info.file).copied(),
                f_number: wish.f_number,
                iso: wish.iso,
                same: wish.same_exposure,
            };
            let exposure = understand(&corrected(&summary.info, wish), &said);
            let half = exposure.as_ref().map_or(0.0, |e| e.true_time.get() / 120.0);
            let since = summary
                .info
                .capture
                .at
                .zip(start)
                .map(|(at, start)| at.duration_since(start).as_secs_f64() / 60.0);
            let minutes = match since {
                Some(since) if timed => since + half,
                _ => i as f64 * 1e-3,
            };
            let look = look(&summary, &levels(&summary, &[]), exposure.as_ref());
            Judged {
                summary,
                exposure,
                look,
                minutes,
                state: FrameState::LeftOut,
                run: None,
                setting: None,
                label: None,
                rotation: None,
                judgement: Judgement::Used,
            }
        })
        .collect()
}

/// What a file says of its exposure, set right by what the user says of this very frame.
fn corrected(info: &FrameInfo, wish: &Wish) -> Exposure {
    let mut exposure = info.exposure.clone();
    exposure.f_number = wish.frame_f_numbers.get(&info.file).copied().or(exposure.f_number);
    exposure.iso = wish.frame_isos.get(&info.file).copied().or(exposure.iso);
    exposure
}

impl Judged {
    /// Name as shown.
    #[must_use]
    pub fn file(&self) -> &str {
        &self.summary.info.file
    }
    /// Whether nothing has been held against the frame so far.
    #[must_use]
    pub fn is_good(&self) -> bool {
        self.judgement == Judgement::Used
    }
    /// Levels above black, with the shoot's dark frames of the same time and ISO.
    #[must_use]
    pub fn levels(&self, frames: &[Self]) -> LevelFrame {
        let alike = |other: &&Self| {
            other.state == FrameState::Dark
                && other.summary.cells.columns == self.summary.cells.columns
                && other.summary.cells.rows == self.summary.cells.rows
                && same_time_and_iso(self, other)
        };
        let darks: Vec<&FrameSummary> = frames.iter().filter(alike).map(|f| &f.summary).collect();
        levels(&self.summary, &darks)
    }
}

fn same_time_and_iso(a: &Judged, b: &Judged) -> bool {
    match (&a.exposure, &b.exposure) {
        (Some(x), Some(y)) => {
            (x.recorded.get() / y.recorded.get() - 1.0).abs() < 0.01 && x.iso == y.iso
        }
        _ => false,
    }
}

impl Shoot {
    /// Whether a frame was at fault, which the exit status tells.
    #[must_use]
    pub fn has_faults(&self) -> bool {
        self.frames.iter().map(|f| &f.judgement).any(Judgement::is_fault)
            || self.others.iter().any(|(_, _, j)| j.is_fault())
    }
    /// Frames used for the bare light (`None`) or for a setting.
    pub fn used(&self, setting: Option<usize>) -> impl Iterator<Item = &Judged> {
        let state = if setting.is_some() { FrameState::Setting } else { FrameState::Bare };
        self.frames.iter().filter(move |f| f.state == state && f.setting == setting)
    }
}
