//! A part of a frame with all its counts, for what sums over cells cannot tell.

use super::{Area, Frame, Samples};
use serde::{Deserialize, Serialize};

/// A rectangle of counts of a mosaic.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Patch {
    /// Where it lies, counted from the **active area's** origin.
    pub place: Area,
    /// Its counts row by row, black not subtracted.
    pub counts: Vec<u16>,
}

impl Frame {
    /// The counts of a place within the active area; `None` where it reaches beyond it, is empty,
    /// or the frame is no mosaic.
    #[must_use]
    pub fn patch(&self, place: Area) -> Option<Patch> {
        let Samples::Raw(mosaic, _) = &self.samples else { return None };
        let inside = |from: usize, length: usize, all: usize| {
            length > 0 && from.checked_add(length).is_some_and(|end| end <= all)
        };
        let fits = inside(place.left, place.width, self.active.width)
            && inside(place.top, place.height, self.active.height);
        if !fits {
            return None;
        }
        let (left, top) = (self.active.left + place.left, self.active.top + place.top);
        let (rows, columns) = (top..top + place.height, left..left + place.width);
        let mut counts = Vec::with_capacity(place.width * place.height);
        mosaic.data.part(mosaic.width, rows, columns, &mut counts);
        (counts.len() == place.width * place.height).then_some(Patch { place, counts })
    }
}
