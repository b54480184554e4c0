//! Other kinds of filter, holders, and what is to be said loudly.

use super::assess::{Outcome, assess, cautions};
use super::classes::{Class, Targets};
use super::dice::Dice;
use super::filter::{Edge, Opening, Piece, Shape, greyish};
use super::light::Sort as Sky;
use super::optics::Lens;
use super::scene::{Before, Scene, Shot};
use super::shutter::{Sort as Shutter, Time};
use super::solid::{self, Case, Recipe};
use super::targets::{Bound, Target};
use lightloss::kit::Part;
use lightloss::profile::{CrossState, Kind};
use lightloss::quantity::{Degrees, Stops};
use lightloss::shoot::{Label, Wish};
use std::f64::consts::TAU;

/// Shoots of a small class, as a share of the number asked for: 40 of 500.
const FORTY: f64 = 0.08;

pub fn classes() -> Vec<Class> {
    vec![
        class("graduated, kind not said", graduated, loud_or_right),
        class("polariser, one rotation, kind not said", one_rotation, counted),
        class("polariser, four rotations", four_rotations, counted),
        class("square holder, turned or not", |d, k| holder(d, k, square), counted),
        class("one corner cut", |d, k| holder(d, k, cut), counted),
        class("ring off the centre", |d, k| holder(d, k, ring_shade), counted),
        class("strong glass tilted by up to 4 degrees", tilted, no_cross),
        class("swapped frames", swapped, all_answers),
        class("rating off by a factor", wrong_rating, all_answers),
        class("stack that is not its parts", stack, all_answers),
    ]
}

pub fn class(
    name: &str,
    shoot: impl Fn(&mut Dice, u64) -> Outcome + Sync + 'static,
    targets: Targets,
) -> Class {
    let (share, short) = (FORTY, None);
    Class { name: name.to_owned(), share, short, shoot: Box::new(shoot), targets }
}

/// Each question with how often the answer was yes, and of how many, in order of appearance.
pub fn answers(outcomes: &[Outcome]) -> Vec<(&'static str, usize, usize)> {
    let mut list: Vec<(&'static str, usize, usize)> = Vec::new();
    for &(question, yes) in outcomes.iter().flat_map(|o| &o.answers) {
        let yes = usize::from(yes);
        match list.iter_mut().find(|l| l.0 == question) {
            Some(line) => (line.1, line.2) = (line.1 + yes, line.2 + 1),
            None => list.push((question, yes, 1)),
        }
    }
    list
}

fn counted(_: &str, _: &[Outcome]) -> Vec<Target> {
    Vec::new()
}
/// Every answer is yes in all shoots.
pub fn all_answers(name: &str, outcomes: &[Outcome]) -> Vec<Target> {
    let target = |(question, yes, of): (&str, usize, usize)| {
        Target::new(format!("{name}: {question}"), yes, of, Bound::AtLeast(1.0))
    };
    answers(outcomes).into_iter().map(target).collect()
}
fn loud_or_right(name: &str, outcomes: &[Outcome]) -> Vec<Target> {
    all_answers(name, outcomes).into_iter().take(1).collect()
}
fn no_cross(name: &str, outcomes: &[Outcome]) -> Vec<Target> {
    let (_, yes, of) = answers(outcomes).into_iter().next().unwrap_or_default();
    vec![Target::new(format!("{name}: no dark cross"), yes, of, Bound::AtLeast(0.999))]
}
/// A calm scene with small cells.
pub fn calm(states: Vec<Vec<Piece>>, shots: &[Shot], focal: Option<f64>, dice: &mut Dice) -> Scene {
    let recipe = Recipe::usual(Sky::Walking, Shutter::Mechanical);
    let scene = solid::scene(&recipe, states, shots, dice);
    let body = scene.body.finer();
    let focal_mm = focal.unwrap_or(scene.focal_mm);
    let lens = Lens::drawn(dice, body.half_diagonal_mm() / focal_mm);
    Scene { body, lens, focal_mm, ..scene }
}

/// Bare, each state, bare, three of each; times for these strengths.
pub fn rounds(strengths: &[f64], dice: &mut Dice) -> Vec<Shot> {
    let bare = Time::Dial(dice.pick(&[1.0 / 250.0, 1.0 / 125.0, 1.0 / 60.0, 1.0 / 100.0]));
    let run = |before: Before, time: Time, dice: &mut Dice| {
        let mut run = vec![Shot::new(before, time); 3];
        run[0].pause_s = dice.uniform(10.0, 40.0);
        run
    };
    let mut shots = run(Before::Nothing, bare, dice);
    for (state, stops) in strengths.iter().enumerate() {
        shots.extend(run(Before::Filter(state), Time::near(bare.meant() * stops.exp2()), dice));
    }
    shots.extend(run(Before::Nothing, bare, dice));
    shots
}

pub fn judged(
    scene: &Scene,
    shots: &[Shot],
    wish: Wish,
    kind: Kind,
    dice: &mut Dice,
    k: u64,
) -> Outcome {
    let stops: Vec<f64> = (0..scene.states.len()).map(|s| scene.strength(s)).collect();
    let mut about = solid::about(scene, stops[0], dice);
    about.rated = None;
    assess(Case { made: scene.shoot(shots), wish, about, kind, stops }, k)
}

/// Whether a word of grade `number`, or the refusal, holds this text.
fn says(outcome: &Outcome, text: &str) -> bool {
    let refused = outcome.refused.as_ref().is_some_and(|why| why.contains(text));
    let said = outcome.profile.as_ref().is_some_and(|p| cautions(p).any(|c| c.text.contains(text)));
    refused || said
}

fn graduated(dice: &mut Dice, k: u64) -> Outcome {
    let edge = dice.pick(&[Edge::Soft, Edge::Hard, Edge::Reverse]);
    let stops = dice.uniform(1.0, 4.0);
    let width = match edge {
        Edge::Soft => dice.uniform(0.3, 0.9),
        _ => dice.uniform(0.06, 0.25),
    };
    let piece = Piece::Graduated {
        stops: greyish(stops, dice),
        centre: dice.uniform(-0.2, 0.2),
        width,
        turn: dice.uniform(-0.3, 0.3),
        edge,
    };
    // The clear end must not clip: the bare time again.
    let shots = rounds(&[0.0], dice);
    let scene = calm(vec![vec![piece]], &shots, None, dice);
    let mut outcome = judged(&scene, &shots, Wish::default(), Kind::Graduated, dice, k);
    let graduation = outcome.profile.as_ref().and_then(|p| p.graduation.clone());
    let right = outcome.kind && graduation.is_some();
    let flagged = says(&outcome, "--kind graduated");
    outcome.answers.push(("measured as graduated, or the flag named", right || flagged));
    outcome.answers.push(("measured as graduated", right));
    if let Some(found) = graduation.filter(|_| right && edge != Edge::Reverse) {
        let off = (found.dark_end_stops.get() - stops).abs();
        outcome.answers.push(("dark end within 0.1 stop", off < 0.1));
    }
    // The middle's strength is no figure of such a filter.
    outcome.error = None;
    outcome
}

fn one_rotation(dice: &mut Dice, k: u64) -> Outcome {
    let loss = greyish(dice.uniform(1.2, 1.9), dice);
    let degree = if dice.chance(0.5) { 0.0 } else { dice.uniform(0.1, 0.6) };
    let piece = Piece::Sheet { loss, turn: dice.uniform(0.0, 3.1), degree, axis: 0.4 };
    let shots = rounds(&[loss[1]], dice);
    let scene = calm(vec![vec![piece]], &shots, None, dice);
    let mut outcome = judged(&scene, &shots, Wish::default(), Kind::Solid, dice, k);
    let told = says(&outcome, "polaris");
    outcome.answers.push(("says that polarised light could not be told", told));
    outcome.error = None;
    outcome
}

fn four_rotations(dice: &mut Dice, k: u64) -> Outcome {
    let loss = greyish(dice.uniform(1.2, 1.9), dice);
    let degree = if dice.chance(0.5) { 0.0 } else { dice.uniform(0.1, 0.6) };
    let turns = [0.0_f64, 45.0, 90.0, 135.0];
    let axis = dice.uniform(0.0, 3.1);
    let states: Vec<Vec<Piece>> = turns
        .iter()
        .map(|t| vec![Piece::Sheet { loss, turn: t.to_radians(), degree, axis }])
        .collect();
    let shots = rounds(&[loss[1]; 4], dice);
    let scene = calm(states, &shots, None, dice);
    let made = scene.shoot(&shots);
    let rotations = made.iter().filter_map(|m| match m.before {
        Before::Filter(s) => Some((m.file.clone(), Degrees::new(turns[s]))),
        _ => None,
    });
    let labels = made.iter().map(|m| {
        let filtered = matches!(m.before, Before::Filter(_));
        (m.file.clone(), if filtered { Label::Filtered(None) } else { Label::Bare })
    });
    let wish = Wish {
        kind: Some(Kind::Polariser),
        rotations: rotations.collect(),
        labels: labels.collect(),
        ..Wish::default()
    };
    let about = solid::about(&scene, loss[1], dice);
    let case = Case { made, wish, about, kind: Kind::Polariser, stops: vec![loss[1]] };
    let mut outcome = assess(case, k);
    let called = outcome.profile.as_ref().is_some_and(|p| {
        p.polarising.as_ref().is_some_and(|p| p.light_polarised)
            || cautions(p).any(|c| c.code == "light_polarised")
    });
    if degree > 0.0 {
        outcome.answers.push(("polarised light told", called));
    } else {
        outcome.answers.push(("unpolarised light not called polarised", !called));
    }
    outcome.error = None;
    outcome
}

fn square(dice: &mut Dice) -> Shape {
    let off = (dice.uniform(-0.08, 0.08), dice.uniform(-0.08, 0.08));
    let turn = if dice.chance(0.3) { 0.0 } else { dice.uniform(0.0, 0.8) };
    let half = dice.uniform(0.62, 0.8);
    Shape::Frame(half, half, turn, off)
}
fn cut(dice: &mut Dice) -> Shape {
    let corner = dice.pick(&[0.59_f64, 2.55, 3.73, 5.7]);
    Shape::Cut(dice.uniform(0.7, 0.9), corner)
}
fn ring_shade(dice: &mut Dice) -> Shape {
    let off = (dice.uniform(-0.12, 0.12), dice.uniform(-0.12, 0.12));
    Shape::Ring(dice.uniform(0.8, 0.98), off)
}

fn holder(dice: &mut Dice, k: u64, shape: fn(&mut Dice) -> Shape) -> Outcome {
    let stops = dice.uniform(2.0, 10.0);
    let opening = Opening { shape: shape(dice), blur: dice.uniform(0.05, 0.3) };
    let shots = rounds(&[stops], dice);
    let mut pieces = solid::glass(stops, dice);
    pieces.push(Piece::Holder(opening));
    let scene = calm(vec![pieces], &shots, None, dice);
    let mut outcome = judged(&scene, &shots, Wish::default(), Kind::Solid, dice, k);
    let Some(profile) = &outcome.profile else { return outcome };
    let shaded = (0..scene.body.cells()).any(|i| {
        let (x, y) = scene.body.place(i);
        Piece::Holder(opening).passes(&scene.lens, x, y)[1] < 0.5
    });
    let found = profile.vignetting.as_ref().is_some_and(|v| v.mechanical);
    let crossed = profile.settings.iter().filter_map(|s| s.evenness.as_ref());
    let crossed = crossed.filter(|e| e.dark_cross.state != CrossState::Absent).count() > 0;
    let unknown = says(&outcome, "unknown");
    if shaded {
        outcome.answers.push(("found, or said to be unknown", found || unknown));
    }
    outcome.answers.push(("no false dark cross", !crossed));
    outcome
}

fn tilted(dice: &mut Dice, k: u64) -> Outcome {
    let stops = dice.uniform(10.0, 15.0);
    let (tilt, towards) = (dice.uniform(1.0, 4.0).to_radians(), dice.uniform(0.0, TAU));
    let piece = Piece::Plain { stops: greyish(stops, dice), absorbing: true, tilt, towards };
    let shots = rounds(&[stops], dice);
    let focal = dice.pick(&[14.0, 16.0, 20.0, 24.0, 35.0]);
    let scene = calm(vec![vec![piece]], &shots, Some(focal), dice);
    let mut outcome = judged(&scene, &shots, Wish::default(), Kind::Solid, dice, k);
    let crossed = outcome
        .profile
        .iter()
        .flat_map(|p| &p.settings)
        .any(|s| s.evenness.as_ref().is_some_and(|e| e.dark_cross.state != CrossState::Absent));
    outcome.answers.push(("no dark cross", !crossed));
    outcome
}

fn swapped(dice: &mut Dice, k: u64) -> Outcome {
    let stops = dice.uniform(1.0, 8.0);
    let shots = rounds(&[stops], dice);
    let scene = calm(vec![solid::glass(stops, dice)], &shots, None, dice);
    let made = scene.shoot(&shots);
    let label = |bare: bool| if bare { Label::Filtered(None) } else { Label::Bare };
    let labels = made.iter().map(|m| (m.file.clone(), label(m.before == Before::Nothing)));
    let wish = Wish { labels: labels.collect(), ..Wish::default() };
    let about = solid::about(&scene, stops, dice);
    let mut outcome = assess(Case { made, wish, about, kind: Kind::Solid, stops: vec![-stops] }, k);
    let loud =
        outcome.refused.is_some() || (!outcome.cautions.is_empty() && says(&outcome, "swapped"));
    outcome.answers.push(("said to be swapped", loud));
    outcome
}

fn wrong_rating(dice: &mut Dice, k: u64) -> Outcome {
    // A density read as stops, a factor's digits read as stops.
    let (rated, stops) = dice.pick(&[(3.0, 10.0), (1.8, 6.0), (0.9, 3.0), (8.0, 3.0), (1.0, 3.3)]);
    let stops = stops + dice.uniform(-0.2, 0.2);
    let shots = rounds(&[stops], dice);
    let scene = calm(vec![solid::glass(stops, dice)], &shots, None, dice);
    let truth = vec![scene.strength(0)];
    let mut about = solid::about(&scene, stops, dice);
    about.rated = Some(Stops::new(rated));
    let made = scene.shoot(&shots);
    let wish = Wish::default();
    let mut outcome = assess(Case { made, wish, about, kind: Kind::Solid, stops: truth }, k);
    let said =
        outcome.profile.as_ref().is_some_and(|p| cautions(p).any(|c| c.text.contains("rat")));
    outcome.answers.push(("said to be far from its rating", said || outcome.refused.is_some()));
    outcome
}

fn stack(dice: &mut Dice, k: u64) -> Outcome {
    let parts = [dice.uniform(1.0, 4.0), dice.uniform(3.0, 7.0)];
    let off = dice.sign() * dice.uniform(0.3, 2.0);
    let stops = parts[0] + parts[1] + off;
    let shots = rounds(&[stops], dice);
    let scene = calm(vec![solid::glass(stops, dice)], &shots, None, dice);
    let truth = vec![scene.strength(0)];
    let mut about = solid::about(&scene, stops, dice);
    about.rated = None;
    let part = |stops: f64| Part::alone("Part", Stops::new(stops), Stops::new(0.02));
    about.parts = parts.map(part).to_vec();
    let made = scene.shoot(&shots);
    let wish = Wish { kind: Some(Kind::Stack), ..Wish::default() };
    let mut outcome = assess(Case { made, wish, about, kind: Kind::Stack, stops: truth }, k);
    let said = outcome
        .profile
        .as_ref()
        .is_some_and(|p| cautions(p).any(|c| c.text.contains("part") || c.code.contains("stack")));
    outcome.answers.push(("said to differ from its parts", said));
    outcome
}

/// A six-stop filter: two bare frames clipped, one frame buried, one filtered frame clouded at its
/// known level, good ones around.
pub fn known_shoot(dice: &mut Dice, k: u64) -> Outcome {
    let stops = 6.0 + dice.uniform(-0.3, 0.3);
    let mut shots = rounds(&[stops], dice);
    let bare = shots[0].time;
    let mut clipped = vec![Shot::new(Before::Nothing, Time::near(8.0 * bare.meant())); 2];
    let mut clouded = Shot::new(Before::Filter(0), shots[3].time);
    clouded.fault.cloud = 0.5;
    let buried = Shot::new(Before::Filter(0), Time::Dial(1.0 / 8000.0));
    shots.insert(4, clouded);
    shots.insert(4, buried);
    clipped.extend(shots);
    let scene = calm(vec![solid::glass(stops, dice)], &clipped, None, dice);
    let brightness = 0.45 * scene.body.full_well / bare.meant() / scene.wall.light(0.0, 0.0);
    let scene = Scene { brightness, ..scene };
    let mut outcome = judged(&scene, &clipped, Wish::default(), Kind::Solid, dice, k);
    outcome.answers.push(("one solid setting", outcome.kind));
    outcome.answers.push(("spoilt frames named", outcome.spoilt.iter().all(|s| s.named)));
    outcome.answers.push(("good frames used", outcome.kept == outcome.good));
    outcome
}
