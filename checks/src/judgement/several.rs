//! Two filters in one folder, stacks, polarisers and graduated filters as people shoot them who read no
//! plan: what comes out is one of the truths, or said to be doubtful.

use super::assess::{Outcome, assess, cautions};
use super::classes::Class;
use super::dice::Dice;
use super::filter::{Edge, Piece, greyish};
use super::habits::{Habit, wish_and_about};
use super::kinds::{answers, class};
use super::person::Timing;
use super::scene::{Before, Scene};
use super::solid::{self, Case};
use super::targets::{Bound, Target};
use lightloss::kit::Part;
use lightloss::profile::Kind;
use lightloss::quantity::Stops;
use lightloss::shoot::Wish;
use std::f64::consts::PI;

/// Without a word at most one of so many is wrong.
const ONE_IN: f64 = 200.0;
/// A number is wrong from twice its u95 and from this many stops.
const WRONG_STOPS: f64 = 0.02;
/// The same of a graduation's dark end.
const WRONG_END: f64 = 0.1;
const NOT_SILENT: &str = "right, or said not to be";

pub fn classes() -> Vec<Class> {
    let of = |name: &str, shoot: fn(&mut Dice, u64) -> Outcome| Class {
        share: 0.4,
        ..class(&format!("as people shoot it: {name}"), shoot, not_silent)
    };
    vec![
        of("two filters in one folder", two_filters),
        of("stack of two", stack),
        of("stack of two, and its parts", stack_and_parts),
        of("polariser turned", polariser),
        of("graduated at unlike heights", graduated),
    ]
}

fn not_silent(name: &str, outcomes: &[Outcome]) -> Vec<Target> {
    let found = answers(outcomes).into_iter().find(|a| a.0 == NOT_SILENT);
    let (_, yes, of) = found.unwrap_or_default();
    vec![Target::new(format!("{name}: {NOT_SILENT}"), yes, of, Bound::AtLeast(1.0 - 1.0 / ONE_IN))]
}

/// Strengths of a profile with their u95.
fn found(outcome: &Outcome) -> Vec<(f64, f64)> {
    let settings = outcome.profile.iter().flat_map(|p| &p.settings);
    settings.map(|s| (s.strength.stops.get(), s.strength.u95.get())).collect()
}
fn near((stops, u95): (f64, f64), truth: f64) -> bool {
    (stops - truth).abs() <= (2.0 * u95).max(WRONG_STOPS)
}

/// Closes a shoot that is no one solid filter: every number that was given must be one of these.
fn told(mut outcome: Outcome, kinds: &[Kind], truths: &[f64]) -> Outcome {
    let found = found(&outcome);
    let kind = outcome.profile.as_ref().map(|p| p.filter.kind);
    let right = kind.is_some_and(|k| kinds.contains(&k))
        && found.iter().all(|f| truths.iter().any(|t| near(*f, *t)));
    outcome.kind = right;
    outcome.error = None;
    outcome.frames.insert(0, format!("truth {truths:.3?} found {found:.3?}"));
    outcome.answers.push(("refused", outcome.refused.is_some()));
    outcome.answers.push(("right", right));
    outcome.answers.push((NOT_SILENT, right || !outcome.is_silent()));
    outcome
}

fn two_filters(dice: &mut Dice, k: u64) -> Outcome {
    let mut habit = Habit::drawn(dice);
    let other = habit.stops + dice.sign() * dice.uniform(0.4, 4.0);
    let strengths = [habit.stops, other.abs().max(0.5)];
    let n = habit.ways.visits[0].1;
    let [one, two] = [0, 1].map(|s| (Before::Filter(s), n));
    let bare = (Before::Nothing, n);
    habit.ways.visits = match dice.below(4) {
        0 => vec![bare, one, two],
        1 => vec![bare, one, two, bare],
        2 => vec![bare, one, bare, two, bare],
        _ => vec![bare, one, bare, two],
    };
    let states = strengths.iter().map(|s| solid::glass(*s, dice)).collect();
    let (scene, shots) = habit.scene(states, &strengths, dice);
    let (wish, about) = wish_and_about(&scene, habit.stops, Kind::Solid, dice);
    let truths = [scene.strength(0), scene.strength(1)];
    let stops = truths.to_vec();
    let case = Case { made: scene.shoot(&shots), wish, about, kind: Kind::Solid, stops };
    let mut outcome = told(assess(case, k), &[Kind::Variable], &truths);
    outcome.frames.insert(0, format!("{:?} {:?}", habit.ways, habit.sky));
    outcome
}

fn stack_parts(strengths: [f64; 2]) -> Vec<Part> {
    let part = |s: f64| Part::alone("Part", Stops::new(s), Stops::new(0.02));
    strengths.map(part).to_vec()
}

fn stack(dice: &mut Dice, k: u64) -> Outcome {
    let mut habit = Habit::drawn(dice);
    let parts = [dice.uniform(1.0, 4.0), dice.uniform(3.0, 7.0)];
    habit.stops = parts[0] + parts[1];
    let glass = parts.iter().flat_map(|s| solid::glass(*s, dice)).collect();
    let (scene, shots) = habit.scene(vec![glass], &[habit.stops], dice);
    let stops = vec![scene.strength(0)];
    let mut about = solid::about(&scene, habit.stops, dice);
    (about.rated, about.kind_said) = (None, true);
    if dice.chance(0.6) {
        about.parts = stack_parts(parts);
    }
    let wish = Wish { kind: Some(Kind::Stack), ..Wish::default() };
    let truth = stops[0];
    let case = Case { made: scene.shoot(&shots), wish, about, kind: Kind::Stack, stops };
    let mut outcome = assess(case, k);
    let right = outcome.kind && found(&outcome).iter().all(|f| near(*f, truth));
    outcome.answers.push((NOT_SILENT, right || !outcome.is_silent()));
    outcome
}

/// Both filters alone and together, in one folder.
fn stack_and_parts(dice: &mut Dice, k: u64) -> Outcome {
    let mut habit = Habit::drawn(dice);
    let parts = [dice.uniform(1.0, 4.0), dice.uniform(3.0, 6.0)];
    let strengths = [parts[0], parts[1], parts[0] + parts[1]];
    let n = habit.ways.visits[0].1;
    let order = dice.pick(&[[0, 2, 1], [0, 1, 2], [1, 2, 0], [2, 0, 1]]);
    let mut visits = vec![(Before::Nothing, n)];
    visits.extend(order.iter().take(2 + dice.below(2)).map(|&s| (Before::Filter(s), n)));
    if dice.chance(0.6) {
        visits.push((Before::Nothing, n));
    }
    habit.ways.visits = visits;
    let glasses = parts.map(|s| solid::glass(s, dice));
    let both = glasses.concat();
    let [one, two] = glasses;
    let (scene, shots) = habit.scene(vec![one, two, both], &strengths, dice);
    let said = dice.pick(&[None, Some(Kind::Stack), Some(Kind::Solid)]);
    let mut about = solid::about(&scene, strengths[2], dice);
    (about.rated, about.kind_said) = (None, said.is_some());
    let wish = Wish { kind: said, ..Wish::default() };
    let truths = [0, 1, 2].map(|s| scene.strength(s));
    let stops = truths.to_vec();
    let case = Case { made: scene.shoot(&shots), wish, about, kind: Kind::Stack, stops };
    let mut outcome = told(assess(case, k), &[Kind::Variable], &truths);
    outcome.frames.insert(0, format!("said {said:?} {:?} {:?}", habit.ways, habit.sky));
    outcome
}

fn polariser(dice: &mut Dice, k: u64) -> Outcome {
    let mut habit = Habit::drawn(dice);
    let loss = greyish(dice.uniform(1.2, 1.9), dice);
    habit.stops = loss[1];
    // Walls, the sky, a screen.
    let degree = match dice.below(4) {
        0 => 0.0,
        3 => dice.uniform(0.9, 0.99),
        _ => dice.uniform(0.05, 0.6),
    };
    let axis = dice.uniform(0.0, PI);
    let turns: Vec<f64> = (0..2 + dice.below(5)).map(|_| dice.uniform(0.0, PI)).collect();
    let n = dice.pick(&[1, 1, 2, 3]);
    let mut visits = vec![(Before::Nothing, n)];
    visits.extend((0..turns.len()).map(|s| (Before::Filter(s), n)));
    if dice.chance(0.6) {
        visits.push((Before::Nothing, n));
    }
    habit.ways.visits = visits;
    let state = |turn: &f64| vec![Piece::Sheet { loss, turn: *turn, degree, axis }];
    let strength = |turn: &f64| loss[1] - (1.0 + degree * (2.0 * (turn - axis)).cos()).log2();
    let strengths: Vec<f64> = turns.iter().map(strength).collect();
    let (scene, shots) = habit.scene(turns.iter().map(state).collect(), &strengths, dice);
    let said = dice.pick(&[None, Some(Kind::Polariser), Some(Kind::Polariser)]);
    let mut about = solid::about(&scene, loss[1], dice);
    (about.rated, about.kind_said) = (None, said.is_some());
    let wish = Wish { kind: said, ..Wish::default() };
    let truths: Vec<f64> = (0..turns.len()).map(|s| scene.strength(s)).collect();
    let stops = truths.clone();
    let case = Case { made: scene.shoot(&shots), wish, about, kind: Kind::Polariser, stops };
    let outcome = assess(case, k);
    // A wall without polarised light shows a solid filter, and one with a little shows as good as one.
    let maybe = outcome.notes.iter().any(|n| n == "maybe_polariser");
    let kinds: &[Kind] =
        if degree == 0.0 || maybe { &[Kind::Polariser, Kind::Solid] } else { &[Kind::Polariser] };
    let mut outcome = told(outcome, kinds, &truths);
    let head = format!("said {said:?} degree {degree:.2} {:?} {:?}", habit.ways, habit.sky);
    outcome.frames.insert(0, head);
    outcome
}

fn graduated(dice: &mut Dice, k: u64) -> Outcome {
    let mut habit = Habit::drawn(dice);
    let edge = dice.pick(&[Edge::Soft, Edge::Soft, Edge::Hard]);
    let stops = dice.uniform(1.0, 4.0);
    let width = if edge == Edge::Soft { dice.uniform(0.3, 0.9) } else { dice.uniform(0.06, 0.25) };
    let dark = greyish(stops, dice);
    let heights: Vec<f64> = (0..1 + dice.below(3)).map(|_| dice.uniform(-0.3, 0.3)).collect();
    let turn = dice.uniform(-0.2, 0.2);
    let state =
        |centre: &f64| vec![Piece::Graduated { stops: dark, centre: *centre, width, turn, edge }];
    let n = dice.pick(&[1, 2, 3]);
    let mut visits = vec![(Before::Nothing, n)];
    visits.extend((0..heights.len()).map(|s| (Before::Filter(s), n)));
    if dice.chance(0.6) {
        visits.push((Before::Nothing, n));
    }
    habit.ways.visits = visits;
    if matches!(habit.ways.timing, Timing::Left) {
        habit.ways.timing = Timing::Automatic;
    }
    let strengths = vec![0.4 * stops; heights.len()];
    let (scene, shots) = habit.scene(heights.iter().map(state).collect(), &strengths, dice);
    let body = scene.body.clone().finer();
    let scene = Scene { body, ..scene };
    let said = dice.pick(&[None, Some(Kind::Graduated)]);
    let mut about = solid::about(&scene, stops, dice);
    (about.rated, about.kind_said) = (None, said.is_some());
    let wish = Wish { kind: said, ..Wish::default() };
    let truths: Vec<f64> = (0..heights.len()).map(|s| scene.strength(s)).collect();
    let case =
        Case { made: scene.shoot(&shots), wish, about, kind: Kind::Graduated, stops: truths };
    let mut outcome = assess(case, k);
    let graduation = outcome.profile.as_ref().and_then(|p| p.graduation.clone());
    let told = graduation.map(|g| (g.dark_end_stops.get(), g.dark_end_u95.map_or(0.0, Stops::get)));
    let right = told.is_some_and(|(s, u)| (s - stops).abs() <= (2.0 * u).max(WRONG_END));
    if let Some((s, u)) = told.filter(|_| outcome.is_silent()) {
        outcome.answers.push(("dark end inside u95, in silence", (s - stops).abs() <= u));
    }
    let flagged = outcome
        .profile
        .as_ref()
        .is_some_and(|p| cautions(p).any(|c| c.text.contains("--kind graduated")));
    outcome.kind = right;
    outcome.error = None;
    let head =
        format!("said {said:?} {edge:?} {stops:.2} at {heights:.2?}: {told:.3?} {:?}", habit.ways);
    outcome.frames.insert(0, head);
    outcome.answers.push(("refused", outcome.refused.is_some()));
    outcome.answers.push(("right", right));
    outcome.answers.push((NOT_SILENT, right || flagged || !outcome.is_silent()));
    outcome
}
