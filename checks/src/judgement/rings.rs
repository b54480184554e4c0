//! Rings of two sheets: their angles at several focal lengths, and the way up and back.

use super::assess::Outcome;
use super::classes::Class;
use super::dice::Dice;
use super::filter::{Piece, greyish};
use super::kinds::{all_answers, answers, calm, class, judged, rounds};
use super::scene::{Before, Shot};
use super::solid;
use super::targets::{Bound, Target};
use lightloss::exposure::{GivenTime, parse_rating};
use lightloss::field::plan::{Plan, Request};
use lightloss::profile::Kind;
use lightloss::quantity::Seconds;
use lightloss::shoot::Wish;
use lightloss::shoot_file::ShotState;

pub fn classes() -> Vec<Class> {
    let mut list = vec![class("ring as the plan orders", planned_ring, all_answers)];
    for focal in [14.0, 24.0, 50.0, 85.0] {
        let ring = move |d: &mut Dice, k: u64| ring(d, k, focal);
        let mut class = class(&format!("ring of two sheets, {focal:.0} mm"), ring, angles);
        class.share = 0.1;
        list.push(class);
    }
    list
}

fn angles(name: &str, outcomes: &[Outcome]) -> Vec<Target> {
    let held = |question: &str| {
        let (_, yes, of) =
            answers(outcomes).into_iter().find(|a| a.0 == question).unwrap_or_default();
        [Bound::AtLeast(0.93), Bound::AtMost(0.97)]
            .map(|bound| Target::new(format!("{name}: {question}"), yes, of, bound))
    };
    [held(AXES), held(BISECTOR)].concat()
}

const AXES: &str = "angle between the axes inside u95";
const BISECTOR: &str = "bisector inside u95";

/// Marks of a ring: angles between the axes for strengths from the weakest up.
pub fn sheets(dice: &mut Dice, strengths: &[f64]) -> (Vec<Vec<Piece>>, Vec<(f64, f64)>) {
    let base = greyish(dice.uniform(1.3, 1.9), dice);
    let floor = [0; 3].map(|_| 10_f64.powf(dice.uniform(-4.0, -3.0)));
    let (start, way) = (dice.uniform(0.0, std::f64::consts::PI), dice.sign());
    let states = strengths.iter().map(|stops| {
        let share = ((base[1] - stops).exp2() * (1.0 + floor[1]) - floor[1]).clamp(0.0, 1.0);
        let axes = share.sqrt().acos();
        // The front sheet turns, the back one stays: the bisector goes half as far.
        let bisector = start + way * axes / 2.0;
        (vec![Piece::Pair { base, axes, bisector, floor }], (axes, bisector))
    });
    states.unzip()
}

fn ring(dice: &mut Dice, k: u64, focal: f64) -> Outcome {
    let strengths = [2.0, 3.0, 4.0, 5.0, 6.0, 7.0];
    let (states, truth) = sheets(dice, &strengths);
    let shots = rounds(&strengths, dice);
    let scene = calm(states, &shots, Some(focal), dice);
    let marks: Vec<String> = strengths.iter().map(|s| format!("{s}")).collect();
    let wish = Wish { kind: Some(Kind::Variable), marks, ..Wish::default() };
    let mut outcome = judged(&scene, &shots, wish, Kind::Variable, dice, k);
    let pair = outcome.profile.as_ref().and_then(|p| p.polariser_pair.clone());
    outcome.answers.push(("a pair was fitted", pair.is_some()));
    for (mark, (axes, bisector)) in pair.iter().flat_map(|p| &p.marks).zip(&truth) {
        if let (Some(found), Some(u95)) = (mark.axes_angle, mark.u95) {
            outcome.answers.push((AXES, (found.get() - axes.to_degrees()).abs() <= u95.get()));
        }
        if let (Some(found), Some(u95)) = (mark.bisector_angle, mark.bisector_u95) {
            let off = (found.get() - bisector.to_degrees()).rem_euclid(90.0);
            // Which of the two bisectors is meant follows from how the pair darkens.
            outcome.answers.push((BISECTOR, off.min(90.0 - off) <= u95.get()));
        }
    }
    outcome
}

/// Up the ring and back as a plan orders.
fn planned_ring(dice: &mut Dice, k: u64) -> Outcome {
    let request = Request {
        kind: Kind::Variable,
        rating: Some(parse_rating("2-6").unwrap()),
        metered: Some(GivenTime::new(Seconds::new(1.0 / 60.0))),
        marks: Vec::new(),
        name: None,
        slot: false,
        focal: Vec::new(),
    };
    let plan = Plan::of(request).unwrap().shoot_file().planned;
    let (states, _) = sheets(dice, &[2.0, 3.0, 4.0, 5.0, 6.0]);
    let mut shots = solid::planned(&plan, dice);
    let checks = shots.iter().filter(|s| s.before == Before::Filter(5)).count();
    assert_eq!(checks, 0, "marks of the plan are those of the ring");
    // Half of the shoots know nothing of the plan.
    let obeyed = dice.chance(0.5);
    if !obeyed {
        shots.retain(|s| !matches!(s.before, Before::Card | Before::Cap));
    }
    let scene = calm(states, &shots, None, dice);
    let marks = ["2", "3", "4", "5", "6", "6", "5", "4", "3", "2"].map(str::to_owned).to_vec();
    let wish = if obeyed {
        Wish { kind: Some(Kind::Variable), planned: plan, ..Wish::default() }
    } else {
        let made = plan.iter().position(|s| s.state == ShotState::LightCheck);
        if made.is_some() {
            drop_light_check(&mut shots);
        }
        Wish { kind: Some(Kind::Variable), marks, ..Wish::default() }
    };
    let mut outcome = judged(&scene, &shots, wish, Kind::Variable, dice, k);
    let repeats = outcome
        .profile
        .as_ref()
        .is_some_and(|p| p.settings.iter().any(|s| s.ring_repeat_stops.is_some()));
    outcome.answers.push(("measured", outcome.refused.is_none() && outcome.kind));
    outcome.answers.push(("the ring's repeat given", repeats));
    outcome
}

/// The single frame with the whole filter turned, last before the closing bare frames.
fn drop_light_check(shots: &mut Vec<Shot>) {
    if let Some(last) = shots.iter().rposition(|s| matches!(s.before, Before::Filter(_))) {
        shots.remove(last);
    }
}
