//! The one place where judgements are applied: every frame has a verdict from the start, and keeps
//! the first that goes against it.

use super::frames::{Judged, Observed};
use super::verdict::Judgement;
use super::wish::Label;
use crate::profile::FrameState;
use crate::quantity::Degrees;

/// Frames by their index, with what is held against them.
pub type Judgements = Vec<(usize, Judgement)>;

/// What a frame shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// The bare light.
    Bare,
    /// The filter in one of its states.
    Setting(usize),
}

/// Where a frame belongs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// Run, numbered from 1 in capture order.
    pub run: Option<u32>,
    /// Bare or a setting; `None` where it is neither.
    pub role: Option<Role>,
}

/// What is held of one frame so far.
#[derive(Clone, Debug, PartialEq)]
struct Verdict {
    judgement: Judgement,
    place: Place,
    label: Option<Label>,
    rotation: Option<Degrees>,
}

/// What is held of every frame so far.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdicts(Vec<Verdict>);

impl Verdicts {
    /// Nothing against any of so many frames.
    #[must_use]
    pub fn none(frames: usize) -> Self {
        let place = Place { run: None, role: None };
        let judgement = Judgement::Used;
        Self(vec![Verdict { judgement, place, label: None, rotation: None }; frames])
    }
    /// Applies what a pass found.
    pub fn judge(&mut self, judgements: Judgements) {
        for (i, judgement) in judgements {
            self.0[i].judgement = judgement;
        }
    }
    /// Puts frames where a pass found that they belong.
    pub fn place(&mut self, places: Vec<(usize, Place)>) {
        for (i, place) in places {
            self.0[i].place = place;
        }
    }
    /// Notes what the user says of frames.
    pub fn note(&mut self, said: Vec<(usize, Option<Label>, Option<Degrees>)>) {
        for (i, label, rotation) in said {
            self.0[i].label = label;
            self.0[i].rotation = rotation;
        }
    }
    /// Those of some frames that nothing is held against.
    #[must_use]
    pub fn good(&self, within: &[usize]) -> Vec<usize> {
        within.iter().copied().filter(|&i| self.is_good(i)).collect()
    }
    /// Whether nothing is held against a frame.
    #[must_use]
    pub fn is_good(&self, frame: usize) -> bool {
        self.0[frame].judgement == Judgement::Used
    }
    /// What is held of a frame.
    #[must_use]
    pub fn judgement(&self, frame: usize) -> &Judgement {
        &self.0[frame].judgement
    }
    /// Where a frame belongs.
    #[must_use]
    pub fn place_of(&self, frame: usize) -> Place {
        self.0[frame].place
    }
    /// What the user says that a frame is.
    #[must_use]
    pub fn label(&self, frame: usize) -> Option<&Label> {
        self.0[frame].label.as_ref()
    }
    /// Rotation of the whole filter, where said.
    #[must_use]
    pub fn rotation(&self, frame: usize) -> Option<Degrees> {
        self.0[frame].rotation
    }
    /// Good frames in one role.
    pub fn in_role(&self, within: &[usize], role: Role) -> impl Iterator<Item = usize> {
        let mine = move |&i: &usize| self.is_good(i) && self.0[i].place.role == Some(role);
        within.iter().copied().filter(mine)
    }
    /// Good bare frames, or good frames through the filter in any of its states.
    #[must_use]
    pub fn on_side(&self, within: &[usize], bare: bool) -> Vec<usize> {
        let mine = |i: &usize| self.0[*i].place.role.map(|r| r == Role::Bare) == Some(bare);
        self.good(within).into_iter().filter(mine).collect()
    }
    /// The frames with their verdicts.
    #[must_use]
    pub fn onto(self, frames: Vec<Observed>) -> Vec<Judged> {
        let judged = |(frame, verdict): (Observed, Verdict)| {
            let Observed { summary, exposure, look, minutes, .. } = frame;
            let Verdict { judgement, place, label, rotation } = verdict;
            let state = match (&judgement, place.role) {
                (Judgement::Dark, _) => FrameState::Dark,
                (Judgement::Used, Some(Role::Bare)) => FrameState::Bare,
                (Judgement::Used, Some(Role::Setting(_))) => FrameState::Setting,
                _ => FrameState::LeftOut,
            };
            let setting = match place.role {
                Some(Role::Setting(setting)) => Some(setting),
                _ => None,
            };
            Judged {
                summary,
                exposure,
                look,
                minutes,
                state,
                run: place.run,
                setting,
                label,
                rotation,
                judgement,
            }
        };
        frames.into_iter().zip(self.0).map(judged).collect()
    }
}
