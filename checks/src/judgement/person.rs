//! One person before a wall: what is put before the lens, in which order, how times are found, and
//! what else lies on the card.

use super::dice::Dice;
use super::light::Light;
use super::scene::{Before, Shadow, Shot};
use super::shutter::Time;
use std::f64::consts::TAU;

/// The longest time on the dial, seconds.
const LONGEST_S: f64 = 30.0;
/// Stops by which an aperture misses its marking (ours, from memory).
const F_STOP_ERROR: f64 = 0.06;

/// How times are found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Timing {
    /// One for all.
    Left,
    /// For the level of the bare frames, once for each state, to about so many stops.
    Once(f64),
    /// Anew whenever something was put on or taken off.
    Metered(f64),
    /// The camera meters every frame, up to half a minute.
    Automatic,
}

/// What is done beside the time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Helps {
    Nothing,
    /// So many stops are made up for by ISO.
    Iso(f64),
    /// By the aperture.
    Aperture(f64),
}

/// One person's ways.
#[derive(Clone, Debug)]
pub struct Ways {
    /// What is before the lens, and how often the shutter is pressed.
    pub visits: Vec<(Before, usize)>,
    pub timing: Timing,
    pub helps: Helps,
    /// Steps of automatic bracketing bare and through the filter, stops; 0 without.
    pub brackets: [f64; 2],
    /// Bracketed frames begin with the middle one.
    pub middle_first: bool,
    pub bare: Time,
    /// Half diagonals that the wall moves from frame to frame.
    pub shake: f64,
    /// The camera takes a dark frame after each long one.
    pub dark_after: bool,
}

impl Ways {
    /// The shots of this person, whose filter takes so many stops in each state.
    pub fn shots(&self, strengths: &[f64], light: &Light, dice: &mut Dice) -> Vec<Shot> {
        let mut session = Session { ways: self, strengths, light, clock_s: 0.0, shots: Vec::new() };
        let mut known: Vec<(Before, Time)> = vec![(Before::Nothing, self.bare)];
        let [iso, f_number] = match self.helps {
            Helps::Nothing => [100.0, 8.0],
            Helps::Iso(stops) => [100.0 * stops.round().exp2(), 8.0],
            Helps::Aperture(stops) => [100.0, f_number(stops)],
        };
        let off = if matches!(self.helps, Helps::Aperture(_)) { F_STOP_ERROR } else { 0.0 };
        let iris = off * dice.normal();
        for &(before, presses) in &self.visits {
            let set = match (self.timing, known.iter().find(|k| k.0 == before)) {
                (Timing::Left, _) => self.bare,
                (Timing::Once(_), Some(known)) => known.1,
                (Timing::Metered(_), Some(known)) if before == Before::Nothing => known.1,
                (Timing::Once(off) | Timing::Metered(off), _) => session.metered(before, off, dice),
                (Timing::Automatic, _) => session.metered(before, 0.2, dice),
            };
            known.push((before, set));
            for press in 0..presses {
                let pause =
                    if press == 0 { dice.log_uniform(4.0, 90.0) } else { dice.uniform(1.0, 8.0) };
                let set = match self.timing {
                    Timing::Automatic => session.metered(before, 0.2, dice),
                    _ => set,
                };
                let mut shot = Shot::new(before, set);
                shot.pause_s = pause;
                if before != Before::Nothing {
                    (shot.iso, shot.f_number, shot.fault.iris) = (iso, f_number, iris);
                }
                session.press(&shot, dice);
            }
        }
        let mut shots = session.shots;
        shots[0].pause_s = 0.0;
        shots
    }
}

/// A person at work.
struct Session<'a> {
    ways: &'a Ways,
    strengths: &'a [f64],
    light: &'a Light,
    clock_s: f64,
    shots: Vec<Shot>,
}

impl Session<'_> {
    /// The time that brings this to the level of the first bare frames, to so many stops.
    fn metered(&self, before: Before, off: f64, dice: &mut Dice) -> Time {
        let helped = match self.ways.helps {
            Helps::Iso(stops) => stops.round(),
            Helps::Aperture(stops) => 2.0 * (8.0 / f_number(stops)).log2(),
            Helps::Nothing => 0.0,
        };
        let stops = match before {
            Before::Filter(state) => self.strengths[state] - helped,
            _ => 0.0,
        };
        let now = self.light.over(self.clock_s / 60.0, 1.0).log2();
        let wanted = self.ways.bare.meant() * (stops - now + off * dice.uniform(-1.0, 1.0)).exp2();
        let automatic = self.ways.timing == Timing::Automatic;
        Time::near(if automatic { wanted.min(LONGEST_S) } else { wanted })
    }
    /// One press of the shutter: a frame, or three of a bracket.
    fn press(&mut self, shot: &Shot, dice: &mut Dice) {
        let step = self.ways.brackets[usize::from(shot.before != Before::Nothing)];
        let steps: &[f64] = match (step > 0.0, self.ways.middle_first) {
            (false, _) => &[0.0],
            (true, true) => &[0.0, -1.0, 1.0],
            (true, false) => &[-1.0, 0.0, 1.0],
        };
        for (i, by) in steps.iter().enumerate() {
            let mut one = shot.clone();
            if *by != 0.0 {
                one.time = Time::near(shot.time.meant() * (by * step).exp2());
            }
            if i > 0 {
                one.pause_s = 0.3;
            }
            if let Some(last) = self.shots.last().filter(|s| s.time.meant() >= 1.0)
                && self.ways.dark_after
            {
                one.pause_s += last.time.meant();
            }
            let (far, turn) = (self.ways.shake * dice.normal(), dice.uniform(0.0, TAU));
            one.fault.shift = (far * turn.cos(), far * turn.sin());
            self.clock_s += one.pause_s + one.time.meant();
            self.shots.push(one);
        }
    }
}

/// A marked aperture so many stops wider than f/8.
fn f_number(stops: f64) -> f64 {
    const MARKED: [f64; 8] = [8.0, 7.1, 6.3, 5.6, 5.0, 4.5, 4.0, 2.8];
    let far = |f: &f64| (2.0 * (8.0 / f).log2() - stops).abs();
    MARKED.into_iter().min_by(|a, b| far(a).total_cmp(&far(b))).unwrap_or(8.0)
}

/// What else lies on the card: one of many things that nobody deletes.
pub fn something_else(shots: &mut Vec<Shot>, focal_mm: f64, dice: &mut Dice) {
    let is_bare = |s: &Shot| s.before == Before::Nothing;
    let (bare, through) = (shots.iter().position(is_bare), shots.iter().position(|s| !is_bare(s)));
    let (bare, through) = (bare.unwrap_or(0), through.unwrap_or(0));
    let any = dice.below(shots.len() + 1);
    let insert =
        |shots: &mut Vec<Shot>, at: usize, like: usize, change: &mut dyn FnMut(&mut Shot)| {
            let mut shot = shots[like].clone();
            change(&mut shot);
            shots.insert(at, shot);
        };
    match dice.below(9) {
        // A hand before the lens.
        0 => {
            let shadow = Shadow {
                at: dice.uniform(-0.4, 0.4),
                turn: dice.uniform(0.0, TAU),
                soft: dice.log_uniform(0.1, 0.8),
                stops: dice.uniform(1.0, 6.0),
            };
            insert(shots, 0, 0, &mut |s| s.fault.shadow = Some(shadow));
        }
        // The first frame out of focus.
        1 => {
            let by = dice.uniform(0.01, 0.06);
            insert(shots, 0, bare, &mut |s| s.fault.refocus = by);
        }
        // The first frame at another focal length, which the file tells.
        2 => {
            let by = dice.uniform(-0.3, 0.5);
            let told = Some((focal_mm * (1.0 + by)).round());
            insert(shots, 0, bare, &mut |s| (s.fault.zoom, s.fault.told_focal_mm) = (by, told));
        }
        // The zoom crept when the filter was screwed on; files tell whole millimetres.
        3 => {
            let by = dice.uniform(0.003, 0.02);
            shots[through..].iter_mut().for_each(|s| s.fault.zoom = by);
        }
        4 => insert(shots, any, bare, &mut |s| s.before = Before::Cap),
        // Too long at first, then corrected.
        5 => {
            let by = dice.uniform(1.0, 4.0);
            insert(shots, bare, bare, &mut |s| s.time = Time::near(s.time.meant() * by.exp2()));
        }
        // The time was forgotten when the filter was put on.
        6 => {
            let time = shots[bare].time;
            insert(shots, through, through, &mut |s| s.time = time);
        }
        // Trials of the time through the filter.
        7 => {
            let by = dice.pick(&[-3.0, -2.0, -1.0, 1.0]);
            insert(shots, through, through, &mut |s| {
                s.time = Time::near(s.time.meant() * f64::exp2(by));
            });
        }
        _ => {
            let seed = dice.number();
            insert(shots, any, bare, &mut |s| s.fault.stray = Some(seed));
        }
    }
    shots[0].pause_s = 0.0;
}
