//! Profiles as a photographer's kit: what each filter, each mark and each stack of them takes, and
//! which mark may be used with which lens. One answer to each, for measuring, card, choice,
//! comparison, editing and page alike.

pub mod strengths;
pub mod stack;
pub mod lens;
pub mod kept;
pub mod bracket;

use crate::profile::json::Document;
use crate::profile::{Kind, Profile};
use crate::quantity::Stops;
use kept::Damaged;
pub use lens::Widest;
pub use stack::{Part, Stack};
use std::path::PathBuf;
pub use strengths::Neutral;

/// Strengths outside this range do not come from a filter; such a profile counts as damaged.
const STRENGTHS: std::ops::RangeInclusive<f64> = -1.0..=40.0;

/// Profiles that go into the field together.
#[derive(Clone, Debug, Default)]
pub struct Kit {
    /// Readable profiles, in the order they were given.
    pub filters: Vec<Profile>,
    /// What was left at home, and why.
    pub skipped: Vec<Damaged>,
}

impl Kit {
    /// Reads documents; each source is a file and its text or the reason why there is none.
    pub fn assemble(sources: impl IntoIterator<Item = (PathBuf, Result<String, String>)>) -> Self {
        let mut kit = Self::default();
        for (path, text) in sources {
            match text.and_then(|text| read(&text)) {
                Ok(document) => kit.filters.push(document.profile),
                Err(reason) => kit.skipped.push(Damaged { path, reason }),
            }
        }
        kit
    }

    /// Every strength that multiplies a time, filter by filter, marks from weak to strong.
    #[must_use]
    pub fn neutrals(&self) -> Vec<Neutral> {
        self.filters.iter().enumerate().flat_map(|(i, p)| strengths::of_profile(i, p)).collect()
    }

    /// Stacks of `count` different filters, usable marks only; a stack that was measured itself
    /// stands with its measured strength.
    #[must_use]
    pub fn stacks(&self, count: usize) -> Vec<Stack> {
        let neutrals = self.neutrals().into_iter();
        let single: Vec<Neutral> = neutrals.filter(|n| n.usable && n.kind != Kind::Stack).collect();
        let mut found = Vec::new();
        self.combine(&single, count, &mut Vec::new(), &mut |parts| {
            found.push(Stack::of(&self.filters, parts));
        });
        found
    }

    fn combine(
        &self,
        from: &[Neutral],
        count: usize,
        chosen: &mut Vec<Neutral>,
        each: &mut dyn FnMut(&[Neutral]),
    ) {
        if count == 0 {
            each(chosen);
            return;
        }
        for (i, next) in from.iter().enumerate() {
            let fits = |c: &Neutral| {
                c.filter != next.filter
                    && stack::may_stand_together(
                        &self.filters[c.filter],
                        &self.filters[next.filter],
                    )
            };
            if chosen.iter().all(fits) {
                chosen.push(next.clone());
                self.combine(from.get(i + 1..).unwrap_or_default(), count - 1, chosen, each);
                chosen.pop();
            }
        }
    }

    /// The strongest thing in the kit, measured stacks counted.
    #[must_use]
    pub fn strongest(&self) -> Stops {
        Stops::new(self.neutrals().iter().map(|n| n.stops.get()).fold(0.0, f64::max))
    }

    /// Whether it holds a filter of this kind.
    #[must_use]
    pub fn has(&self, kind: Kind) -> bool {
        self.filters.iter().any(|p| p.filter.kind == kind)
    }
}

/// The document of a text that makes sense.
///
/// # Errors
/// Why it cannot be read, or is of no use in the field.
pub fn read(text: &str) -> Result<Document, String> {
    let document = Document::parse(text).map_err(|error| error.to_string())?;
    sound(&document.profile)?;
    Ok(document)
}

/// Whether a profile that could be read also makes sense.
///
/// # Errors
/// Why it is of no use in the field.
pub fn sound(profile: &Profile) -> Result<(), String> {
    if profile.settings.is_empty() && profile.graduation.is_none() {
        return Err("the profile holds no setting; measure the filter again".to_owned());
    }
    match profile.settings.iter().find(|s| !STRENGTHS.contains(&s.strength.stops.get())) {
        Some(bad) => Err(format!(
            "a strength of {} stops is not that of a filter; measure it again",
            bad.strength.stops.get()
        )),
        None => Ok(()),
    }
}
