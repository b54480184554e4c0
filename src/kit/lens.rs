//! Which mark of a variable filter may be used with which lens.
//!
//! With the lens of the shoot the measured maps decide, with any other one what the fitted pair of
//! polarisers foretells; without a lens named, the lens of the shoot is meant.

use crate::profile::{Profile, Setting};
use crate::quantity::{Millimetres, Stops};

/// Labels agree with the last usable mark's strength to within this.
const SAME_MARK: f64 = 1e-9;
/// Focal lengths are named to the millimetre.
const SAME_LENS_MM: f64 = 0.5;

/// How wide a lens a mark allows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Widest {
    /// Not known, or no limit.
    Unknown,
    /// Nothing wider than this.
    Lens(Millimetres),
    /// No lens of the fitted range will do.
    None,
}

impl Widest {
    /// Whether a lens is long enough; `None` where that is not known.
    #[must_use]
    pub fn allows(self, focal: Millimetres) -> Option<bool> {
        match self {
            Self::Unknown => None,
            Self::Lens(widest) => Some(focal.get() >= widest.get()),
            Self::None => Some(false),
        }
    }
}

/// Settings from weak to strong: a ring may have been shot from its dark end.
#[must_use]
pub fn by_strength(profile: &Profile) -> Vec<&Setting> {
    let mut order: Vec<&Setting> = profile.settings.iter().collect();
    order.sort_by(|a, b| a.strength.stops.get().total_cmp(&b.strength.stops.get()));
    order
}

/// How wide a lens this setting allows.
#[must_use]
pub fn widest(profile: &Profile, setting: &Setting) -> Widest {
    let (Some(pair), Some(mark)) = (&profile.polariser_pair, &setting.mark) else {
        return Widest::Unknown;
    };
    match pair.widest_lens_mm.iter().find(|w| &w.mark == mark).map(|w| w.focal_length_mm) {
        None => Widest::Unknown,
        Some(None) => Widest::None,
        Some(Some(lens)) => Widest::Lens(lens),
    }
}

/// Whether a setting comes before the first one that fails with the lens of the shoot.
#[must_use]
pub fn within_usable(profile: &Profile, setting: &Setting) -> bool {
    let Some(usable) = &profile.usable else { return true };
    let Some(last) = &usable.last_mark else { return false };
    let limit = usable.last_stops.or_else(|| {
        let of_last = |s: &&Setting| s.mark.as_ref() == Some(last);
        profile.settings.iter().find(of_last).map(|s| s.strength.stops)
    });
    limit.is_none_or(|limit| not_beyond(setting, limit))
}

/// The last mark, from the weakest on, before one is too uneven with this lens: `None` where
/// nothing is known of that lens, `Some(None)` where no mark will do.
#[must_use]
pub fn last_mark_with(profile: &Profile, focal: Millimetres) -> Option<Option<&Setting>> {
    let measured_with = profile.camera.focal_length_mm.filter(|own| same_lens(*own, focal));
    if let Some(usable) = profile.usable.as_ref().filter(|_| measured_with.is_some()) {
        return Some(usable.last_mark.as_ref().and_then(|mark| setting(profile, mark)));
    }
    let pair = profile.polariser_pair.as_ref()?;
    if let Some(found) = pair.last_mark.iter().find(|l| same_lens(l.focal_length_mm, focal)) {
        return Some(found.mark.as_ref().and_then(|mark| setting(profile, mark)));
    }
    let known: Vec<(&Setting, bool)> = by_strength(profile)
        .into_iter()
        .filter_map(|s| Some((s, widest(profile, s).allows(focal)?)))
        .collect();
    let good = known.iter().take_while(|(_, allowed)| *allowed).last();
    (!known.is_empty()).then(|| good.map(|(setting, _)| *setting))
}

/// Whether a setting is even enough with this lens, or with that of the shoot where none is named
/// or nothing is known of it.
#[must_use]
pub fn allowed(profile: &Profile, setting: &Setting, focal: Option<Millimetres>) -> bool {
    match focal.and_then(|focal| last_mark_with(profile, focal)) {
        Some(Some(last)) => not_beyond(setting, last.strength.stops),
        Some(None) => false,
        None => within_usable(profile, setting),
    }
}

fn not_beyond(setting: &Setting, last: Stops) -> bool {
    setting.strength.stops.get() <= last.get() + SAME_MARK
}

fn same_lens(a: Millimetres, b: Millimetres) -> bool {
    (a.get() - b.get()).abs() < SAME_LENS_MM
}

fn setting<'a>(profile: &'a Profile, mark: &str) -> Option<&'a Setting> {
    profile.settings.iter().find(|s| s.mark.as_deref() == Some(mark))
}
