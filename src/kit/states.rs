//! What a filter, a mark or a stack of them does to the three channels, in a form that a difference
//! of levels can be held against.

use super::stack::may_stand_together;
use crate::profile::{Channels, Kind, Profile};

/// The brightest scene on earth, as an exposure value at ISO 100: sunlit snow or the sun's glint
/// stay below it (common practice, no source).
pub const BRIGHTEST_EV: f64 = 17.0;

/// A polariser darkens a scene by one stop or two, as the light's own polarisation decides; how far
/// the difference may lie from its loss in unpolarised light (ours).
const POLARISER_EXTRA_STOPS: f64 = 0.7;

/// How far the ratio of two channels may lie from what the filter's cast says, in stops (ours): the
/// light's own colour changes at sunset.
const COLOUR_TOLERANCE_STOPS: f64 = 0.4;

/// A photograph's state that the kit can bring about: no filter, one, or several at once.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Indices into the list of profiles, ascending; empty where there is no filter.
    pub filters: Vec<usize>,
    /// Loss per channel at the weakest state, in stops.
    pub weakest: [f64; 3],
    /// Loss per channel at the strongest state, in stops; equal to `weakest` for fixed filters.
    pub strongest: [f64; 3],
    /// Added to every tolerance, in stops.
    pub slack: f64,
}

impl Reading {
    /// No filter at all.
    #[must_use]
    pub fn bare() -> Self {
        Self { filters: Vec::new(), weakest: [0.0; 3], strongest: [0.0; 3], slack: 0.0 }
    }

    /// One filter of the kit; `None` for a graduated one, whose loss depends on where it sat.
    #[must_use]
    pub fn of(index: usize, profile: &Profile) -> Option<Self> {
        if profile.filter.kind == Kind::Graduated {
            return None;
        }
        let losses: Vec<[f64; 3]> = profile.settings.iter().map(|s| rgb(&s.channels)).collect();
        let by_green = |a: &&[f64; 3], b: &&[f64; 3]| a[1].total_cmp(&b[1]);
        let slack =
            if profile.filter.kind == Kind::Polariser { POLARISER_EXTRA_STOPS } else { 0.0 };
        Some(Self {
            filters: vec![index],
            weakest: *losses.iter().min_by(by_green)?,
            strongest: *losses.iter().max_by(by_green)?,
            slack,
        })
    }

    /// Two states at once: transmittances multiply.
    #[must_use]
    pub fn with(&self, other: &Self) -> Self {
        let mut filters = [self.filters.clone(), other.filters.clone()].concat();
        filters.sort_unstable();
        Self {
            filters,
            weakest: sum(self.weakest, other.weakest),
            strongest: sum(self.strongest, other.strongest),
            slack: self.slack + other.slack,
        }
    }

    /// Whether a photograph of this exposure value (log2(N^2/t x 100/ISO)) can have been made in
    /// this state at all, on this earth.
    #[must_use]
    pub fn possible_at(&self, exposure_value: f64) -> bool {
        exposure_value + self.weakest[1] <= BRIGHTEST_EV
    }

    /// Whether going from `self` to `other` changes the channels by `difference` stops, to within
    /// `tolerance` in green and a fixed tolerance in colour.
    #[must_use]
    pub fn explains(&self, other: &Self, difference: [f64; 3], tolerance: f64) -> bool {
        let tolerance = tolerance + self.slack + other.slack;
        let (low, high) =
            (other.weakest[1] - self.strongest[1], other.strongest[1] - self.weakest[1]);
        if difference[1] < low - tolerance || difference[1] > high + tolerance {
            return false;
        }
        [0, 2].iter().all(|&c| {
            let colour = |loss: [f64; 3]| loss[c] - loss[1];
            let ends = [
                colour(other.weakest) - colour(self.strongest),
                colour(other.strongest) - colour(self.weakest),
                colour(other.weakest) - colour(self.weakest),
                colour(other.strongest) - colour(self.strongest),
            ];
            let low = ends.iter().copied().fold(f64::INFINITY, f64::min);
            let high = ends.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let seen = difference[c] - difference[1];
            seen >= low - COLOUR_TOLERANCE_STOPS && seen <= high + COLOUR_TOLERANCE_STOPS
        })
    }
}

/// Every state of the kit with up to two filters at once, no filter first.
#[must_use]
pub fn readings(profiles: &[Profile]) -> Vec<Reading> {
    let singles: Vec<Reading> =
        profiles.iter().enumerate().filter_map(|(i, p)| Reading::of(i, p)).collect();
    let mut all = vec![Reading::bare()];
    all.extend(singles.iter().cloned());
    for (at, one) in singles.iter().enumerate() {
        for two in &singles[at + 1..] {
            let (a, b) = (&profiles[one.filters[0]], &profiles[two.filters[0]]);
            if may_stand_together(a, b) {
                all.push(one.with(two));
            }
        }
    }
    all
}

/// The marks of a variable filter whose strength lies within `tolerance` of `stops`.
#[must_use]
pub fn marks_near(profile: &Profile, stops: f64, tolerance: f64) -> Vec<&str> {
    profile
        .settings
        .iter()
        .filter(|s| (s.strength.stops.get() - stops).abs() <= tolerance)
        .filter_map(|s| s.mark.as_deref())
        .collect()
}

/// Losses of the three channels in stops.
#[must_use]
pub fn rgb(channels: &Channels) -> [f64; 3] {
    [channels.red.stops.get(), channels.green.stops.get(), channels.blue.stops.get()]
}

fn sum(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}
