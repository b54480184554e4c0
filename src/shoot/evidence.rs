//! Readings of a shoot with what the wish tells beforehand, and what is doubtful about them.

use super::frames::Observed;
use super::hypotheses::{LEAST_STRENGTH, Reading, Shown, Terms, readings};
use super::kalman::Level;
use super::runs;
use super::times::Evidence;
use super::verdicts::{Role, Verdicts};
use super::wish::Wish;
use crate::caution::{Caution, LightDoubt};
use crate::numerics::numbering::number_of;
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
/// Rotations of a polariser on both sides of the darkest differ by less than two marks of a ring: more
/// than this is another one, stops (ours).
const BETWEEN_ROTATIONS: f64 = 0.03;
/// Runs of a filter that is said to be weak differ from bare ones by more than this, and it takes as
/// much, stops (ours: twice what an aperture and a shutter scatter).
const WEAK: f64 = 0.03;
/// Frames of a whole run.
pub const WHOLE_RUN: usize = 2;
/// Right are frames of several runs that are so many times as many as brighter ones against them (ours).
const CLEAR_MAJORITY: usize = 3;
/// And whose runs agree to this, stops (ours): a cloud over several runs does not stand still.
const RUNS_AGREE: f64 = 0.05;
/// Frames at a time of their own are a filter's where they lie so far below the bare ones, stops (ours).
pub const LEAST_APART: f64 = 0.5;
/// A frame further away is of something else, stops (ours).
pub const FOREIGN: f64 = 1.5;

/// What the wish tells of the filter before its levels are seen.
fn terms(wish: &Wish) -> Terms {
    let several = wish.names_marks() || matches!(wish.kind, Some(Kind::Polariser | Kind::Variable));
    let second_state = if several { 0.0 } else { SECOND_STATE };
    let least_strength = least_strength(wish);
    Terms { most_states: MOST_STATES, second_state, by_settings: !several, least_strength }
}

fn least_strength(wish: &Wish) -> f64 {
    if wish.is_weak { WEAK } else { LEAST_STRENGTH }
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
        let levels = series(frames, good, wish);
        let mut found = readings(&levels, terms(wish));
        if found.first().is_some_and(|best| stands_apart(best, &levels, wish)) {
            found.retain(|reading| !reading.strengths.is_empty());
        }
        found.first().is_some_and(|best| !best.strengths.is_empty()).then_some(Self(found))
    }
    pub fn best(&self) -> &Reading {
        &self.0[0]
    }
    /// Read once more with so many states at most; `None` where that would throw whole runs away.
    pub fn held_to(
        &self,
        frames: &[Observed],
        good: &[usize],
        wish: &Wish,
        most: usize,
    ) -> Option<Self> {
        let terms = Terms {
            most_states: most,
            second_state: 0.0,
            by_settings: most == 1,
            least_strength: least_strength(wish),
        };
        let mut held = readings(&series(frames, good, wish), terms);
        held.retain(|r| !r.strengths.is_empty());
        let odd = |r: &Reading| r.frames.iter().filter(|f| matches!(f, Shown::Odd(..))).count();
        let lost = held.first().map(odd)?.saturating_sub(odd(self.best()));
        (most == 1 || lost < WHOLE_RUN).then_some(Self(held))
    }
    /// Frames that contradict each other.
    pub fn contradictions(&self, good: &[usize]) -> Vec<Contradiction> {
        contradictions(good, self.best())
    }
    /// What a reader of the number has to know of how the frames were read.
    pub fn doubts(&self, wish: &Wish) -> Vec<Caution> {
        let best = self.best();
        let mut found = Vec::new();
        found.extend(
            (best.steps > 0).then_some(Caution::Light(LightDoubt::Stepped { times: best.steps })),
        );
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

/// Whether a reading without a filter leaves a run far below the bare light: a run that wavers, under
/// clouds that pass, is nearer to a filter's than to nothing, and so is a graduated filter that slid in
/// its holder, of which each run shows another level.
fn stands_apart(reading: &Reading, levels: &[Level], wish: &Wish) -> bool {
    let bare = levels.iter().zip(&reading.frames).find(|(_, s)| **s == Shown::Role(Role::Bare));
    let Some((bare, _)) = bare.filter(|_| reading.strengths.is_empty()) else { return false };
    let is_apart = |level: &Level, shown: &Shown| {
        let wavers = level.exposure == bare.exposure && wish.kind != Some(Kind::Graduated);
        let least = if wavers { FOREIGN } else { LEAST_APART };
        matches!(shown, Shown::Odd(..)) && reading.stops_against_bare(shown) < -least
    };
    let apart = levels.iter().zip(&reading.frames).filter(|(level, shown)| is_apart(level, shown));
    apart.count() >= WHOLE_RUN
}

/// The levels of frames as readings take them.
pub fn series(frames: &[Observed], good: &[usize], wish: &Wish) -> Vec<Level> {
    let turned = wish.kind == Some(Kind::Polariser);
    let jump = match (turned, wish.is_weak) {
        (true, _) => BETWEEN_ROTATIONS,
        (false, true) => WEAK,
        (false, false) => runs::LEAST_JUMP,
    };
    let runs = runs::split_from(frames, good, jump);
    let starts: Vec<usize> = runs.iter().filter_map(|r| r.first().copied()).collect();
    let mut exposures: Vec<[Option<i64>; 3]> = Vec::new();
    let mut settings: Vec<(bool, [Option<i64>; 3])> = Vec::new();
    let level = |&i: &usize| {
        let frame = &frames[i];
        let exposure = frame.exposure.as_ref();
        let own = [
            exposure.map(|e| (e.recorded.get().log2() * 100.0).round() as i64),
            exposure.and_then(|e| e.iso).map(|s| s.get().round() as i64),
            exposure.and_then(|e| e.f_number).map(|n| (n.get() * 100.0).round() as i64),
        ];
        let [time, iso, f_number] = own;
        let [time, other] = [(true, [time, None, None]), (false, [None, iso, f_number])];
        let assumed = exposure.is_some_and(|e| e.evidence == Evidence::Assumed);
        Level {
            minutes: frame.minutes,
            stops: frame.look.whole,
            // That of one block, since black is as doubtful in all of them.
            noise: if frame.look.noise.is_finite() { frame.look.noise } else { 0.0 },
            dial: if assumed { frame.dial_difference() } else { 0.0 },
            joins: !starts.contains(&i),
            exposure: number_of(&mut exposures, own),
            settings: [time, other].map(|own| Some(number_of(&mut settings, own))),
        }
    };
    let mut levels: Vec<Level> = good.iter().map(level).collect();
    shared_most(&mut levels, settings.len());
    levels
}

/// So many settings of a series at most are followed by themselves: what is known of each costs as much
/// as all of them (ours).
const MOST_SETTINGS: usize = 24;

/// New numbers for those settings that the most frames share; of one frame alone there is none.
fn shared_most(levels: &mut [Level], count: usize) {
    let mut frames = vec![0_usize; count];
    levels.iter().flat_map(|l| l.settings).flatten().for_each(|number| frames[number] += 1);
    let mut order: Vec<usize> = (0..count).filter(|&number| frames[number] > 1).collect();
    order.sort_by_key(|&number| std::cmp::Reverse(frames[number]));
    order.truncate(MOST_SETTINGS);
    let new = |old: Option<usize>| order.iter().position(|kept| Some(*kept) == old);
    levels.iter_mut().for_each(|level| level.settings = level.settings.map(new));
}

impl Reading {
    /// What a frame shows against the bare light, stops.
    #[must_use]
    pub fn stops_against_bare(&self, shown: &Shown) -> f64 {
        match shown {
            Shown::Role(Role::Setting(state)) => -self.strengths[*state],
            Shown::Odd(Some(role), by) => by + self.stops_against_bare(&Shown::Role(*role)),
            Shown::Odd(None, by) => *by,
            Shown::Role(Role::Bare) => 0.0,
        }
    }
}

/// Frames of one state, and those that contradict them.
pub struct Contradiction {
    /// Frames that were read as showing the state.
    read_so: Vec<usize>,
    /// Spoilt frames that should show it, how far they lie from it, stops, and whether that is so far
    /// that they may be of something else.
    against: Vec<(usize, f64, bool)>,
}

impl Contradiction {
    /// Adds what the lit part of a frame shows to those that contradict frames of its state.
    pub fn add(list: &mut Vec<Self>, state: &[usize], (frame, apart): (usize, f64)) {
        list.iter_mut().for_each(|known| known.against.retain(|(i, ..)| *i != frame));
        match list.iter_mut().find(|known| state.iter().any(|i| known.read_so.contains(i))) {
            Some(known) => known.against.push((frame, apart, false)),
            None => {
                let against = vec![(frame, apart, false)];
                list.push(Self { read_so: state.to_vec(), against });
            }
        }
    }
    /// A caution where, of the frames that are used in the end, nothing but their number tells which
    /// are right: clouds darken, and what is spoilt is the lesser part, or nobody knows. Frames that
    /// may be of something else count only against a frame that nothing confirms.
    pub fn caution(&self, frames: &[Observed], verdicts: &Verdicts) -> Option<Caution> {
        let used = verdicts.good(&self.read_so);
        let against: Vec<&(usize, f64, bool)> =
            self.against.iter().filter(|(.., is_foreign)| !is_foreign || used.len() == 1).collect();
        let apart = against.iter().map(|(_, apart, _)| *apart);
        let apart = apart.max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
        let (n, m) = (used.len(), against.len());
        // A cloud over most of one run leaves those brighter that it spared.
        let bracketed = runs_agree(frames, verdicts, &used);
        let told = n > 1 && ((apart < 0.0 && n > m) || (bracketed && n >= CLEAR_MAJORITY * m));
        let names = |of: &mut dyn Iterator<Item = usize>| -> Vec<String> {
            of.map(|i| frames[i].file().to_owned()).collect()
        };
        (n > 0 && !told).then(|| Caution::FramesDisagree {
            used: names(&mut used.into_iter()),
            against: names(&mut against.into_iter().map(|(i, ..)| *i)),
            apart: Stops::new(apart),
        })
    }
}

/// Whether frames lie in several runs that show the same light.
fn runs_agree(frames: &[Observed], verdicts: &Verdicts, used: &[usize]) -> bool {
    let run = |i: &usize| verdicts.place_of(*i).run;
    let levels: Vec<f64> =
        used.chunk_by(|a, b| run(a) == run(b)).map(|part| runs::middle(frames, part)).collect();
    let low = levels.iter().copied().fold(f64::INFINITY, f64::min);
    let high = levels.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    levels.len() > 1 && high - low <= RUNS_AGREE
}

/// Which frames of a reading contradict which: a spoilt one those of the nearest state or, where that
/// is so far away that it may be of something else, those of the states before and after it.
fn contradictions(good: &[usize], reading: &Reading) -> Vec<Contradiction> {
    let states = (0..reading.strengths.len()).map(Role::Setting);
    let roles: Vec<Role> = [Role::Bare].into_iter().chain(states).collect();
    let read_as = |shown: &Shown| match shown {
        Shown::Role(role) => Some(*role),
        Shown::Odd(..) => None,
    };
    let mut against: Vec<Vec<(usize, f64, bool)>> = vec![Vec::new(); roles.len()];
    for (at, shown) in reading.frames.iter().enumerate() {
        if read_as(shown).is_some() {
            continue;
        }
        let apart = |role: Role| {
            reading.stops_against_bare(shown) - reading.stops_against_bare(&Shown::Role(role))
        };
        let near = |role: &&Role| apart(**role).abs();
        let nearest = roles.iter().min_by(|a, b| near(a).total_cmp(&near(b)));
        let nearest = nearest.copied().filter(|role| apart(*role).abs() < FOREIGN);
        let (before, after) = reading.frames.split_at(at);
        let mut beside =
            vec![before.iter().rev().find_map(read_as), after.iter().find_map(read_as)];
        beside.dedup();
        let of = if nearest.is_some() { vec![nearest] } else { beside };
        for role in of.into_iter().flatten() {
            let place = roles.iter().position(|known| *known == role).unwrap_or(0);
            against[place].push((good[at], apart(role), nearest.is_none()));
        }
    }
    let frames_of = |role: Role| -> Vec<usize> {
        let all = good.iter().zip(&reading.frames);
        all.filter(|(_, shown)| read_as(shown) == Some(role)).map(|(i, _)| *i).collect()
    };
    let found = roles.iter().zip(against).filter(|(_, against)| !against.is_empty());
    found.map(|(role, against)| Contradiction { read_so: frames_of(*role), against }).collect()
}
