//! Two photographs of one scene: how many stops brighter the scene looks in one of them, exposures allowed
//! for. A filter in front of one alone shows so.

use super::Picture;
use super::links::{Tie, placed};

/// How one photograph stands beside another of its scene.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SceneStep {
    /// Stops by which the scene is brighter in it.
    pub stops: f64,
    /// Minutes between them, whichever came first.
    pub minutes: f64,
}

/// How `one` stands beside `other`; `None` where they show two scenes, or nothing tells.
#[must_use]
pub fn step(one: &Picture, other: &Picture) -> Option<SceneStep> {
    let both = placed(&[one.clone(), other.clone()]);
    let later = both.last()?;
    let Tie::Scene { difference, .. } = &later.tie else { return None };
    let stops = if later.picture == 0 { difference.stops } else { -difference.stops };
    Some(SceneStep { stops, minutes: later.minutes.abs() })
}
