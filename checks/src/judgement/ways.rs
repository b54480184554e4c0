//! Shoots as people make them who read no plan: marks up, down, up and back or as they come, one frame
//! each or several, times metered or left alone, bare frames where they thought of them.

use super::assess::{Outcome, assess};
use super::classes::Class;
use super::dice::Dice;
use super::kinds::{answers, class};
use super::light::Sort as Sky;
use super::rings::sheets;
use super::scene::{Before, Scene, Shot};
use super::shutter::{Sort as Shutter, Time};
use super::solid::{self, Case, Recipe};
use super::targets::{Bound, Target};
use lightloss::profile::Kind;
use lightloss::shoot::Wish;

/// Without a word at most one of so many is wrong.
const ONE_IN: f64 = 200.0;
/// A mark is wrong from twice its u95 and from this many stops.
const WRONG_STOPS: f64 = 0.02;

pub fn classes() -> Vec<Class> {
    let said = |k: &str| format!("ring as people shoot it, {k}");
    let of = |name: String, said: Said| {
        let mut class = class(&name, move |d, k| ring(d, k, said), silent);
        class.share = 0.4;
        class
    };
    vec![
        of(said("marks named"), Said::Marks),
        of(said("kind said"), Said::Kind),
        of(said("nothing said"), Said::Nothing),
    ]
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Said {
    Marks,
    Kind,
    Nothing,
}

fn silent(name: &str, outcomes: &[Outcome]) -> Vec<Target> {
    let (_, yes, of) =
        answers(outcomes).into_iter().find(|a| a.0 == NOT_SILENT).unwrap_or_default();
    vec![Target::new(format!("{name}: {NOT_SILENT}"), yes, of, Bound::AtLeast(1.0 - 1.0 / ONE_IN))]
}

const RIGHT: &str = "every mark right";
const NOT_SILENT: &str = "right, or said not to be";

/// Marks in the order in which they are visited.
fn visits(marks: usize, dice: &mut Dice) -> Vec<usize> {
    let up: Vec<usize> = (0..marks).collect();
    let down: Vec<usize> = (0..marks).rev().collect();
    match dice.below(4) {
        0 => up,
        1 => down,
        2 => up.into_iter().chain(down.into_iter().skip(1)).collect(),
        _ => {
            let mut any = up;
            for i in (1..any.len()).rev() {
                let j = dice.below(i + 1);
                any.swap(i, j);
            }
            any
        }
    }
}

/// How times are set.
#[derive(Clone, Copy)]
enum Timing {
    /// One for all.
    Left,
    /// For the level of the bare frames, anew at each mark, to a third of a stop or so.
    Metered(f64),
    /// The camera meters every frame.
    Automatic,
}

/// What one person does with a ring.
struct Way {
    timing: Timing,
    /// Frames of each visit.
    each: usize,
    bare: Time,
    /// Marks as they are visited.
    visits: Vec<usize>,
    /// Bare frames before, between and after the marks.
    around: [bool; 3],
}

impl Way {
    fn drawn(marks: usize, span: f64, dice: &mut Dice) -> Self {
        let timing = match dice.below(4) {
            0 if span < 4.5 => Timing::Left,
            1 => Timing::Automatic,
            _ => Timing::Metered(dice.uniform(0.0, 0.5)),
        };
        let each = dice.pick(&[1, 1, 2, 3]);
        let bare = Time::Dial(dice.pick(&[1.0 / 250.0, 1.0 / 125.0, 1.0 / 60.0, 1.0 / 30.0]));
        let between = dice.chance(0.15);
        let (before, after) =
            dice.pick(&[(true, true), (true, true), (true, false), (false, true)]);
        let around = [before, between, after];
        Self { timing, each, bare, visits: visits(marks, dice), around }
    }
    fn time(&self, stops: f64, dice: &mut Dice) -> Time {
        let off = match self.timing {
            Timing::Left => return self.bare,
            Timing::Automatic => 0.3,
            Timing::Metered(off) => off,
        };
        Time::near(self.bare.meant() * (stops + off * dice.uniform(-1.0, 1.0)).exp2())
    }
    fn run(&self, before: Before, stops: f64, dice: &mut Dice) -> Vec<Shot> {
        let mut set = self.time(stops, dice);
        let one = |i: usize| {
            if i > 0 && matches!(self.timing, Timing::Automatic) {
                set = self.time(stops, dice);
            }
            let mut shot = Shot::new(before, set);
            shot.pause_s =
                if i == 0 { dice.log_uniform(4.0, 90.0) } else { dice.uniform(1.0, 6.0) };
            shot
        };
        (0..self.each).map(one).collect()
    }
    fn shots(&self, strengths: &[f64], dice: &mut Dice) -> Vec<Shot> {
        let [before, between, after] = self.around;
        let mut shots = Vec::new();
        for (i, &mark) in self.visits.iter().enumerate() {
            if if i == 0 { before } else { between } {
                shots.extend(self.run(Before::Nothing, 0.0, dice));
            }
            shots.extend(self.run(Before::Filter(mark), strengths[mark], dice));
        }
        if after {
            shots.extend(self.run(Before::Nothing, 0.0, dice));
        }
        shots[0].pause_s = 0.0;
        shots
    }
}

fn ring(dice: &mut Dice, k: u64, said: Said) -> Outcome {
    let count = 2 + dice.below(7);
    let (first, span) = (dice.uniform(1.4, 2.5), dice.uniform(2.0, 6.5));
    let step = span / (count - 1) as f64;
    let strengths: Vec<f64> =
        (0..count).map(|i| first + step * (i as f64 + dice.uniform(-0.2, 0.2)).max(0.0)).collect();
    let (states, _) = sheets(dice, &strengths);
    let way = Way::drawn(count, span, dice);
    let shots = way.shots(&strengths, dice);
    let sky = dice.pick(&[Sky::Steady, Sky::Walking, Sky::Walking, Sky::Linear, Sky::Curved]);
    let shutter = dice.pick(&[Shutter::Crystal, Shutter::Mechanical]);
    let mut scene = solid::scene(&Recipe::usual(sky, shutter), states, &shots, dice);
    let share = if matches!(way.timing, Timing::Left) { 0.6 } else { dice.uniform(0.2, 0.55) };
    scene.brightness = share * scene.body.full_well / way.bare.meant() / scene.wall.light(0.0, 0.0);
    let marks = match said {
        Said::Marks => way.visits.iter().map(|m| format!("{}", m + 1)).collect(),
        Said::Kind | Said::Nothing => Vec::new(),
    };
    let kind = (said != Said::Nothing).then_some(Kind::Variable);
    let wish = Wish { kind, marks, ..Wish::default() };
    told(&scene, &shots, wish, sky, dice, k)
}

fn told(scene: &Scene, shots: &[Shot], wish: Wish, sky: Sky, dice: &mut Dice, k: u64) -> Outcome {
    let truth: Vec<f64> = (0..scene.states.len()).map(|s| scene.strength(s)).collect();
    let mut about = solid::about(scene, truth[0], dice);
    about.rated = None;
    let kind = Kind::Variable;
    let case = Case { made: scene.shoot(shots), wish, about, kind, stops: truth.clone() };
    let mut outcome = assess(case, k);
    let found: Vec<(f64, f64)> = outcome
        .profile
        .iter()
        .flat_map(|p| &p.settings)
        .map(|s| (s.strength.stops.get(), s.strength.u95.get()))
        .collect();
    // Marks come in the order of their first visit, or by strength.
    let near = |t: f64| {
        let fits = |&&(s, u): &&(f64, f64)| (s - t).abs() <= (2.0 * u).max(WRONG_STOPS);
        found.iter().find(fits).is_some()
    };
    let right = found.len() == truth.len() && truth.iter().all(|&t| near(t)) && outcome.kind;
    outcome.frames.insert(0, format!("truth {truth:.3?} found {found:.3?}"));
    outcome.error = None;
    if found.len() == truth.len() && outcome.is_silent() {
        for &t in &truth {
            let inside = found.iter().any(|(s, u)| (s - t).abs() <= *u);
            outcome.answers.push((sky.name(), inside));
        }
    }
    outcome.answers.push((RIGHT, right));
    outcome.answers.push(("refused", outcome.refused.is_some()));
    outcome.answers.push((NOT_SILENT, right || !outcome.is_silent()));
    outcome
}
