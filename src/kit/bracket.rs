//! Frames at several times in a graduated filter's place. Figures only: nothing is merged here.

use crate::quantity::Stops;

/// Most stops between two frames, so that each part of the scene is well exposed in one of them
/// (common practice, no source).
const MOST_APART: f64 = 2.0;
/// Below this a single raw frame does (common practice, no source).
const LEAST: f64 = 0.5;

/// Frames that cover a range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bracket {
    /// How many.
    pub frames: u32,
    /// From one to the next.
    pub apart: Stops,
}

/// The fewest frames, evenly apart, whose times span as many stops as the filter holds back, so that
/// the sky in the shortest gets what it gets behind the filter and the land in the longest what it
/// gets beside it; `None` where one frame does.
#[must_use]
pub fn bracket(range: Stops) -> Option<Bracket> {
    let range = range.get().abs();
    if !(LEAST..64.0).contains(&range) {
        return None;
    }
    // A hundredth of a stop more needs no frame more.
    let steps = ((range - 0.01) / MOST_APART).ceil().max(1.0);
    Some(Bracket { frames: steps as u32 + 1, apart: Stops::new(range / steps) })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn as_few_frames_as_two_stops_allow() {
        for (range, frames, apart) in
            [(0.9, 2, 0.9), (2.0, 2, 2.0), (2.7, 3, 1.35), (4.0, 3, 2.0), (5.0, 4, 5.0 / 3.0)]
        {
            let found = bracket(Stops::new(range)).unwrap();
            assert_eq!(found.frames, frames, "{range}");
            assert!((found.apart.get() - apart).abs() < 1e-9, "{range}");
            // Its ends span the range whatever the steps.
            let span = f64::from(found.frames - 1) * found.apart.get();
            assert!((span - range).abs() < 1e-9);
        }
        assert_eq!(bracket(Stops::new(0.2)), None);
    }
}
