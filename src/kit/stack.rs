//! Filters in front of one lens: strengths add, since transmittances multiply; uncertainties add as
//! squares where they are independent, and as they stand where the profiles share their cause.
//!
//! A plain sum of the uncertainties would claim that everything is shared, a plain sum of squares
//! that nothing is. Both are wrong for filters measured with one camera: what one dial time is off
//! by, and what the black level is off by, stand in each of the profiles with the same sign (JCGM
//! 100:2008, 5.2.2, the term of the covariance); noise, light and repeats of two shoots are each
//! their own; frames that served for both profiles make all of it common. Another body, or one
//! without a serial number, shares nothing that is known of.

use super::strengths::Neutral;
use crate::profile::{BudgetLine, FrameState, Kind, Profile, Setting};
use crate::quantity::Stops;
use std::collections::BTreeSet;

/// Share of a shutter's variance that stays from one year to the next; springs tire (ours).
pub(crate) const SHUTTER_STAYS: f64 = 0.75;

/// One filter of a stack, with what its uncertainty may share with that of another.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Part {
    /// Name.
    pub name: String,
    /// Strength.
    pub stops: Stops,
    /// Expanded uncertainty at 95 %.
    pub u95: Stops,
    /// Make, model and serial number, where all are known.
    body: Option<[String; 3]>,
    /// Dial times of the frames that were measured.
    dial_times: BTreeSet<String>,
    /// Those frames, by their hashes.
    frames: BTreeSet<String>,
    /// Share of `u95` that the shutter times make, in stops.
    shutter_u95: f64,
    /// Share of `u95` that the black level makes, in stops.
    black_u95: f64,
    /// The same of linearity.
    linearity_u95: f64,
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

impl Part {
    /// A strength of which nothing more is known.
    #[must_use]
    pub fn alone(name: &str, stops: Stops, u95: Stops) -> Self {
        Self { name: name.to_owned(), stops, u95, ..Self::default() }
    }

    /// One setting of a profile.
    #[must_use]
    pub fn of(profile: &Profile, setting: &Setting) -> Self {
        let camera = &profile.camera;
        let body = [&camera.make, &camera.model, &camera.serial].map(Option::clone);
        let measured = |f: &&crate::profile::FrameRecord| {
            matches!(f.state, FrameState::Bare | FrameState::Setting)
        };
        let frames = || profile.frames.iter().filter(measured);
        let u95 = setting.strength.u95;
        Self {
            name: profile.filter.name.clone(),
            stops: setting.strength.stops,
            u95,
            body: match body {
                [Some(make), Some(model), Some(serial)] => Some([make, model, serial]),
                _ => None,
            },
            dial_times: frames().filter_map(|f| f.dial_time.clone()).collect(),
            frames: frames().map(|f| f.sha256.clone()).filter(|hash| !hash.is_empty()).collect(),
            shutter_u95: share(profile, BudgetLine::SHUTTER).min(u95.get()),
            black_u95: share(profile, BudgetLine::BLACK).min(u95.get()),
            linearity_u95: share(profile, BudgetLine::LINEARITY).min(u95.get()),
        }
    }

    /// What the body is off by in two measurements alike, as a covariance of the expanded
    /// uncertainties in stops squared: it cancels in their difference (JCGM 100:2008, 5.2.2), so
    /// that here only what is known to be shared counts. Of the shutter that needs the same dial
    /// times in both, and springs tire.
    #[must_use]
    pub fn cancels(&self, other: &Self) -> f64 {
        if self.body.is_none() || self.body != other.body {
            return 0.0;
        }
        let same_times = !self.dial_times.is_empty() && self.dial_times == other.dial_times;
        let stays = if same_times { SHUTTER_STAYS } else { 0.0 };
        stays * self.shutter_u95 * other.shutter_u95
            + self.black_u95 * other.black_u95
            + self.linearity_u95 * other.linearity_u95
    }

    /// Covariance of the expanded uncertainties of two parts, stops squared.
    fn common(&self, other: &Self) -> f64 {
        if !self.frames.is_disjoint(&other.frames) {
            return self.u95.get() * other.u95.get();
        }
        if self.body.is_none() || self.body != other.body {
            return 0.0;
        }
        let one_time = !self.dial_times.is_disjoint(&other.dial_times);
        let shutter = if one_time { self.shutter_u95 * other.shutter_u95 } else { 0.0 };
        shutter + self.black_u95 * other.black_u95 + self.linearity_u95 * other.linearity_u95
    }
}

/// What one source makes of the expanded uncertainty of the first setting, in stops; the others
/// of a ring are taken to hold as much of it.
fn share(profile: &Profile, source: &str) -> f64 {
    let total = profile.budget.iter().map(|line| line.stops.get().powi(2)).sum::<f64>().sqrt();
    let line = profile.budget.iter().find(|line| line.source == source);
    let first = profile.settings.first().map(|s| s.strength.u95.get());
    match (line, first) {
        (Some(line), Some(u95)) if total > 0.0 => u95 * line.stops.get() / total,
        _ => 0.0,
    }
}

/// Strength and expanded uncertainty of several filters together.
#[must_use]
pub fn together(parts: &[Part]) -> (Stops, Stops) {
    let stops: f64 = parts.iter().map(|part| part.stops.get()).sum();
    let own: f64 = parts.iter().map(|part| part.u95.get().powi(2)).sum();
    let pairs =
        parts.iter().enumerate().flat_map(|(i, a)| parts[i + 1..].iter().map(move |b| (a, b)));
    let common: f64 = pairs.map(|(a, b)| 2.0 * a.common(b)).sum();
    (Stops::new(stops), Stops::new((own + common).sqrt()))
}

/// Expanded uncertainty of the difference of two results, as if nothing were shared: what they do
/// share cancels, so this is the wide side (JCGM 100:2008, 5.1.2).
#[must_use]
pub fn u95_of_difference(first_u95: f64, second_u95: f64) -> f64 {
    first_u95.hypot(second_u95)
}

/// Whether two filters make a stack whose strengths add: not one filter twice, no measured stack
/// with its own part, and no two rings, since two variable filters are four polarisers.
#[must_use]
pub fn may_stand_together(one: &Profile, two: &Profile) -> bool {
    let holds = |stack: &Profile, part: &Profile| {
        stack.stack.as_ref().is_some_and(|s| s.parts.contains(&part.filter.name))
    };
    let ring = |p: &Profile| p.filter.kind == Kind::Variable;
    let same = one.filter.name == two.filter.name;
    !(same || holds(one, two) || holds(two, one) || (ring(one) && ring(two)))
}

impl Stack {
    /// These parts of a kit, as measured where their stack was, else added.
    #[must_use]
    pub fn of(filters: &[Profile], parts: &[Neutral]) -> Self {
        let mut parts = parts.to_vec();
        parts.sort_by(|a, b| b.stops.get().total_cmp(&a.stops.get()));
        let measured = filters.iter().find(|p| is_measured_stack(p, &parts));
        let (stops, u95) = match measured.and_then(|p| p.settings.first()) {
            Some(setting) => (setting.strength.stops, setting.strength.u95),
            None => together(&parts.iter().map(|n| part(filters, n)).collect::<Vec<_>>()),
        };
        Self { parts, stops, u95, measured: measured.is_some() }
    }
}

fn part(filters: &[Profile], neutral: &Neutral) -> Part {
    let profile = filters.get(neutral.filter);
    let same = |s: &&Setting| neutral.mark.is_none() || s.mark == neutral.mark;
    profile
        .and_then(|p| Some(Part::of(p, p.settings.iter().find(same)?)))
        .unwrap_or_else(|| Part::alone(&neutral.name, neutral.stops, neutral.u95))
}

fn is_measured_stack(profile: &Profile, parts: &[Neutral]) -> bool {
    profile.stack.as_ref().is_some_and(|stack| {
        stack.parts.len() == parts.len()
            && parts.iter().all(|p| p.mark.is_none() && stack.parts.contains(&p.name))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(stops: f64, u95: f64) -> Part {
        Part::alone("", Stops::new(stops), Stops::new(u95))
    }

    fn on(body: &str, time: &str, shutter_u95: f64, part: Part) -> Part {
        let own = |text: &str| text.to_owned();
        Part {
            body: Some(["Plain".to_owned(), "One".to_owned(), own(body)]),
            dial_times: [own(time)].into(),
            shutter_u95,
            ..part
        }
    }

    #[test]
    fn strengths_add_and_independent_uncertainties_add_as_squares() {
        // 3, 4, 5.
        let (stops, u95) = together(&[part(6.0, 0.03), part(10.5, 0.04)]);
        assert!((stops.get() - 16.5).abs() < 1e-12 && (u95.get() - 0.05).abs() < 1e-12);
        assert_eq!(together(&[]), (Stops::new(0.0), Stops::new(0.0)));
    }

    #[test]
    fn what_one_shutter_time_is_off_by_adds_as_it_stands() {
        // All of both is the shutter's, at one dial time of one body: 0.03 + 0.04.
        let a = on("1", "1/15", 0.03, part(6.0, 0.03));
        let b = on("1", "1/15", 0.04, part(10.0, 0.04));
        assert!((together(&[a.clone(), b.clone()]).1.get() - 0.07).abs() < 1e-12);
        // Another body, or another time, shares nothing.
        for other in [on("2", "1/15", 0.04, b.clone()), on("1", "1/30", 0.04, b)] {
            assert!((together(&[a.clone(), other]).1.get() - 0.05).abs() < 1e-12);
        }
    }

    #[test]
    fn frames_in_both_make_all_of_it_common() {
        let frame: BTreeSet<String> = ["ab".to_owned()].into();
        let of = |u95| Part { frames: frame.clone(), ..part(3.0, u95) };
        assert!((together(&[of(0.03), of(0.04)]).1.get() - 0.07).abs() < 1e-12);
    }
}
