//! Readings of a shoot with what the wish tells beforehand, and what is doubtful about them.

use super::frames::Observed;
use super::hypotheses::{Level, Reading, Shown, Terms, readings};
use super::runs;
use super::times::Evidence;
use super::verdicts::Role;
use super::wish::Wish;
use crate::caution::Caution;
use crate::profile::Kind;
use crate::quantity::Stops;

/// A second state of the filter is this likely where nobody says that it has one, as ln of the odds
/// (ours, from simulated shoots: solid filters under changing light stay solid, rings stay rings).
const SECOND_STATE: f64 = -3.5;
/// No ring has more marks.
const MOST_STATES: usize = 40;
/// A reading that is less likely by a smaller factor than e to this (20 to 1) is worth a word: strong
/// evidence begins there (R. E. Kass and A. E. Raftery, Bayes Factors, 1995).
const CLOSE: f64 = 3.0;
/// Frames of a whole run.
const WHOLE_RUN: usize = 2;
/// Right are frames that are so many times as many as those against them (ours).
const CLEAR_MAJORITY: usize = 3;
/// A frame further away is of something else, stops (ours).
pub const FOREIGN: f64 = 1.5;

/// What the wish tells of the filter before its levels are seen.
fn terms(wish: &Wish) -> Terms {
    let several = wish.names_marks() || wish.kind == Some(Kind::Polariser);
    let second_state = if several { 0.0 } else { SECOND_STATE };
    Terms { most_states: MOST_STATES, second_state, by_settings: !several }
}

/// Settings that the wish allows.
pub fn most_states(wish: &Wish) -> usize {
    let of_one = matches!(wish.kind, Some(Kind::Solid | Kind::Graduated | Kind::Stack));
    let unknown = wish.kind.is_none() && wish.single_strength;
    let mut names = wish.marks.clone();
    names.sort();
    names.dedup();
    match names.len() {
        _ if of_one || unknown => 1,
        0 | 1 => MOST_STATES,
        _ if wish.kind == Some(Kind::Polariser) => MOST_STATES,
        named => named,
    }
}

/// The readings of a shoot, best first.
pub struct Readings(Vec<Reading>);

impl Readings {
    /// `None` where bare light alone explains the frames best, or nothing does.
    pub fn of(frames: &[Observed], good: &[usize], wish: &Wish) -> Option<Self> {
        let found = readings(&series(frames, good), terms(wish));
        found.first().is_some_and(|best| !best.strengths.is_empty()).then_some(Self(found))
    }
    pub fn best(&self) -> &Reading {
        &self.0[0]
    }
    /// Read once more with so many states at most; `None` where that would throw whole runs away.
    pub fn held_to(&self, frames: &[Observed], good: &[usize], most: usize) -> Option<Self> {
        let terms = Terms { most_states: most, second_state: 0.0, by_settings: most == 1 };
        let mut held = readings(&series(frames, good), terms);
        held.retain(|r| !r.strengths.is_empty());
        let odd = |r: &Reading| r.frames.iter().filter(|f| matches!(f, Shown::Odd(..))).count();
        let lost = held.first().map(odd)?.saturating_sub(odd(self.best()));
        (most == 1 || lost < WHOLE_RUN).then_some(Self(held))
    }
    /// What a reader of the number has to know of how the frames were read.
    pub fn doubts(&self, frames: &[Observed], good: &[usize], wish: &Wish) -> Vec<Caution> {
        let best = self.best();
        let mut found = disagreements(frames, good, best);
        found.extend((best.steps > 0).then_some(Caution::LightStepped { times: best.steps }));
        let is_ring = |r: &Reading| r.strengths.len() > 1;
        let other = self.0.iter().find(|r| is_ring(r) != is_ring(best) && !r.strengths.is_empty());
        let close = other.filter(|r| best.evidence - r.evidence < CLOSE);
        let open = wish.kind.is_none() && wish.marks.is_empty() && !wish.single_strength;
        if close.is_some() && open {
            let of = |ring: bool| if ring { "variable" } else { "solid" };
            let (taken, other) = (of(is_ring(best)), of(!is_ring(best)));
            found.push(Caution::KindUncertain { taken, other });
        }
        found
    }
}

/// The levels of frames as readings take them.
fn series(frames: &[Observed], good: &[usize]) -> Vec<Level> {
    let starts: Vec<usize> =
        runs::split(frames, good).iter().filter_map(|r| r.first().copied()).collect();
    let mut settings: Vec<[Option<i64>; 3]> = Vec::new();
    let level = |&i: &usize| {
        let frame = &frames[i];
        let exposure = frame.exposure.as_ref();
        let own = [
            exposure.map(|e| (e.recorded.get().log2() * 100.0).round() as i64),
            exposure.and_then(|e| e.iso).map(|s| s.get().round() as i64),
            exposure.and_then(|e| e.f_number).map(|n| (n.get() * 100.0).round() as i64),
        ];
        let at = settings.iter().position(|s| *s == own).unwrap_or_else(|| {
            settings.push(own);
            settings.len() - 1
        });
        let assumed = exposure.is_some_and(|e| e.evidence == Evidence::Assumed);
        Level {
            minutes: frame.minutes,
            stops: frame.look.whole,
            // That of one block, since black is as doubtful in all of them.
            noise: if frame.look.noise.is_finite() { frame.look.noise } else { 0.0 },
            dial: if assumed { frame.dial_difference() } else { 0.0 },
            joins: !starts.contains(&i),
            exposure: at,
        }
    };
    good.iter().map(level).collect()
}

/// Frames of one state that contradict each other where nothing but their number tells which are
/// right: clouds darken, and what is spoilt is the lesser part, or nobody knows.
fn disagreements(frames: &[Observed], good: &[usize], reading: &Reading) -> Vec<Caution> {
    let all = || good.iter().copied().zip(&reading.frames);
    let mut roles: Vec<Role> = Vec::new();
    for (_, shown) in all() {
        if let Shown::Odd(Some(role), _) = shown
            && !roles.contains(role)
        {
            roles.push(*role);
        }
    }
    let caution = |role: &Role| {
        let names = |of: &dyn Fn(&Shown) -> bool| -> Vec<String> {
            all().filter(|(_, s)| of(s)).map(|(i, _)| frames[i].file().to_owned()).collect()
        };
        let used = names(&|s| *s == Shown::Role(*role));
        let by_how_much = |s: &Shown| match s {
            Shown::Odd(Some(of), by) if of == role && by.abs() < FOREIGN => Some(*by),
            _ => None,
        };
        let against = names(&|s| by_how_much(s).is_some());
        let by = all().filter_map(|(_, s)| by_how_much(s));
        let apart = by.max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
        let (n, m) = (used.len(), against.len());
        let told = n > 1 && ((apart < 0.0 && n > m) || n >= CLEAR_MAJORITY * m);
        (!told).then(|| Caution::FramesDisagree { used, against, apart: Stops::new(apart) })
    };
    roles.iter().filter_map(caution).collect()
}
