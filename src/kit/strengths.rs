//! Every strength of a profile that multiplies a time.

use super::lens::{self, Widest};
use crate::profile::{Kind, Profile, Setting};
use crate::quantity::Stops;

/// One strength that multiplies a time: a solid filter, a mark of a variable one, a measured stack.
#[derive(Clone, Debug, PartialEq)]
pub struct Neutral {
    /// Index into [`super::Kit::filters`].
    pub filter: usize,
    /// The filter's name.
    pub name: String,
    /// Mark of a variable filter.
    pub mark: Option<String>,
    /// True strength, green channels, frame centre.
    pub stops: Stops,
    /// Expanded uncertainty at 95 %.
    pub u95: Stops,
    /// What it is rated.
    pub rated: Option<Stops>,
    /// Within the tolerance, with the lens that the profile was measured with.
    pub usable: bool,
    /// Widest lens at this mark, where the pair of polarisers was fitted.
    pub widest: Widest,
    /// Sort of filter.
    pub kind: Kind,
}

/// Marks from weak to strong; nothing for a filter that multiplies no time.
#[must_use]
pub fn of_profile(index: usize, profile: &Profile) -> Vec<Neutral> {
    let of = |s: &Setting| neutral(index, profile, s);
    match profile.filter.kind {
        Kind::Solid | Kind::Stack => profile.settings.iter().take(1).map(of).collect(),
        Kind::Variable => lens::by_strength(profile).into_iter().map(of).collect(),
        // Neither multiplies a time: one is metered beside, the other metered through.
        Kind::Graduated | Kind::Polariser => Vec::new(),
    }
}

/// The caution of a profile whose marks were numbered from the weakest on.
const MARKS_NUMBERED: &str = "marks_numbered";

fn neutral(index: usize, profile: &Profile, setting: &Setting) -> Neutral {
    let filter = &profile.filter;
    let variable = filter.kind == Kind::Variable;
    Neutral {
        filter: index,
        name: filter.name.clone(),
        mark: setting.mark.clone().filter(|_| variable),
        stops: setting.strength.stops,
        u95: setting.strength.u95,
        rated: if variable { claim(profile, setting) } else { filter.rated_stops },
        usable: !variable || lens::within_usable(profile, setting),
        widest: lens::widest(profile, setting),
        kind: filter.kind,
    }
}

/// A ring's figure is a claim where it is a number inside the rated range, and not one that was
/// given to a mark which nobody named. Between marks in words (min, 1, 2, max) figures count places.
fn claim(profile: &Profile, setting: &Setting) -> Option<Stops> {
    if profile.cautions.iter().any(|caution| caution.code == MARKS_NUMBERED) {
        return None;
    }
    let figure = |s: &Setting| s.mark.as_deref().and_then(|m| m.trim().parse::<f64>().ok());
    if profile.settings.iter().any(|s| figure(s).is_none()) {
        return None;
    }
    let [low, high] = profile.filter.rated_range_stops?;
    let figure = figure(setting)?;
    (low.get()..=high.get()).contains(&figure).then(|| Stops::new(figure))
}
