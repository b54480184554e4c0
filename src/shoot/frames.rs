//! Frames before and after they are judged, and the sorted shoot that they make.

use super::lent::lent;
use super::look::Look;
use super::seen::{Seen, Sight};
use super::sheet::Sheet;
use super::times::{Evidence, Given, Understood, understand};
use super::verdict::Judgement;
use super::wish::{Label, Wish};
use crate::caution::Caution;
use crate::levels::{LevelFrame, levels};
use crate::profile::{FrameState, Kind};
use crate::quantity::Degrees;
use crate::reduce::grid::FrameSummary;
use rayon::prelude::*;
use std::sync::Arc;

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

/// A frame that could be read, with what is understood of it before anything is judged.
#[derive(Clone, Debug, PartialEq)]
pub struct Observed {
    /// What was read.
    pub summary: FrameSummary,
    /// Exposure; `None` where no time is known.
    pub exposure: Option<Understood>,
    /// First look.
    pub look: Look,
    /// What damage would show on.
    pub sheet: Arc<Sheet>,
    /// Middle of the exposure, minutes from the first frame's start (frame count where no times).
    pub minutes: f64,
}

/// Body, size and lens; what a file does not tell is no difference.
#[derive(Clone, Debug, PartialEq)]
pub struct Gear {
    /// Maker, model, serial number.
    pub body: [Option<String>; 3],
    /// Width, height and side of a cell, pixels.
    pub size: (usize, usize, usize),
    /// Name and focal length in half millimetres.
    pub lens: Option<(Option<String>, Option<i64>)>,
}

/// A frame that could be read, with how long and when it was exposed.
#[derive(Clone, Debug, PartialEq)]
pub struct Timed {
    /// What was read.
    pub summary: FrameSummary,
    /// Exposure; `None` where no time is known.
    pub exposure: Option<Understood>,
    /// Middle of the exposure, minutes from the first frame's start (frame count where no times).
    pub minutes: f64,
}

/// Understands the exposures of frames in capture order; `has_times` where capture times order them.
#[must_use]
pub fn timed(ordered: Vec<FrameSummary>, has_times: bool, wish: &Wish) -> Vec<Timed> {
    let start = ordered.first().and_then(|s| s.info.capture.at);
    let lent = lent(&ordered, wish);
    let timed = ordered
        .into_iter()
        .zip(lent)
        .enumerate()
        .map(|(i, (summary, lent))| {
            let given = Given::of(&summary.info.file, wish, lent);
            let exposure = understand(&summary.info.exposure, &given);
            let half = exposure.as_ref().map_or(0.0, Understood::half_minutes);
            let at = summary.info.capture.at.zip(start);
            let since = at.map(|(at, start)| at.duration_since(start).as_secs_f64() / 60.0);
            let minutes = match since {
                Some(since) if has_times => since + half,
                _ => i as f64 * 1e-3,
            };
            Timed { summary, exposure, minutes }
        })
        .collect();
    weigh_shutter_speeds(timed)
}

/// A ShutterSpeedValue that is rounded to a tenth makes 1/128 of 1/125, and 30 s of 30 s: a camera that
/// writes the time shown beside powers of two says nothing of either.
fn weigh_shutter_speeds(mut frames: Vec<Timed>) -> Vec<Timed> {
    let says_shown = |frame: &Timed| {
        let exposure = &frame.summary.info.exposure;
        frame.exposure.as_ref().is_some_and(|e| e.is_told_as_shown(exposure))
    };
    if frames.iter().any(says_shown) {
        for exposure in frames.iter_mut().filter_map(|f| f.exposure.as_mut()) {
            if exposure.evidence == Evidence::ShutterSpeed {
                exposure.evidence = Evidence::Assumed;
            }
        }
    }
    frames
}

/// Looks at frames in capture order; `has_times` where capture times order them.
#[must_use]
pub fn observe(ordered: Vec<FrameSummary>, has_times: bool, wish: &Wish) -> Vec<Observed> {
    observe_again(ordered, has_times, wish, &mut Seen::default())
}

/// The same, where only what is not seen yet is looked at.
#[must_use]
pub fn observe_again(
    ordered: Vec<FrameSummary>,
    has_times: bool,
    wish: &Wish,
    seen: &mut Seen,
) -> Vec<Observed> {
    let known = &*seen;
    let looked = |Timed { summary, exposure, minutes }| {
        let Sight { look, sheet } = known.sight(&summary, exposure.as_ref());
        Observed { summary, exposure, look, sheet, minutes }
    };
    let observed: Vec<Observed> =
        timed(ordered, has_times, wish).into_par_iter().map(looked).collect();
    for frame in &observed {
        let sight = Sight { look: frame.look.clone(), sheet: Arc::clone(&frame.sheet) };
        seen.keep(&frame.summary, frame.exposure.as_ref(), sight);
    }
    observed
}

impl Observed {
    /// Name as shown.
    #[must_use]
    pub fn file(&self) -> &str {
        &self.summary.info.file
    }
    /// log2 of true over shown time, stops: what the level is off by if the dial tells the truth.
    #[must_use]
    pub fn dial_difference(&self) -> f64 {
        self.exposure.as_ref().and_then(|e| e.dial).map_or(0.0, |d| d.difference().get())
    }
    /// Half of the exposure, minutes.
    #[must_use]
    pub fn half_minutes(&self) -> f64 {
        self.exposure.as_ref().map_or(0.0, Understood::half_minutes)
    }
    /// Body, size and lens.
    #[must_use]
    pub fn gear(&self) -> Gear {
        let (c, cells) = (&self.summary.info.camera, &self.summary.cells);
        let focal =
            c.focal_length.filter(|l| l.get() > 0.0).map(|l| (l.get() * 2.0).round() as i64);
        Gear {
            body: [c.make.clone(), c.model.clone(), c.serial.clone()],
            size: (cells.area.width, cells.area.height, cells.side),
            lens: (c.lens.is_some() || focal.is_some()).then(|| (c.lens.clone(), focal)),
        }
    }
    /// Why a frame is not of a shoot that was made with other gear.
    #[must_use]
    pub fn with_other_gear(&self, chosen: &Gear) -> Judgement {
        let (gear, c) = (self.gear(), &self.summary.info.camera);
        let joined = |parts: Vec<Option<String>>, by: &str| {
            parts.into_iter().flatten().collect::<Vec<_>>().join(by)
        };
        if gear.body != chosen.body {
            let [make, model, serial] = gear.body;
            // Many makers write their name into the model too.
            let written = model.clone().unwrap_or_default();
            let make = make.filter(|make| !written.starts_with(make.as_str()));
            let camera = joined(vec![make, model, serial], " ");
            let camera = if camera.is_empty() { "unnamed".into() } else { camera };
            Judgement::OtherCamera { camera }
        } else if gear.size != chosen.size {
            Judgement::OtherSize
        } else {
            let focal = c.focal_length.map(|l| format!("{} mm", l.get()));
            Judgement::OtherLens { lens: joined(vec![c.lens.clone(), focal], ", ") }
        }
    }
}

impl Gear {
    /// Whether one shoot may have been made with both.
    #[must_use]
    pub fn is_like(&self, other: &Self) -> bool {
        let lens = self.lens.is_none() || other.lens.is_none() || self.lens == other.lens;
        self.is_one_camera(other) && lens
    }
    /// Whether body and size are the same.
    #[must_use]
    pub fn is_one_camera(&self, other: &Self) -> bool {
        self.body == other.body && self.size == other.size
    }
}

/// A frame that could be read, with its verdict.
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

impl Judged {
    /// Name as shown.
    #[must_use]
    pub fn file(&self) -> &str {
        &self.summary.info.file
    }
    /// Whether nothing is held against the frame.
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
    /// Every frame has a capture time, and they are not all one.
    pub timed: bool,
    /// Doubts about the sorting.
    pub cautions: Vec<Caution>,
}

impl Shoot {
    /// Whether a frame was at fault, which the exit status tells.
    #[must_use]
    pub fn has_faults(&self) -> bool {
        self.frames.iter().map(|f| &f.judgement).any(Judgement::is_fault)
            || self.others.iter().any(|(_, _, j)| j.is_fault())
    }
    /// Files that are damaged, or were not read, each with what is held against it.
    pub fn damaged(&self) -> impl Iterator<Item = (&str, &Judgement)> {
        let read = self.frames.iter().map(|f| (f.file(), &f.judgement));
        let others = self.others.iter().map(|(file, _, judgement)| (file.as_str(), judgement));
        read.chain(others).filter(|(_, judgement)| judgement.is_damage())
    }
    /// Frames used for the bare light (`None`) or for a setting.
    pub fn used(&self, setting: Option<usize>) -> impl Iterator<Item = &Judged> {
        let state = if setting.is_some() { FrameState::Setting } else { FrameState::Bare };
        self.frames.iter().filter(move |f| f.state == state && f.setting == setting)
    }
}
