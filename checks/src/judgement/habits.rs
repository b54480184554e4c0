//! Solid filters as people shoot them who read no plan: one frame with and one without, brackets, a
//! camera that meters every frame, ISO or aperture turned instead of the time, minutes of exposure,
//! evenings, a hand before the lens.

use super::assess::{Outcome, assess};
use super::classes::{Class, Targets};
use super::dice::Dice;
use super::filter::Piece;
use super::kinds::class;
use super::light::{Light, Sort as Sky};
use super::optics::Wall;
use super::person::{Helps, Timing, Ways, something_else};
use super::scene::{Before, Scene, Shot};
use super::shutter::{Sort as Shutter, Time};
use super::solid::{self, Case, Recipe};
use super::table::Counts;
use super::targets::Target;
use lightloss::profile::Kind;
use lightloss::quantity::Stops;
use lightloss::shoot::Wish;

/// A person and what the light does.
pub struct Habit {
    pub ways: Ways,
    pub sky: Sky,
    pub stops: f64,
    /// Swing of lamps.
    swing: f64,
    /// Contrast of the wall.
    contrast: f64,
    /// Other things on the card.
    others: usize,
}

pub fn classes() -> Vec<Class> {
    let of = |name: &str, change: fn(&mut Habit, &mut Dice), targets: Targets| {
        let shoot = move |d: &mut Dice, k: u64| solid_filter(d, k, change);
        let name = format!("as people shoot it: {name}");
        Class { share: 0.6, ..class(&name, shoot, targets) }
    };
    vec![
        of("one with, one without", one_each, silent),
        of("a few of each", |_, _| {}, held),
        of("a few of each, steady, bare around", steady, calm),
        of("brackets", brackets, held),
        of("metered by the camera", automatic, held),
        of("ISO or aperture too", helped, held),
        of("minutes long", minutes_long, held),
        of("on and off again", on_and_off, held),
        of("other things on the card", card, held),
        of("evening", evening, held),
        of("sun comes out", sun_out, held),
        of("lamps that flicker", lamps, held),
        of("hand-held", hand_held, held),
    ]
}

fn silent(name: &str, outcomes: &[Outcome]) -> Vec<Target> {
    let counts = Counts::of(outcomes);
    counts.usual_targets(name).split_off(2)
}
fn held(name: &str, outcomes: &[Outcome]) -> Vec<Target> {
    let counts = Counts::of(outcomes);
    let mut targets = silent(name, outcomes);
    targets.push(counts.at_least_inside(name, 0.93));
    targets
}
fn calm(name: &str, outcomes: &[Outcome]) -> Vec<Target> {
    let mut targets = held(name, outcomes);
    targets.push(Counts::of(outcomes).at_most_cautioned(name, 0.25));
    targets
}

impl Habit {
    pub fn drawn(dice: &mut Dice) -> Self {
        let stops = dice.pick(&[3.0, 3.0, 6.0, 6.0, 10.0]) + dice.uniform(-1.0, 1.0);
        let filter = Before::Filter(0);
        let mut n = || dice.pick(&[1, 2, 2, 3, 3, 4]);
        let (a, b, c) = (n(), n(), n());
        let visits = match dice.below(4) {
            0 => vec![(Before::Nothing, a), (filter, b)],
            1 => vec![(filter, b), (Before::Nothing, a)],
            _ => vec![(Before::Nothing, a), (filter, b), (Before::Nothing, c)],
        };
        let timing = match dice.below(4) {
            0 if stops < 4.5 => Timing::Left,
            0 | 1 => Timing::Once(dice.uniform(0.0, 0.6)),
            2 => Timing::Metered(dice.uniform(0.0, 0.6)),
            _ => Timing::Automatic,
        };
        let ways = Ways {
            visits,
            timing,
            helps: Helps::Nothing,
            brackets: [0.0; 2],
            middle_first: dice.chance(0.5),
            bare: bare_time(dice),
            shake: 0.0,
            dark_after: dice.chance(0.3),
        };
        let sky = dice.pick(&[Sky::Steady, Sky::Walking, Sky::Walking, Sky::Linear, Sky::Curved]);
        let contrast = dice.pick(&[0.2, 1.0, 1.0, 2.0]);
        Self { ways, sky, stops, swing: 0.0, contrast, others: 0 }
    }
    /// The scene with its shots.
    pub fn scene(
        &self,
        states: Vec<Vec<Piece>>,
        strengths: &[f64],
        dice: &mut Dice,
    ) -> (Scene, Vec<Shot>) {
        // The light is drawn for the time that all takes, which it changes a little itself.
        let seed = dice.number();
        let still = Light::drawn(Sky::Steady, 1.0, dice);
        let first = self.ways.shots(strengths, &still, &mut Dice::of(&[seed]));
        let minutes = first.iter().map(|s| s.pause_s + s.time.meant()).sum::<f64>() / 60.0;
        let light = Light::drawn(self.sky, 1.1 * minutes, dice);
        let mut shots = self.ways.shots(strengths, &light, &mut Dice::of(&[seed]));
        let shutter = dice.pick(&[Shutter::Crystal, Shutter::Mechanical, Shutter::Published]);
        let recipe = Recipe::usual(self.sky, shutter);
        let mut scene = solid::scene(&recipe, states, &shots, dice);
        (scene.light, scene.swing) = (light, self.swing);
        scene.wall = Wall::drawn(dice, self.contrast);
        let left = self.ways.timing == Timing::Left;
        let share = if left { dice.uniform(0.4, 0.65) } else { dice.uniform(0.12, 0.5) };
        scene.brightness =
            share * scene.body.full_well / self.ways.bare.meant() / scene.wall.light(0.0, 0.0);
        for _ in 0..self.others {
            something_else(&mut shots, scene.focal_mm, dice);
        }
        (scene, shots)
    }
}

fn bare_time(dice: &mut Dice) -> Time {
    Time::Dial(dice.pick(&[
        1.0 / 500.0,
        1.0 / 250.0,
        1.0 / 125.0,
        1.0 / 60.0,
        1.0 / 30.0,
        1.0 / 8.0,
    ]))
}

fn one_each(habit: &mut Habit, dice: &mut Dice) {
    let (bare, filter) = ((Before::Nothing, 1), (Before::Filter(0), 1));
    habit.ways.visits = match dice.below(4) {
        0 => vec![bare, filter],
        1 => vec![filter, bare],
        2 => vec![bare, filter, bare],
        _ => vec![bare, filter, bare, filter],
    };
}
fn around(habit: &mut Habit) {
    let n = habit.ways.visits[0].1;
    habit.ways.visits.retain(|v| v.0 != Before::Nothing);
    habit.ways.visits.insert(0, (Before::Nothing, n));
    habit.ways.visits.push((Before::Nothing, n));
}
fn steady(habit: &mut Habit, dice: &mut Dice) {
    around(habit);
    habit.ways.visits.iter_mut().for_each(|v| v.1 = v.1.max(2));
    habit.sky = dice.pick(&[Sky::Steady, Sky::Walking]);
}
fn brackets(habit: &mut Habit, dice: &mut Dice) {
    let step = dice.pick(&[1.0, 2.0]);
    habit.ways.brackets = dice.pick(&[[step, step], [step, step], [step, 0.0], [0.0, step]]);
    habit.ways.visits.iter_mut().for_each(|v| v.1 = v.1.min(2));
}
fn automatic(habit: &mut Habit, dice: &mut Dice) {
    habit.ways.timing = Timing::Automatic;
    // Half of them have to do with half a minute, and too little light.
    if dice.chance(0.5) {
        habit.ways.bare = Time::Dial(dice.pick(&[1.0 / 30.0, 1.0 / 15.0, 1.0 / 8.0, 1.0 / 4.0]));
        habit.stops = 10.0 + dice.uniform(-1.0, 1.0);
    }
}
fn helped(habit: &mut Habit, dice: &mut Dice) {
    let most = (habit.stops - 0.5).min(5.0);
    habit.ways.helps = match dice.below(2) {
        0 => Helps::Iso(dice.uniform(1.0, most.max(1.2))),
        _ => Helps::Aperture(dice.uniform(0.7, most.min(3.0))),
    };
}
fn minutes_long(habit: &mut Habit, dice: &mut Dice) {
    habit.stops = 10.0 + dice.uniform(-0.7, 5.0);
    habit.ways.timing = Timing::Once(dice.uniform(0.0, 0.6));
    habit.ways.dark_after = dice.chance(0.5);
    let seconds = dice.log_uniform(30.0, 400.0) / habit.stops.exp2();
    habit.ways.bare = Time::near(seconds.max(1.0 / 4000.0));
    habit.ways.visits.iter_mut().for_each(|v| v.1 = v.1.min(3));
}
fn on_and_off(habit: &mut Habit, dice: &mut Dice) {
    let times = 2 + dice.below(3);
    let bare = habit.ways.visits[0].1;
    let each = dice.pick(&[1, 1, 2, 3]);
    let mut visits = Vec::new();
    let once = dice.chance(0.5);
    for i in 0..times {
        if i == 0 || !once {
            visits.push((Before::Nothing, bare));
        }
        visits.push((Before::Filter(0), each));
    }
    if dice.chance(0.6) {
        visits.push((Before::Nothing, bare));
    }
    habit.ways.visits = visits;
}
fn card(habit: &mut Habit, dice: &mut Dice) {
    habit.others = 1 + dice.below(3);
    if dice.chance(0.7) {
        around(habit);
    }
}
fn evening(habit: &mut Habit, dice: &mut Dice) {
    habit.sky = Sky::Evening;
    if dice.chance(0.6) {
        around(habit);
    }
}
fn sun_out(habit: &mut Habit, dice: &mut Dice) {
    habit.sky = Sky::SunOut;
    if dice.chance(0.7) {
        around(habit);
    }
}
fn lamps(habit: &mut Habit, dice: &mut Dice) {
    habit.sky = Sky::Steady;
    habit.swing = dice.log_uniform(0.03, 0.6);
    habit.ways.bare = Time::Dial(dice.pick(&[1.0 / 500.0, 1.0 / 250.0, 1.0 / 125.0, 1.0 / 60.0]));
    if dice.chance(0.7) {
        around(habit);
    }
}
fn hand_held(habit: &mut Habit, dice: &mut Dice) {
    habit.ways.shake = dice.log_uniform(0.005, 0.1);
    habit.stops = dice.uniform(1.0, 5.0);
    if dice.chance(0.6) {
        around(habit);
    }
}

/// What a person says of the filter: nothing, its rating, or a number that means something else.
fn rating(stops: f64, dice: &mut Dice) -> Option<Stops> {
    let rated = stops.round().max(1.0);
    let said = match dice.below(10) {
        0..4 => return None,
        4..8 => rated,
        // A density, or another filter's rating.
        8 => 0.3 * rated,
        _ => rated + dice.sign() * dice.pick(&[1.0, 2.0, 3.0]),
    };
    (said > 0.0).then(|| Stops::new(said))
}

pub fn wish_and_about(
    scene: &Scene,
    stops: f64,
    kind: Kind,
    dice: &mut Dice,
) -> (Wish, lightloss::measure::About) {
    let mut about = solid::about(scene, stops, dice);
    about.rated = rating(stops, dice);
    let said = dice.chance(0.35);
    about.kind_said = said;
    let single_strength = about.rated.is_some();
    (Wish { kind: said.then_some(kind), single_strength, ..Wish::default() }, about)
}

fn solid_filter(dice: &mut Dice, k: u64, change: fn(&mut Habit, &mut Dice)) -> Outcome {
    let mut habit = Habit::drawn(dice);
    change(&mut habit, dice);
    let glass = solid::glass(habit.stops, dice);
    let (scene, shots) = habit.scene(vec![glass], &[habit.stops], dice);
    let (wish, about) = wish_and_about(&scene, habit.stops, Kind::Solid, dice);
    let stops = vec![scene.strength(0)];
    let case = Case { made: scene.shoot(&shots), wish, about, kind: Kind::Solid, stops };
    let mut outcome = assess(case, k);
    let head = format!("{:?} {:?}", habit.ways, habit.sky);
    outcome.frames.insert(0, head);
    outcome
}
