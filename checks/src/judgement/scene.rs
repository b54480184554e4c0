//! A shoot as it happens: shots one after the other under changing light, with what goes wrong.

use super::body::{Apex, Body};
use super::dice::Dice;
use super::filter::Piece;
use super::light::Light;
use super::optics::{Lens, Wall};
use super::shutter::{Shutter, Time, power_of_two};
use super::tint::Tint;
use jiff::civil::{DateTime, date};
use lightloss::frame::{Capture, Exposure, FrameInfo, Origin};
use lightloss::quantity::{FNumber, Iso, Seconds};
use lightloss::reduce::grid::FrameSummary;
use lightloss::shoot::Candidate;

/// What is before the lens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Before {
    Nothing,
    /// A state of the filter, by number.
    Filter(usize),
    /// The lens cap.
    Cap,
    /// An opaque card in the filter's place.
    Card,
}

/// Two lamps that light the wall from its sides, each of which a card may cover.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lamps {
    /// Whether the one and the other shines.
    pub lit: [bool; 2],
    /// Share of the one in the middle of the frame.
    pub share: f64,
    /// Where they stand: right and down of the middle, and away from the wall, half diagonals.
    pub at: [[f64; 3]; 2],
    /// Share of the light that comes from neither.
    pub besides: f64,
    /// Share of the light in the middle that each sends on from the other, unless that is covered, and from
    /// where.
    pub crossed: (f64, [f64; 3]),
}

impl Lamps {
    /// Share of the wall's light that is there: from each lamp by the square of its distance and the cosine
    /// on the wall.
    fn light(&self, x: f64, y: f64) -> f64 {
        let far = |[right, down, away]: [f64; 3], x: f64, y: f64| {
            (away * away + (x - right).powi(2) + (y - down).powi(2)).powf(-1.5)
        };
        let of = |at: [f64; 3]| far(at, x, y) / far(at, 0.0, 0.0);
        let [one, other] = [self.share * of(self.at[0]), (1.0 - self.share) * of(self.at[1])];
        let (crossed, from) = self.crossed;
        let shine = match self.lit {
            [true, true] => one + other + crossed * of(from),
            [true, false] => one,
            [false, true] => other,
            [false, false] => 0.0,
        };
        shine * (1.0 - self.besides) + self.besides
    }
}

/// An edge of shadow over a part of the frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shadow {
    /// Where the edge lies, its direction in radians, and how soft it is, half diagonals.
    pub at: f64,
    pub turn: f64,
    pub soft: f64,
    /// Stops in the dark part; infinite for a cap.
    pub stops: f64,
}

/// What went wrong with one frame.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Fault {
    /// Stops of light lost to a cloud.
    pub cloud: f64,
    pub shadow: Option<Shadow>,
    /// The picture of the wall moved, half diagonals, and grown.
    pub shift: (f64, f64),
    pub zoom: f64,
    /// Focused closer: the picture grows and darkens a little.
    pub refocus: f64,
    /// Light past the filter, as a share of the bare light.
    pub leak: f64,
    /// A scene instead of the wall.
    pub stray: Option<u64>,
    /// Seconds by which the camera's clock jumped.
    pub clock_s: f64,
    /// Veil of haze over everything, as a share of the light of the frame.
    pub haze: f64,
    /// The focal length that the file tells instead of the usual one.
    pub told_focal_mm: Option<f64>,
    /// Stops by which the aperture closed wrongly.
    pub iris: f64,
    /// All frames of the run have this fault.
    pub whole_run: bool,
    /// The sort of fault that was there first.
    pub sort: &'static str,
}

/// One shot.
#[derive(Clone, Debug, PartialEq)]
pub struct Shot {
    pub before: Before,
    pub time: Time,
    pub iso: f64,
    pub f_number: f64,
    /// Seconds from the end of the last one.
    pub pause_s: f64,
    /// Two lamps, where the wall is not simply lit.
    pub lamps: Option<Lamps>,
    pub fault: Fault,
}

impl Shot {
    pub fn new(before: Before, time: Time) -> Self {
        let fault = Fault::default();
        Self { before, time, iso: 100.0, f_number: 8.0, pause_s: 4.0, lamps: None, fault }
    }
}

/// Everything that stays over a shoot.
pub struct Scene {
    pub body: Body,
    pub lens: Lens,
    pub focal_mm: f64,
    pub wall: Wall,
    pub light: Light,
    /// What its colour does.
    pub tint: Tint,
    pub shutter: Shutter,
    /// Pieces of each state of the filter.
    pub states: Vec<Vec<Piece>>,
    /// Electrons per second of green in the middle of the bare frame, ISO and aperture as usual.
    pub brightness: f64,
    /// Stops by which the aperture scatters from frame to frame.
    pub wobble: f64,
    /// Share by which the light swings at 100 Hz.
    pub swing: f64,
    pub seed: u64,
}

/// A frame that was made, with what is true of it.
pub struct Made {
    pub candidate: Candidate,
    pub file: String,
    pub before: Before,
    /// Stops by which a fault changed the level of the middle; infinite where it hides it.
    pub harm: f64,
    pub clipped: bool,
    /// So little light that half a count of black, which a tag leaves open, is a tenth of a stop.
    pub buried: bool,
    /// The whole run was spoilt alike.
    pub whole_run: bool,
    /// The sort of fault that was there first.
    pub sort: &'static str,
}

/// The middle of the frame: a fifth of its width and of its height.
const MIDDLE: f64 = 0.2;
/// Half a count over so many is a tenth of a stop, at 14 bit.
const BURIED_COUNTS: f64 = 7.0;
/// Swing of lamps on the mains, hertz.
const SWING_HZ: f64 = 100.0;

impl Scene {
    /// Makes all frames.
    pub fn shoot(&self, shots: &[Shot]) -> Vec<Made> {
        let mut clock = 0.0;
        let mut dice = Dice::of(&[self.seed, 0x5400]);
        let first = 1 + dice.below(8000);
        let mut made = Vec::with_capacity(shots.len());
        for (i, shot) in shots.iter().enumerate() {
            clock += shot.pause_s;
            let file = format!("DUN_{:04}.DNG", first + i);
            made.push(self.frame(shot, file, clock, &mut dice));
            clock += shot.time.meant();
        }
        made
    }
    /// Strength of a state in the middle of the frame, stops of green.
    pub fn strength(&self, state: usize) -> f64 {
        self.strengths(state)[1]
    }
    pub fn strengths(&self, state: usize) -> [f64; 3] {
        let sum = |through: bool, c: usize| -> f64 {
            self.middle()
                .map(|(cell, share)| {
                    let (x, y) = self.body.place(cell);
                    let passed = if through { self.passes(state, x, y)[c] } else { 1.0 };
                    share * self.lens.light(x, y) * self.wall.light(x, y) * passed
                })
                .sum()
        };
        std::array::from_fn(|c| (sum(false, c) / sum(true, c)).log2())
    }
    /// Stops that a state takes at a place beyond what it takes in the middle, green.
    pub fn passes(&self, state: usize, x: f64, y: f64) -> [f64; 3] {
        self.states[state].iter().fold([1.0; 3], |all, piece| {
            let passed = piece.passes(&self.lens, x, y);
            std::array::from_fn(|c| all[c] * passed[c])
        })
    }
    /// Cells of the middle with the share of each that lies there.
    fn middle(&self) -> impl Iterator<Item = (usize, f64)> + '_ {
        let share = |i: usize, of: usize| {
            let (from, to) = ((0.5 - MIDDLE / 2.0) * of as f64, (0.5 + MIDDLE / 2.0) * of as f64);
            (to.min(i as f64 + 1.0) - from.max(i as f64)).max(0.0)
        };
        let Body { columns, rows, .. } = self.body;
        (0..columns * rows)
            .map(move |i| (i, share(i % columns, columns) * share(i / columns, rows)))
            .filter(|(_, s)| *s > 0.0)
    }
    /// Electrons per second at a place, red, green and blue.
    fn glow(&self, shot: &Shot, fault: &Fault, x: f64, y: f64) -> [f64; 3] {
        if shot.before == Before::Cap {
            return [0.0; 3];
        }
        let grown = 1.0 + fault.zoom + fault.refocus;
        let (u, v) = ((x + fault.shift.0) / grown, (y + fault.shift.1) / grown);
        let scene = match fault.stray {
            Some(seed) => stray(seed, x, y),
            None => self.wall.light(u, v) * shot.lamps.map_or(1.0, |lamps| lamps.light(x, y)),
        };
        let zoom = 1.0 + fault.zoom;
        let bare = self.brightness
            * scene
            * self.lens.light(x / zoom, y / zoom)
            * self.shaded(fault, x, y)
            * (-fault.cloud - 2.0 * fault.refocus).exp2();
        let passed = match shot.before {
            Before::Filter(state) => self.passes(state, x, y),
            Before::Card => [0.0; 3],
            _ => [1.0; 3],
        };
        std::array::from_fn(|c| {
            let light = self.body.colour[c] * bare;
            light * (passed[c] * (1.0 + fault.haze) + fault.leak)
        })
    }
    fn shaded(&self, fault: &Fault, x: f64, y: f64) -> f64 {
        let Some(shadow) = fault.shadow else { return 1.0 };
        let inside = x * shadow.turn.cos() + y * shadow.turn.sin() - shadow.at;
        let share = (0.5 + inside / shadow.soft).clamp(0.0, 1.0);
        1.0 - share * share * (3.0 - 2.0 * share) * (1.0 - (-shadow.stops).exp2())
    }
    fn swinging(&self, seconds: f64, dice: &mut Dice) -> f64 {
        if self.swing == 0.0 {
            return 1.0;
        }
        let (turn, turns) = (dice.uniform(0.0, 1.0), SWING_HZ * seconds);
        let tau = std::f64::consts::TAU;
        // Mean of 1 + m cos over the exposure.
        let mean = ((tau * (turn + turns)).sin() - (tau * turn).sin()) / (tau * turns);
        1.0 + self.swing * mean
    }
    fn frame(&self, shot: &Shot, file: String, clock: f64, dice: &mut Dice) -> Made {
        let seconds = self.shutter.opened(shot.time, dice);
        let wobble = (self.wobble * dice.normal()).exp2();
        let exposed = seconds
            * self.light.over(clock / 60.0, seconds)
            * self.swinging(seconds, dice)
            * wobble
            * (8.0 / f_stop(shot.f_number)).powi(2);
        let tint = self.tint.over(clock / 60.0, seconds);
        let harmed = exposed * (-shot.fault.iris).exp2();
        let at = |fault: &Fault, cell: usize, exposed: f64| {
            let (x, y) = self.body.place(cell);
            let glow = self.glow(shot, fault, x, y);
            std::array::from_fn(|c| glow[c] * tint[c] * exposed)
        };
        let light: Vec<[f64; 3]> =
            (0..self.body.cells()).map(|i| at(&shot.fault, i, harmed)).collect();
        let middle = |of: &dyn Fn(usize) -> f64| -> f64 {
            let all: f64 = self.middle().map(|(_, s)| s).sum();
            self.middle().map(|(i, s)| s * of(i)).sum::<f64>() / all
        };
        let (seen, good) =
            (middle(&|i| light[i][1]), middle(&|i| at(&Fault::default(), i, exposed)[1]));
        let body = self.body.after(clock / 60.0);
        let grid = body.expose(&light, seconds, shot.iso, dice);
        let level = self.body.gain(shot.iso) * seen;
        let range = f64::from(self.body.levels().white) - self.body.levels().black.at(0, 0);
        let harm = if shot.fault.stray.is_some() { f64::INFINITY } else { (good / seen).log2() };
        let summary = FrameSummary {
            info: self.info(shot, &file, clock, dice),
            levels: self.body.levels(),
            masked: body.border(seconds, dice),
            cells: grid,
        };
        let sha256 = format!("{:016x}{file}", self.seed);
        Made {
            candidate: Candidate { file: file.clone(), sha256, outcome: Ok(summary) },
            file,
            before: shot.before,
            harm: if harm.is_nan() { 0.0 } else { harm },
            clipped: level > 0.98 * range,
            buried: level * 16_384.0 / f64::from(self.body.levels().white) < BURIED_COUNTS,
            whole_run: shot.fault.whole_run,
            sort: shot.fault.sort,
        }
    }
    fn info(&self, shot: &Shot, file: &str, clock: f64, _dice: &mut Dice) -> FrameInfo {
        let mut camera = self.body.camera(self.focal_mm);
        if let Some(focal) = shot.fault.told_focal_mm {
            camera = self.body.camera(focal);
        }
        let shown = shot.time.shown();
        let aimed = if self.shutter.powers { power_of_two(shown) } else { shown };
        let apex = match (self.body.apex, shot.time) {
            (Apex::Missing, _) => None,
            (Apex::AsShown, _) | (_, Time::Timer(_)) => Some(shown),
            (Apex::Aimed, _) => Some(aimed),
        };
        FrameInfo {
            file: file.to_owned(),
            sha256: format!("{:016x}{file}", self.seed),
            origin: Origin::Raw,
            camera,
            exposure: Exposure {
                time: Some(Seconds::new(shown)),
                from_apex: false,
                apex_time: apex.map(Seconds::new),
                bulb: shot.time.is_bulb(),
                f_number: Some(FNumber::new(shot.f_number)),
                iso: Some(Iso::new(shot.iso)),
            },
            capture: Capture {
                at: Some(moment(clock + shot.fault.clock_s, self.body.subseconds)),
                offset: None,
            },
            orientation: 1,
            as_shot_neutral: None,
            matrices: self.body.matrices(),
            noise_reduction: None,
            subject: Vec::new(),
        }
    }
}

/// The exact stop behind a marking of the aperture ring (common practice, no source).
fn f_stop(marked: f64) -> f64 {
    ((6.0 * marked.log2()).round() / 6.0).exp2()
}

/// The clock's time, whole seconds where the body writes no more.
fn moment(seconds: f64, subseconds: bool) -> DateTime {
    let milliseconds = (1000.0 * if subseconds { seconds } else { seconds.floor() }) as i64;
    let start = date(2026, 5, 9).at(10, 0, 0, 0);
    start.checked_add(jiff::SignedDuration::from_millis(milliseconds)).unwrap_or(start)
}

/// Light of a scene with sky, ground and many small things.
fn stray(seed: u64, x: f64, y: f64) -> f64 {
    let mut dice = Dice::of(&[seed, (x * 1e3) as i64 as u64, (y * 1e3) as i64 as u64]);
    let half = if y < 0.1 { 1.6 } else { 0.3 };
    half * (1.3 * dice.normal()).exp2()
}
