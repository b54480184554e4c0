//! Bad frames of many sorts in an otherwise good shoot.

use super::dice::Dice;
use super::scene::{Before, Scene, Shadow, Shot};
use super::shutter::Time;
use std::f64::consts::TAU;

/// A shoot that is being spoilt.
pub struct Spoiling<'a> {
    pub scene: &'a mut Scene,
    pub shots: &'a mut Vec<Shot>,
    pub dice: &'a mut Dice,
    pub stops: f64,
}

/// A sort of fault.
#[derive(Clone, Copy)]
pub struct Sort {
    pub name: &'static str,
    pub spoil: fn(&mut Spoiling<'_>),
}

macro_rules! sorts {
    ($($name:literal => $spoil:expr,)*) => { &[$(Sort { name: $name, spoil: $spoil }),*] };
}

/// All sorts.
pub static SORTS: &[Sort] = sorts! {
    "one filtered frame clouded" => |s| { let i = s.one(Run::Through); s.cloud(&[i], 0.15, 1.0); },
    "all but one filtered frames clouded" => |s| s.all_but_one(Run::Through),
    "one bare frame clouded" => |s| { let i = s.one(Run::Before); s.cloud(&[i], 0.15, 1.0); },
    "all but one first bare frames clouded" => |s| s.all_but_one(Run::Before),
    "a cloud over the closing bare run" => |s| s.whole(Run::After, |s, r| s.cloud(r, 0.1, 0.7)),
    "a cloud over the filtered run" => |s| s.whole(Run::Through, |s, r| s.cloud(r, 0.1, 0.7)),
    "the sun out for the closing bare run" => |s| s.whole(Run::After, |s, r| s.cloud(r, -0.7, -0.2)),
    "a half shadow over the filtered run" => |s| s.whole(Run::Through, |s, r| s.shade(r, 0.5)),
    "a half shadow over the closing bare run" => |s| s.whole(Run::After, |s, r| s.shade(r, 0.5)),
    "a half shadow over one filtered frame" => |s| { let i = s.one(Run::Through); s.shade(&[i], 0.8); },
    "the lens cap half on in one filtered frame" => |s| {
        let i = s.one(Run::Through);
        s.shade(&[i], f64::INFINITY);
    },
    "a finger in a corner of one frame" => |s| {
        let i = s.one(Run::Through);
        let turn = s.dice.uniform(0.0, TAU);
        s.shots[i].fault.shadow = Some(Shadow { at: 0.62, turn, soft: 0.2, stops: 2.0 });
    },
    "one bare frame clipped" => |s| { let i = s.one(Run::Before); s.longer(i); },
    "two bare frames clipped" => |s| {
        for i in s.run(Run::Before).into_iter().take(2) { s.longer(i); }
    },
    "one filtered frame buried" => |s| {
        let i = s.one(Run::Through);
        s.shots[i].time = Time::Dial(1.0 / 8000.0);
    },
    "a frame with the lens cap on" => |s| {
        let i = s.one(Run::Through);
        let capped = Shot::new(Before::Cap, s.shots[i].time);
        s.shots.insert(i, capped);
    },
    "the filter left on for a bare frame" => |s| {
        let i = s.one(Run::Before);
        s.shots[i].before = Before::Filter(0);
    },
    "the filter forgotten for a filtered frame" => |s| {
        let i = s.one(Run::Through);
        s.shots[i].before = Before::Nothing;
    },
    "the camera moved before the filtered run" => |s| s.whole(Run::Through, |s, r| {
        let by = s.direction(0.05, 0.4);
        for &i in r { s.shots[i].fault.shift = by; }
        for i in s.run(Run::After) { s.shots[i].fault.shift = by; }
    }),
    "the camera moved for one frame" => |s| {
        let (i, by) = (s.one(Run::Through), s.direction(0.1, 0.5));
        s.shots[i].fault.shift = by;
    },
    "zoomed before the filtered run" => |s| s.whole(Run::Through, |s, r| {
        let zoom = s.dice.uniform(0.1, 0.6);
        for &i in r { s.shots[i].fault.zoom = zoom; }
    }),
    "one frame at another focal length" => |s| {
        let (i, zoom) = (s.one(Run::Through), s.dice.uniform(0.2, 0.6));
        let told = (s.scene.focal_mm * (1.0 + zoom)).round();
        let fault = &mut s.shots[i].fault;
        (fault.zoom, fault.told_focal_mm) = (zoom, Some(told));
    },
    "refocused before the filtered run" => |s| s.whole(Run::Through, |s, r| {
        let closer = s.dice.uniform(0.005, 0.05);
        for &i in r { s.shots[i].fault.refocus = closer; }
    }),
    "one filtered frame at another aperture" => |s| {
        let (i, f) = (s.one(Run::Through), s.dice.pick(&[5.6, 7.1, 11.0]));
        s.shots[i].f_number = f;
    },
    "one filtered frame at another ISO" => |s| {
        let (i, iso) = (s.one(Run::Through), s.dice.pick(&[125.0, 200.0, 400.0]));
        s.shots[i].iso = iso;
    },
    "a stray picture" => |s| {
        let at = s.dice.below(s.shots.len());
        let mut stray = s.shots[0].clone();
        stray.fault.stray = Some(s.dice.number());
        s.shots.insert(at, stray);
    },
    "the clock set forward on the way" => |s| {
        let (from, by) = (s.dice.below(s.shots.len()), s.dice.pick(&[600.0, 3600.0, -3600.0]));
        for shot in &mut s.shots[from..] { shot.fault.clock_s = by; }
    },
    "lamps that flicker" => |s| s.scene.swing = s.dice.log_uniform(0.02, 0.3),
    "light past the filter in one frame" => |s| {
        let (i, share) = (s.one(Run::Through), s.dice.uniform(0.08, 0.8));
        s.shots[i].fault.leak = share * (-s.stops).exp2();
    },
    "dark frames with glow" => |s| {
        s.scene.body.glow = s.scene.body.glow.max(0.5);
        s.scene.body.creep = s.scene.body.creep.max(0.05);
        let longest = s.shots.iter().map(|x| x.time).max_by(|a, b| a.meant().total_cmp(&b.meant()));
        let dark = Shot::new(Before::Cap, longest.unwrap_or(Time::Dial(1.0)));
        s.shots.extend([dark.clone(), dark.clone(), dark]);
    },
    "haze on one filtered frame" => |s| {
        let i = s.one(Run::Through);
        s.shots[i].fault.haze = s.dice.uniform(0.08, 0.5);
    },
    "trial frames first" => |s| {
        for by in [-3.0_f64, 2.0, -1.0] {
            let mut trial = s.shots[0].clone();
            trial.time = Time::near(trial.time.meant() * by.exp2());
            s.shots.insert(0, trial);
        }
    },
    "no closing bare run" => |s| {
        let after = s.run(Run::After);
        let mut i = 0;
        s.shots.retain(|_| { i += 1; !after.contains(&(i - 1)) });
    },
    "blades that stick in one filtered frame" => |s| {
        let i = s.one(Run::Through);
        s.shots[i].fault.iris = s.dice.uniform(0.1, 0.6);
    },
};

/// The three runs of a plain shoot.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Run {
    Before,
    Through,
    After,
}

impl Spoiling<'_> {
    /// Indices of the frames of a run that nothing was done to.
    fn run(&self, run: Run) -> Vec<usize> {
        let is_through = |s: &Shot| s.before == Before::Filter(0);
        let middle = self.shots.iter().rposition(is_through).unwrap_or(0);
        (0..self.shots.len())
            .filter(|&i| match run {
                Run::Through => is_through(&self.shots[i]),
                Run::Before => self.shots[i].before == Before::Nothing && i < middle,
                Run::After => self.shots[i].before == Before::Nothing && i > middle,
            })
            .collect()
    }
    fn one(&mut self, run: Run) -> usize {
        let of = self.run(run);
        if of.is_empty() { 0 } else { self.dice.pick(&of) }
    }
    fn whole(&mut self, run: Run, spoil: fn(&mut Self, &[usize])) {
        let of = self.run(run);
        for &i in &of {
            self.shots[i].fault.whole_run = true;
        }
        spoil(self, &of);
    }
    fn cloud(&mut self, frames: &[usize], from: f64, to: f64) {
        let stops = self.dice.uniform(from, to);
        for &i in frames {
            self.shots[i].fault.cloud = stops + 0.02 * self.dice.normal();
        }
    }
    fn all_but_one(&mut self, run: Run) {
        let mut of = self.run(run);
        if of.len() > 1 {
            of.remove(self.dice.below(of.len()));
            self.cloud(&of, 0.15, 1.0);
        }
    }
    fn shade(&mut self, frames: &[usize], stops: f64) {
        let shadow = Shadow {
            at: self.dice.uniform(-0.25, 0.25),
            turn: self.dice.uniform(0.0, TAU),
            soft: self.dice.log_uniform(0.05, 0.5),
            stops: stops * self.dice.uniform(0.5, 1.5),
        };
        for &i in frames {
            self.shots[i].fault.shadow = Some(shadow);
        }
    }
    fn longer(&mut self, i: usize) {
        self.shots[i].time = Time::near(self.shots[i].time.meant() * self.dice.pick(&[4.0, 8.0]));
    }
    fn direction(&mut self, from: f64, to: f64) -> (f64, f64) {
        let (far, turn) = (self.dice.uniform(from, to), self.dice.uniform(0.0, TAU));
        (far * turn.cos(), far * turn.sin())
    }
}
