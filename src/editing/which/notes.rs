//! Why a photograph is known or not, in plain words.

use super::beside::{Seen, exposed};
use super::{Evening, KnownBare, LEVEL_STOPS};

impl Evening<'_> {
    pub(super) fn shown(&self, i: usize) -> &str {
        &self.pictures[i].info.file
    }

    pub(super) fn says(&self, seen: &Seen) -> String {
        let stops = seen.stops[1];
        let (size, word) = (stops.abs(), if stops < 0.0 { "brighter" } else { "darker" });
        let file = self.shown(seen.bare);
        if size < LEVEL_STOPS {
            return format!("as bright as {file}");
        }
        format!("{size:.1} stops {word} than {file}, {:.0} min apart", seen.minutes.abs())
    }

    /// Why nothing was settled, and what would help.
    pub(super) fn why_unknown(&self, i: usize) -> String {
        let Some(seen) = self.compared(i).or_else(|| self.nearest(i)) else {
            return self.why_not_compared(i);
        };
        let says = self.says(&seen);
        if self.graduated() && self.bare[seen.bare] == KnownBare::No {
            return format!("{says}, but both may have had a graduated filter; give them keywords");
        }
        let names: Vec<String> = self.states[i].iter().map(|&s| self.name_of(s)).collect();
        if names.is_empty() {
            return format!("{says}, which fits no filter, mark or stack of the kit");
        }
        format!(
            "{says}; may be {}; give it or a frame beside it a keyword: a filter's name, or \"bare\"",
            names.join(", or ")
        )
    }

    fn name_of(&self, state: usize) -> String {
        let filters = &self.readings[state].filters;
        let names: Vec<&str> = filters.iter().map(|&f| self.kit[f].filter.name.as_str()).collect();
        if names.is_empty() { "bare".to_owned() } else { names.join(" + ") }
    }

    fn why_not_compared(&self, i: usize) -> String {
        let picture = &self.pictures[i];
        if picture.scene.is_none() {
            return "not a raw file, so its level says nothing".to_owned();
        }
        if exposed(&picture.info.exposure).is_none() {
            return "aperture, time or ISO is not recorded".to_owned();
        }
        if picture.info.capture.at.is_none() {
            return "no capture time".to_owned();
        }
        "no other raw frame of this scene within 15 minutes".to_owned()
    }
}
