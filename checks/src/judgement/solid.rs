//! Shoots of one solid filter: designs, lights, shutters.

use super::body::Body;
use super::dice::Dice;
use super::filter::{Piece, greyish};
use super::light::{self, Light};
use super::optics::{Lens, Wall};
use super::scene::{Before, Made, Scene, Shot};
use super::shutter::{self, DIAL, Shutter, Time};
use super::tint::Tint;
use lightloss::exposure::parse_time;
use lightloss::measure::About;
use lightloss::profile::Kind;
use lightloss::quantity::{Millimetres, Stops};
use lightloss::shoot::Wish;
use lightloss::shoot_file::{PlannedShot, ShotState};

/// Longest exposure that a photographer waits for, seconds.
const PATIENCE_S: f64 = 260.0;
/// Seconds to handle the camera between two states, from and to.
const CHANGE_S: (f64, f64) = (12.0, 90.0);

/// How frames of both states are placed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Design {
    /// Times that bring both states to about one level.
    EqualLevels,
    /// One time for both.
    SameTime,
    /// Equal levels, and the filter at the bare time too.
    BareTimeToo,
}

/// A class of solid shoots.
#[derive(Clone, Copy, Debug)]
pub struct Recipe {
    pub light: light::Sort,
    pub shutter: shutter::Sort,
    pub design: Design,
    /// Bare frames before and after, or on one side.
    pub both_sides: bool,
    /// Frames of each run; drawn where `None`.
    pub repeats: Option<usize>,
    /// Stops by which the aperture may scatter at most.
    pub wobble: f64,
}

impl Recipe {
    pub fn usual(light: light::Sort, shutter: shutter::Sort) -> Self {
        let design = Design::EqualLevels;
        Self { light, shutter, design, both_sides: true, repeats: None, wobble: 0.006 }
    }
}

/// A shoot with what is true of it.
pub struct Case {
    pub made: Vec<Made>,
    pub wish: Wish,
    pub about: About,
    pub kind: Kind,
    /// Strengths of the states in stops of green.
    pub stops: Vec<f64>,
}

/// Strength that a design can hold.
fn strength(design: Design, dice: &mut Dice) -> f64 {
    match design {
        Design::EqualLevels => dice.uniform(0.8, 15.0),
        Design::SameTime => dice.uniform(0.8, 7.0),
        Design::BareTimeToo => dice.uniform(1.5, 8.0),
    }
}

/// The shots of a recipe.
pub fn shots(recipe: &Recipe, stops: f64, dice: &mut Dice) -> Vec<Shot> {
    let repeats = recipe.repeats.unwrap_or_else(|| dice.pick(&[2, 3, 3, 3, 4, 5]));
    let bare = bare_time(stops, dice);
    let filtered = match recipe.design {
        Design::SameTime => bare,
        _ => Time::near(bare.meant() * (stops + dice.uniform(-0.7, 0.3)).exp2()),
    };
    let run = |before: Before, time: Time, dice: &mut Dice| -> Vec<Shot> {
        let mut run: Vec<Shot> = (0..repeats).map(|_| Shot::new(before, time)).collect();
        run.iter_mut().for_each(|s| s.pause_s = dice.uniform(1.5, 6.0));
        run[0].pause_s = dice.log_uniform(CHANGE_S.0, CHANGE_S.1);
        run
    };
    let mut through = run(Before::Filter(0), filtered, dice);
    if recipe.design == Design::BareTimeToo {
        through.extend(run(Before::Filter(0), bare, dice));
    }
    let mut list = Vec::new();
    let first = recipe.both_sides || dice.chance(0.7);
    if first {
        list.extend(run(Before::Nothing, bare, dice));
    }
    list.extend(through);
    if recipe.both_sides || !first {
        list.extend(run(Before::Nothing, bare, dice));
    }
    list[0].pause_s = 0.0;
    list
}

/// A bare time that leaves the filtered one short enough to wait for.
fn bare_time(stops: f64, dice: &mut Dice) -> Time {
    let longest = PATIENCE_S / stops.exp2();
    let fitting: Vec<f64> = DIAL
        .into_iter()
        .filter(|t| *t >= 1.0 / 2100.0 && *t < 1.0 / 9.0 && *t <= longest)
        .collect();
    Time::Dial(if fitting.is_empty() { 1.0 / 125.0 } else { dice.pick(&fitting) })
}

/// Minutes that shots take.
pub fn minutes(shots: &[Shot]) -> f64 {
    shots.iter().map(|s| s.pause_s + s.time.meant()).sum::<f64>() / 60.0
}

/// Share of full well that the bare frames reach.
fn level(design: Design, dice: &mut Dice) -> f64 {
    if design == Design::SameTime { dice.uniform(0.45, 0.62) } else { dice.uniform(0.2, 0.55) }
}

/// A scene for shots of the filter with these pieces.
pub fn scene(recipe: &Recipe, states: Vec<Vec<Piece>>, shots: &[Shot], dice: &mut Dice) -> Scene {
    let body = Body::drawn(dice);
    let focal_mm = dice.pick(&[24.0, 35.0, 50.0, 50.0, 85.0]);
    let lens = Lens::drawn(dice, body.half_diagonal_mm() / focal_mm);
    let wall = Wall::drawn(dice, 1.0);
    let bare = shots.iter().find(|s| s.before == Before::Nothing);
    let seconds = bare.map_or(0.01, |s| s.time.meant());
    let brightness = level(recipe.design, dice) * body.full_well / seconds / wall.light(0.0, 0.0);
    Scene {
        lens,
        focal_mm,
        wall,
        light: Light::drawn(recipe.light, minutes(shots), dice),
        tint: Tint::default(),
        shutter: Shutter::drawn(recipe.shutter, dice),
        states,
        brightness,
        wobble: recipe.wobble * dice.uniform(0.0, 1.0),
        swing: 0.0,
        seed: dice.number(),
        body,
    }
}

/// A solid filter of this strength.
pub fn glass(stops: f64, dice: &mut Dice) -> Vec<Piece> {
    let stops = greyish(stops, dice);
    // Coated strong filters take the same at every angle, glass takes more the longer the path.
    vec![Piece::Plain { stops, absorbing: dice.chance(0.4), tilt: 0.0, towards: 0.0 }]
}

/// What the user may say of the filter: half of them give the rating.
pub fn about(scene: &Scene, stops: f64, dice: &mut Dice) -> About {
    let (width, height) = scene.body.sensor_mm;
    About {
        name: "Filter".into(),
        rated: dice.chance(0.5).then(|| Stops::new(stops.round().max(1.0))),
        sensor_mm: Some((Millimetres::new(width), Millimetres::new(height))),
        ..About::default()
    }
}

/// A case of a recipe.
pub fn case(recipe: &Recipe, dice: &mut Dice) -> Case {
    let stops = strength(recipe.design, dice);
    let shots = shots(recipe, stops, dice);
    let glass = glass(stops, dice);
    let scene = scene(recipe, vec![glass], &shots, dice);
    let about = about(&scene, stops, dice);
    let stops = vec![scene.strength(0)];
    Case { made: scene.shoot(&shots), wish: Wish::default(), about, kind: Kind::Solid, stops }
}

/// The state that stands for a plan's bridge.
pub const BRIDGE: usize = 1;

/// The shots that a plan asks for.
pub fn planned(plan: &[PlannedShot], dice: &mut Dice) -> Vec<Shot> {
    let mut marks: Vec<Option<String>> = Vec::new();
    let mut list = Vec::new();
    for shot in plan {
        let given = parse_time(&shot.dial_time).unwrap();
        let seconds = given.seconds().get();
        let time = if given.dial().is_some() { Time::Dial(seconds) } else { Time::Timer(seconds) };
        let before = match shot.state {
            ShotState::Bare => Before::Nothing,
            ShotState::Dark => Before::Cap,
            ShotState::Leak => Before::Card,
            ShotState::Bridge => Before::Filter(BRIDGE),
            _ => {
                let known = marks.iter().position(|m| *m == shot.mark);
                Before::Filter(known.unwrap_or_else(|| {
                    marks.push(shot.mark.clone());
                    marks.len() - 1
                }))
            }
        };
        for k in 0..shot.count {
            let mut made = Shot::new(before, time);
            made.pause_s = if k == 0 {
                dice.log_uniform(CHANGE_S.0, CHANGE_S.1)
            } else {
                dice.uniform(1.5, 6.0)
            };
            list.push(made);
        }
    }
    list[0].pause_s = 0.0;
    list
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judgement::assess::assess;

    /// Without noise, drift or shutter error the planted strength comes back.
    #[test]
    fn a_shoot_without_noise_has_no_error() {
        for seed in 0..20 {
            let mut dice = Dice::of(&[seed]);
            let recipe = Recipe::usual(light::Sort::Steady, shutter::Sort::Crystal);
            let stops = dice.uniform(1.0, 9.0);
            let mut shots = shots(&recipe, stops, &mut dice);
            // Times that no rounding of the dial touches.
            shots.iter_mut().for_each(|s| s.time = Time::Timer(s.time.meant()));
            let glass = glass(stops, &mut dice);
            let drawn = scene(&recipe, vec![glass], &shots, &mut dice);
            let scene = Scene {
                body: Body::ideal(&mut dice),
                light: Light::constant_at(0.0),
                shutter: Shutter::perfect(),
                wobble: 0.0,
                brightness: 1.0,
                ..drawn
            };
            let brightness =
                0.5 * scene.body.full_well / shots[0].time.meant() / scene.wall.light(0.0, 0.0);
            let scene = Scene { brightness, ..scene };
            let truth = vec![scene.strength(0)];
            let case = Case {
                made: scene.shoot(&shots),
                wish: Wish::default(),
                about: about(&scene, stops, &mut dice),
                kind: Kind::Solid,
                stops: truth,
            };
            let outcome = assess(case, seed);
            let error = outcome.error.expect("a number");
            // Sums of whole counts leave a relative error of about 1e-7.
            assert!(error.abs() < 1e-6, "seed {seed}: {error}");
        }
    }
}
