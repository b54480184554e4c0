//! Which frames were taken as what, counted once.

use super::figures::{count, sentence};
use super::taken::{GOOD, LEFT_OUT, Taken, serves};
use crate::profile::{FrameRecord, FrameState, Profile};
use crate::shoot::verdict::Judgement;

const DARK: &str = "with the lens capped";
const BRIDGES: &str = "as bridges of times";
const CHECKS: &str = "to check the light";

/// Frames by what they were taken for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Without the filter.
    pub bare: usize,
    /// Through it.
    pub filtered: usize,
    /// Lens capped.
    pub dark: usize,
    /// Something else that dims the light, for the ratio of shutter times.
    pub bridges: usize,
    /// For light past the filter, and to check the light.
    pub checks: usize,
    /// Good, and not told whether bare or through the filter: nothing is measured of such a shoot.
    pub good: usize,
    /// Not used.
    pub left_out: usize,
}

impl Counts {
    /// Of a profile.
    #[must_use]
    pub fn of(profile: &Profile) -> Self {
        Self::of_frames(&profile.frames)
    }
    /// Of frames as they stand in a profile.
    #[must_use]
    pub fn of_frames(frames: &[FrameRecord]) -> Self {
        let count = |state| frames.iter().filter(|f| f.state == state).count();
        let unsorted = |f: &&FrameRecord| {
            f.state == FrameState::LeftOut && f.verdict.code == Judgement::Used.verdict().code
        };
        let good = frames.iter().filter(unsorted).count();
        let (serving, bridge) = (frames.iter().filter_map(serves), Taken::Bridge.words());
        let (bridges, checks): (Vec<&str>, Vec<&str>) = serving.partition(|words| *words == bridge);
        Self {
            bare: count(FrameState::Bare),
            filtered: count(FrameState::Setting),
            dark: count(FrameState::Dark),
            bridges: bridges.len(),
            checks: checks.len(),
            good,
            left_out: count(FrameState::LeftOut) - bridges.len() - checks.len() - good,
        }
    }

    /// "12 frames: 6 without the filter, 3 through it, 3 with the lens capped; none left out."
    #[must_use]
    pub fn sentence(self) -> String {
        let parts = [
            (self.bare, "without the filter"),
            (self.filtered, "through it"),
            (self.dark, DARK),
            (self.bridges, BRIDGES),
            (self.checks, CHECKS),
            (self.good, GOOD),
        ];
        let parts: Vec<String> =
            parts.iter().filter(|p| p.0 > 0).map(|(n, words)| format!("{n} {words}")).collect();
        let out = if self.left_out == 0 { "none".to_owned() } else { self.left_out.to_string() };
        let used = self.bare + self.filtered + self.dark + self.bridges + self.checks + self.good;
        let total = sentence(&count(used + self.left_out, "frame"));
        if parts.is_empty() {
            return format!("{total}; {out} left out.");
        }
        format!("{total}: {}; {out} left out.", parts.join(", "))
    }
}

/// Which frames were taken as bare: the first line of all.
#[must_use]
pub fn bare_line(profile: &Profile) -> String {
    let bare = profile.settings.first().map(|s| s.frames.bare.as_slice()).unwrap_or_default();
    let names = match bare {
        [] => "none".to_owned(),
        [one] => one.clone(),
        [first, second] => format!("{first} and {second}"),
        [first, .., last] => format!("{} frames, {first} to {last}", bare.len()),
    };
    let Counts { filtered, dark, bridges, checks, left_out, .. } = Counts::of(profile);
    let mut rest = String::new();
    let others = [(dark, DARK), (bridges, BRIDGES), (checks, CHECKS), (left_out, LEFT_OUT)];
    for (n, words) in others {
        if n > 0 {
            rest.push_str(&format!(", {n} {words}"));
        }
    }
    format!("Taken as bare: {names}; through the filter: {filtered}{rest}.")
}
