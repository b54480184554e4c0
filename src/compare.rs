//! Two profiles side by side: differences with their uncertainty, so that ageing, two samples of a
//! filter, two lights, or a filter before and after cleaning can be judged.
//!
//! Differences are second minus first. The doubts of both are combined as squares (JCGM 100:2008,
//! 5.1.2), less what cancels (5.2.2): what a body is off by in both strengths alike, and what one model of
//! camera does not see of one filter's colour. [`sharing`] says what they share.

pub mod sharing;
mod eyes;
pub mod leak;
pub mod maps;
pub mod history;

use crate::kit::stack::{Part, u95_of_difference};
use crate::profile::{Cast, CrossState, Graduation, Picture, Profile, RatioU95, Setting, StopsU95};
use crate::quantity::{Degrees, Percent, Stops};
use leak::RedLeak;
use maps::MapDifference;
use sharing::{Shared, shared};

/// Why two profiles cannot be compared.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CompareError {
    /// Filters of different kinds.
    #[error(
        "{first:?} is a {first_kind} filter and {second:?} a {second_kind} one; compare two of a kind"
    )]
    Kinds {
        /// First filter.
        first: String,
        /// Its kind.
        first_kind: &'static str,
        /// Second filter.
        second: String,
        /// Its kind.
        second_kind: &'static str,
    },
    /// No setting in one of them, or no mark in both.
    #[error(
        "nothing in common: the first profile has {first}, the second {second}; measure the same \
         marks with the same names"
    )]
    NothingInCommon {
        /// Marks of the first.
        first: String,
        /// Marks of the second.
        second: String,
    },
}

/// Two values and their difference, in the unit of what is compared.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// In the first profile.
    pub first: f64,
    /// In the second profile.
    pub second: f64,
    /// Second minus first.
    pub difference: f64,
    /// Its expanded uncertainty at 95 %.
    pub u95: f64,
}

impl Difference {
    /// Of two values with expanded uncertainties, taken as independent.
    #[must_use]
    pub fn new(first: (f64, f64), second: (f64, f64)) -> Self {
        Self {
            first: first.0,
            second: second.0,
            difference: second.0 - first.0,
            u95: u95_of_difference(first.1, second.1),
        }
    }
    /// Of two strengths of which so much, as a covariance of their u95, cancels.
    fn of(first: StopsU95, second: StopsU95, cancels: f64) -> Self {
        let apart =
            Self::new((first.stops.get(), first.u95.get()), (second.stops.get(), second.u95.get()));
        Self { u95: (apart.u95.powi(2) - 2.0 * cancels).max(0.0).sqrt(), ..apart }
    }
    /// Whether it is larger than its doubt.
    #[must_use]
    pub fn shows(&self) -> bool {
        self.difference.abs() > self.u95
    }
}

/// One setting of both.
#[derive(Clone, Debug, PartialEq)]
pub struct SettingDifference {
    /// The mark, where there are marks.
    pub mark: Option<String>,
    /// Green, centre, in stops.
    pub strength: Difference,
    /// Red, green and blue in stops.
    pub channels: [Difference; 3],
    /// Red minus green in stops, where shutter and drift have cancelled.
    pub red_green: Difference,
    /// Blue minus green in stops.
    pub blue_green: Difference,
    /// Shift of the light in mired.
    pub mired: Option<Difference>,
    /// Evenness.
    pub evenness: Option<EvennessDifference>,
}

/// How evenness differs.
#[derive(Clone, Debug, PartialEq)]
pub struct EvennessDifference {
    /// Spread of both.
    pub spread: [Stops; 2],
    /// Dark cross of both.
    pub cross: [CrossState; 2],
    /// Second minus first, each relative to its own centre.
    pub map: Option<MapDifference>,
}

/// How two graduations differ.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GraduationDifference {
    /// Dark end minus clear end, in stops; u95 is 0 where one of them states none.
    pub dark_end: Difference,
    /// 10 to 90 % width of both, percent of the height.
    pub width: [Percent; 2],
    /// Centre line of both, percent of the height from the top.
    pub centre: [Percent; 2],
    /// Angle of both.
    pub angle: [Degrees; 2],
}

/// How the pictures differ that two filters leave.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PictureDifference {
    /// MTF50 filtered over bare, all edges.
    pub sharpness: Option<Difference>,
    /// The same near the corners.
    pub corners: Option<Difference>,
    /// The filters' own veil, percent of the light around.
    pub veil: Option<Difference>,
    /// The strongest ghost, stops below the lamp.
    pub ghost: Option<Difference>,
}

/// The whole comparison.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// What both measurements share and what they do not.
    pub shared: Vec<Shared>,
    /// Settings that both have.
    pub settings: Vec<SettingDifference>,
    /// Marks of the first only.
    pub only_first: Vec<String>,
    /// Marks of the second only.
    pub only_second: Vec<String>,
    /// Graduated filters.
    pub graduation: Option<GraduationDifference>,
    /// The check for a red leak, where the two lights allow it.
    pub leak: Option<RedLeak>,
    /// Sharpness, veil and ghosts, as far as both have them.
    pub picture: PictureDifference,
}

/// Compares two profiles of one kind; settings are matched by their marks.
///
/// # Errors
/// Where the kinds differ or no setting is in both.
pub fn compare(first: &Profile, second: &Profile) -> Result<Comparison, CompareError> {
    if first.filter.kind != second.filter.kind {
        return Err(CompareError::Kinds {
            first: first.filter.name.clone(),
            first_kind: first.filter.kind.adjective(),
            second: second.filter.name.clone(),
            second_kind: second.filter.kind.adjective(),
        });
    }
    let pairs = pairs(first, second);
    if pairs.is_empty() {
        return Err(CompareError::NothingInCommon { first: marks(first), second: marks(second) });
    }
    let missing = |from: &Profile, other: &Profile| -> Vec<String> {
        let known = |mark: &String| other.settings.iter().any(|s| s.mark.as_ref() == Some(mark));
        let lone = from.settings.len() == 1 && other.settings.len() == 1;
        from.settings.iter().filter_map(|s| s.mark.clone()).filter(|m| !lone && !known(m)).collect()
    };
    let graduation = first.graduation.as_ref().zip(second.graduation.as_ref());
    Ok(Comparison {
        shared: shared(first, second),
        leak: leak::check(first, second, &pairs),
        picture: picture(first, second),
        settings: pairs.iter().map(|(a, b)| setting((first, a), (second, b))).collect(),
        only_first: missing(first, second),
        only_second: missing(second, first),
        graduation: graduation.map(|(a, b)| GraduationDifference {
            dark_end: dark_end(a, b),
            width: [a.width_percent_of_height, b.width_percent_of_height],
            centre: [a.centre_percent_of_height, b.centre_percent_of_height],
            angle: [a.angle, b.angle],
        }),
    })
}

/// Ratios of filtered over bare, and the filters' own veil: lens, focus and target have cancelled in
/// each.
fn picture(first: &Profile, second: &Profile) -> PictureDifference {
    let (Some(a), Some(b)) = (&first.picture, &second.picture) else {
        return PictureDifference::default();
    };
    let ratio = |r: RatioU95| (r.value.get(), r.u95.get());
    let ghost =
        |p: &Picture| p.ghosts.iter().flatten().next().map(|g| (g.stops.get(), g.u95.get()));
    let veil =
        |p: &Picture| p.veiling_glare.as_ref().map(|v| (v.added.value.get(), v.added.u95.get()));
    let both = |of: &dyn Fn(&Picture) -> Option<(f64, f64)>| {
        of(a).zip(of(b)).map(|(a, b)| Difference::new(a, b))
    };
    PictureDifference {
        sharpness: both(&|p| p.sharpness_ratio.map(ratio)),
        corners: both(&|p| p.corners_ratio.map(ratio)),
        veil: both(&veil),
        ghost: both(&ghost),
    }
}

fn dark_end(first: &Graduation, second: &Graduation) -> Difference {
    let both = first.dark_end_u95.zip(second.dark_end_u95);
    let (a, b) = both.map_or((0.0, 0.0), |(a, b)| (a.get(), b.get()));
    Difference::new((first.dark_end_stops.get(), a), (second.dark_end_stops.get(), b))
}

fn marks(profile: &Profile) -> String {
    let marks: Vec<&str> = profile.settings.iter().filter_map(|s| s.mark.as_deref()).collect();
    match (profile.settings.len(), marks.is_empty()) {
        (0, _) => "no setting".to_owned(),
        (_, true) => "no marks".to_owned(),
        _ => format!("marks {}", marks.join(", ")),
    }
}

/// The only setting of each, or those with the same mark.
fn pairs<'a>(first: &'a Profile, second: &'a Profile) -> Vec<(&'a Setting, &'a Setting)> {
    if let ([a], [b]) = (first.settings.as_slice(), second.settings.as_slice()) {
        return vec![(a, b)];
    }
    let twin = |a: &Setting| second.settings.iter().find(|b| a.mark.is_some() && a.mark == b.mark);
    first.settings.iter().filter_map(|a| Some((a, twin(a)?))).collect()
}

fn setting(one: (&Profile, &Setting), two: (&Profile, &Setting)) -> SettingDifference {
    let (first, second) = (one.1, two.1);
    let cancels = Part::of(one.0, first).cancels(&Part::of(two.0, second));
    let (a, b) = (&first.channels, &second.channels);
    let strength = |s: &Setting| StopsU95 { stops: s.strength.stops, u95: s.strength.u95 };
    let (mine, theirs) = (cast_stops(&first.cast), cast_stops(&second.cast));
    SettingDifference {
        mark: first.mark.clone(),
        strength: Difference::of(strength(first), strength(second), cancels),
        channels: [(a.red, b.red), (a.green, b.green), (a.blue, b.blue)]
            .map(|(a, b)| Difference::of(a, b, cancels)),
        red_green: Difference::new(mine[0], theirs[0]),
        blue_green: Difference::new(mine[1], theirs[1]),
        mired: eyes::mired(one, two),
        evenness: first.evenness.as_ref().zip(second.evenness.as_ref()).map(|(a, b)| {
            EvennessDifference {
                spread: [a.spread_stops, b.spread_stops],
                cross: [a.dark_cross.state, b.dark_cross.state],
                map: maps::difference(&a.maps, &b.maps),
            }
        }),
    }
}

/// Red and blue against green in stops with expanded uncertainty, from the gains, in which drift
/// and shutter have cancelled: S_c - S_green = log2(gain_c).
pub(crate) fn cast_stops(cast: &Cast) -> [(f64, f64); 2] {
    let of = |gain: f64, u95: f64| (gain.log2(), u95 / gain / std::f64::consts::LN_2);
    [
        of(cast.gains.red.get(), cast.gains_u95.red.get()),
        of(cast.gains.blue.get(), cast.gains_u95.blue.get()),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn doubts_add_as_squares() {
        let found = Difference::new((10.0, 0.03), (10.1, 0.04));
        assert!((found.difference - 0.1).abs() < 1e-12);
        // 3, 4, 5.
        assert!((found.u95 - 0.05).abs() < 1e-12);
        assert!(found.shows());
        assert!(!Difference::new((10.0, 0.03), (10.04, 0.04)).shows());
    }
}
