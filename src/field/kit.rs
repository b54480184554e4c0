//! The kit: the profiles that could be read, and every strength it offers alone or stacked.

use crate::exposure;
use crate::profile::json::Document;
use crate::profile::{Kind, Profile, Setting};
use crate::quantity::{Millimetres, Stops};

/// Strengths outside this range do not come from a filter; such a profile counts as damaged.
const STRENGTHS: std::ops::RangeInclusive<f64> = -1.0..=40.0;

/// Labels agree with the last usable mark's strength to within this.
const SAME_MARK: f64 = 1e-9;

/// Profiles that go into the field together.
#[derive(Clone, Debug, Default)]
pub struct Kit {
    /// Readable profiles, in the order they were given.
    pub filters: Vec<Profile>,
    /// What was left at home, and why.
    pub skipped: Vec<Skipped>,
}

/// A profile that could not be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Skipped {
    /// Where it was.
    pub path: String,
    /// Why.
    pub reason: String,
}

/// One strength that multiplies a time: a solid filter, a mark of a variable one, a measured stack.
#[derive(Clone, Debug, PartialEq)]
pub struct Neutral {
    /// Index into [`Kit::filters`].
    pub filter: usize,
    /// The filter's name.
    pub name: String,
    /// Mark of a variable filter.
    pub mark: Option<String>,
    /// True strength, green channels, frame centre.
    pub stops: Stops,
    /// Expanded uncertainty at 95 %.
    pub u95: Stops,
    /// What the rim claims for it.
    pub rated: Option<Stops>,
    /// Within the tolerance that the profile was measured with.
    pub usable: bool,
    /// Widest lens at this mark, where the pair of polarisers was fitted.
    pub widest: Widest,
    /// Sort of filter.
    pub kind: Kind,
}

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

/// Several filters in front of one lens.
#[derive(Clone, Debug, PartialEq)]
pub struct Stack {
    /// Its parts, strongest first.
    pub parts: Vec<Neutral>,
    /// Sum of the true strengths, or the measured strength of the stack.
    pub stops: Stops,
    /// Expanded uncertainty at 95 %.
    pub u95: Stops,
    /// Whether the stack itself was measured.
    pub measured: bool,
}

impl Kit {
    /// Reads documents; each source is a name and its text or the reason why there is none.
    pub fn assemble(sources: impl IntoIterator<Item = (String, Result<String, String>)>) -> Self {
        let mut kit = Self::default();
        for (path, text) in sources {
            let read = text
                .and_then(|text| Document::parse(&text).map_err(|error| error.to_string()))
                .and_then(|document| sound(document.profile));
            match read {
                Ok(profile) => kit.filters.push(profile),
                Err(reason) => kit.skipped.push(Skipped { path, reason }),
            }
        }
        kit
    }

    /// Every strength that multiplies a time, filter by filter, marks from weak to strong.
    #[must_use]
    pub fn neutrals(&self) -> Vec<Neutral> {
        self.filters.iter().enumerate().flat_map(|(i, p)| of_profile(i, p)).collect()
    }

    /// Stacks of `count` different filters, usable marks only; a stack that was measured itself
    /// stands with its measured strength.
    #[must_use]
    pub fn stacks(&self, count: usize) -> Vec<Stack> {
        let single: Vec<Neutral> =
            self.neutrals().into_iter().filter(|n| n.usable && n.kind != Kind::Stack).collect();
        let mut found = Vec::new();
        combine(&single, count, &mut Vec::new(), &mut |parts| found.push(self.stack(parts)));
        found
    }

    fn stack(&self, parts: &[Neutral]) -> Stack {
        let mut parts = parts.to_vec();
        parts.sort_by(|a, b| b.stops.get().total_cmp(&a.stops.get()));
        let measured = self.filters.iter().find(|p| is_measured_stack(p, &parts));
        let (stops, u95) = measured.and_then(|p| p.settings.first()).map_or_else(
            || {
                let part = |n: &Neutral| exposure::Part { stops: n.stops, u95: n.u95 };
                let sum = exposure::stack(&parts.iter().map(part).collect::<Vec<_>>());
                (sum.stops, sum.u95)
            },
            |s| (s.strength.stops, s.strength.u95),
        );
        Stack { parts, stops, u95, measured: measured.is_some() }
    }

    /// The strongest thing in the kit, measured stacks counted.
    #[must_use]
    pub fn strongest(&self) -> Stops {
        Stops::new(self.neutrals().iter().map(|n| n.stops.get()).fold(0.0, f64::max))
    }
}

fn is_measured_stack(profile: &Profile, parts: &[Neutral]) -> bool {
    profile.stack.as_ref().is_some_and(|stack| {
        stack.parts.len() == parts.len()
            && parts.iter().all(|p| p.mark.is_none() && stack.parts.contains(&p.name))
    })
}

fn combine(
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
        let variable = |n: &Neutral| n.kind == Kind::Variable;
        let clash = chosen.iter().any(|c| {
            // Two variable filters on one lens are four polarisers: their marks do not add.
            c.filter == next.filter || (variable(c) && variable(next))
        });
        if !clash {
            chosen.push(next.clone());
            combine(from.get(i + 1..).unwrap_or_default(), count - 1, chosen, each);
            chosen.pop();
        }
    }
}

/// Whether a document that could be read also makes sense.
fn sound(profile: Profile) -> Result<Profile, String> {
    if profile.settings.is_empty() && profile.graduation.is_none() {
        return Err("the profile holds no setting; measure the filter again".to_owned());
    }
    match profile.settings.iter().find(|s| !STRENGTHS.contains(&s.strength.stops.get())) {
        Some(bad) => Err(format!(
            "a strength of {} stops is not that of a filter; measure it again",
            bad.strength.stops.get()
        )),
        None => Ok(profile),
    }
}

fn of_profile(index: usize, profile: &Profile) -> Vec<Neutral> {
    match profile.filter.kind {
        Kind::Solid | Kind::Stack => {
            profile.settings.iter().take(1).map(|s| neutral(index, profile, s)).collect()
        }
        Kind::Variable => {
            let mut marks: Vec<Neutral> =
                profile.settings.iter().map(|s| neutral(index, profile, s)).collect();
            marks.sort_by(|a, b| a.stops.get().total_cmp(&b.stops.get()));
            marks
        }
        // Neither multiplies a time: one is metered beside, the other metered through.
        Kind::Graduated | Kind::Polariser => Vec::new(),
    }
}

fn neutral(index: usize, profile: &Profile, setting: &Setting) -> Neutral {
    let filter = &profile.filter;
    let variable = filter.kind == Kind::Variable;
    Neutral {
        filter: index,
        name: filter.name.clone(),
        mark: if variable { setting.mark.clone() } else { None },
        stops: setting.strength.stops,
        u95: setting.strength.u95,
        rated: if variable { claim(profile, setting) } else { filter.rated_stops },
        usable: !variable || within_usable(profile, setting),
        widest: widest(profile, setting),
        kind: filter.kind,
    }
}

/// A ring's figure is a claim where it is a number inside the rated range.
fn claim(profile: &Profile, setting: &Setting) -> Option<Stops> {
    let [low, high] = profile.filter.rated_range_stops?;
    let figure: f64 = setting.mark.as_deref()?.trim().parse().ok()?;
    (low.get()..=high.get()).contains(&figure).then(|| Stops::new(figure))
}

/// Whether a mark comes before the first one that fails.
#[must_use]
pub fn within_usable(profile: &Profile, setting: &Setting) -> bool {
    let Some(usable) = &profile.usable else { return true };
    let Some(last) = &usable.last_mark else { return false };
    let limit = usable.last_stops.or_else(|| {
        let of_last = |s: &&Setting| s.mark.as_ref() == Some(last);
        profile.settings.iter().find(of_last).map(|s| s.strength.stops)
    });
    limit.is_none_or(|limit| setting.strength.stops.get() <= limit.get() + SAME_MARK)
}

fn widest(profile: &Profile, setting: &Setting) -> Widest {
    let (Some(pair), Some(mark)) = (&profile.polariser_pair, &setting.mark) else {
        return Widest::Unknown;
    };
    match pair.widest_lens_mm.iter().find(|w| &w.mark == mark).map(|w| w.focal_length_mm) {
        None => Widest::Unknown,
        Some(None) => Widest::None,
        Some(Some(lens)) => Widest::Lens(lens),
    }
}
