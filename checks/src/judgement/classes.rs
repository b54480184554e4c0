//! The classes of shoots and what must hold of each.

use super::assess::{Outcome, assess};
use super::camera::{self, Way};
use super::colour;
use super::dice::Dice;
use super::faults::{SORTS, Spoiling};
use super::habits;
use super::kinds;
use super::leaks;
use super::light::Sort as Sky;
use super::planned::Ordered;
use super::rings;
use super::scene::Shot;
use super::several;
use super::shutter::Sort as Shutter;
use super::solid::{self, Case, Design, Recipe};
use super::table::Counts;
use super::targets::{Bound, Target};
use super::tint;
use super::ways;
use lightloss::profile::Kind;
use lightloss::shoot::Wish;

/// A class of shoots.
pub struct Class {
    pub name: String,
    /// Shoots, as a share of the number asked for.
    pub share: f64,
    /// What a short run holds it to; `None` where it leaves the class out.
    pub short: Option<Targets>,
    pub shoot: Shoots,
    pub targets: Targets,
}

/// Makes and judges the shoot of a number.
pub type Shoots = Box<dyn Fn(&mut Dice, u64) -> Outcome + Sync>;
/// What must hold of the outcomes of the class of this name.
pub type Targets = fn(&str, &[Outcome]) -> Vec<Target>;

/// Every class.
pub fn all() -> Vec<Class> {
    let mut list = solid_classes();
    list.extend(planned_classes());
    list.extend(camera_classes());
    list.extend(fault_classes());
    list.extend(kinds::classes());
    list.extend(rings::classes());
    list.extend(ways::classes());
    list.extend(habits::classes());
    list.extend(several::classes());
    list.extend(colour::classes());
    list.extend(leaks::classes());
    list.extend(tint::classes());
    list
}

fn of_recipe(name: &str, recipe: Recipe, targets: Targets) -> Class {
    Class {
        name: name.to_owned(),
        share: 1.0,
        short: None,
        shoot: Box::new(move |dice, k| assess(solid::case(&recipe, dice), k)),
        targets,
    }
}

fn solid_classes() -> Vec<Class> {
    let mut list = Vec::new();
    for shutter in [Shutter::Crystal, Shutter::Mechanical] {
        for sky in Sky::ALL {
            let name = format!("{}, {}", sky.name(), shutter.name());
            let (targets, short): (Targets, Option<Targets>) =
                if sky.is_calm() { (calm, Some(calm_and_short)) } else { (covered, None) };
            let class = of_recipe(&name, Recipe::usual(sky, shutter), targets);
            list.push(Class { short, ..class });
        }
    }
    for sky in [Sky::Linear, Sky::Curved, Sky::Walking] {
        let one_sided = Recipe { both_sides: false, ..Recipe::usual(sky, Shutter::Mechanical) };
        list.push(of_recipe(&format!("bare on one side, {}", sky.name()), one_sided, covered));
    }
    for repeats in [1, 2, 3, 5] {
        let usual = Recipe::usual(Sky::Walking, Shutter::Mechanical);
        let few = Recipe { repeats: Some(repeats), ..usual };
        list.push(of_recipe(&format!("{repeats} frames a run, walking"), few, covered));
    }
    let wobbly = Recipe { wobble: 0.03, ..Recipe::usual(Sky::Steady, Shutter::Mechanical) };
    list.push(of_recipe("aperture that wobbles, steady", wobbly, not_flicker));
    let usual = Recipe::usual(Sky::Walking, Shutter::Sloppy);
    list.push(of_recipe("equal levels, 1 to 3 % a time", usual, nearly_covered));
    let same = Recipe { design: Design::SameTime, ..usual };
    list.push(of_recipe("same time, 1 to 3 % a time", same, covered));
    let too = Recipe { design: Design::BareTimeToo, ..usual };
    list.push(of_recipe("bare time too, 1 to 3 % a time", too, covered));
    let published = Recipe { shutter: Shutter::Published, ..usual };
    list.push(of_recipe("equal levels, measured body", published, nearly_covered));
    // Where no shutter's doubt hides the light's.
    for (sky, repeats) in
        [Sky::Linear, Sky::Curved, Sky::Clouds].iter().flat_map(|s| [(*s, 1), (*s, 3)])
    {
        let usual = Recipe::usual(sky, Shutter::Mechanical);
        let same = Recipe { repeats: Some(repeats), design: Design::SameTime, ..usual };
        let name = format!("same time, {repeats} a run, {}", sky.name());
        list.push(Class { share: 0.4, ..of_recipe(&name, same, covered) });
    }
    list
}

fn covered(name: &str, outcomes: &[Outcome]) -> Vec<Target> {
    let counts = Counts::of(outcomes);
    let mut targets = counts.usual_targets(name);
    targets.extend(counts.coverage_targets(name));
    targets
}

fn calm(name: &str, outcomes: &[Outcome]) -> Vec<Target> {
    let mut targets = covered(name, outcomes);
    targets.push(Counts::of(outcomes).at_most_cautioned(name, 0.25));
    targets
}

/// What a few shoots can tell of kind, refusals and words.
fn calm_and_short(name: &str, outcomes: &[Outcome]) -> Vec<Target> {
    let counts = Counts::of(outcomes);
    let mut targets = counts.usual_targets(name);
    targets.truncate(2);
    targets.push(counts.at_most_cautioned(name, 0.25));
    targets
}

fn not_flicker(name: &str, outcomes: &[Outcome]) -> Vec<Target> {
    let flicker = |o: &&Outcome| o.cautions.iter().any(|c| c == "flicker_possible");
    let called = outcomes.iter().filter(flicker).count();
    let mut targets = covered(name, outcomes);
    let what = format!("{name}: called flicker");
    targets.push(Target::new(what, called, outcomes.len(), Bound::AtMost(0.05)));
    targets
}

fn nearly_covered(name: &str, outcomes: &[Outcome]) -> Vec<Target> {
    let counts = Counts::of(outcomes);
    let mut targets = counts.usual_targets(name);
    targets.push(counts.at_least_inside(name, 0.85));
    targets
}

fn planned_classes() -> Vec<Class> {
    let plan = |stops: f64| {
        let name = format!("planned, {stops:.0} stops, 1 to 3 % a time");
        let shoot = move |dice: &mut Dice, k: u64| assess(Ordered::drawn(stops, dice).case(), k);
        let (share, short) = (0.4, None);
        Class { name, share, short, shoot: Box::new(shoot), targets: by_plan }
    };
    let without = |stops: f64| {
        let name = format!("planned, {stops:.0} stops, plan not kept");
        let shoot = move |dice: &mut Dice, k: u64| {
            let case = Ordered::drawn(stops, dice).case();
            assess(Case { wish: Wish::default(), ..case }, k)
        };
        let (share, short) = (0.1, None);
        Class { name, share, short, shoot: Box::new(shoot), targets: by_plan }
    };
    let rated = [3.0, 6.0, 10.0, 15.0];
    rated.into_iter().map(plan).chain(rated.into_iter().map(without)).collect()
}

fn by_plan(name: &str, outcomes: &[Outcome]) -> Vec<Target> {
    let counts = Counts::of(outcomes);
    let count = |of: &dyn Fn(&Outcome) -> bool| outcomes.iter().filter(|o| of(o)).count();
    let close = count(&|o| o.error.is_some_and(|e| e.abs() <= 0.02));
    let sure = count(&|o| o.error.is_some() && o.u95 <= 0.015);
    let mut targets = counts.usual_targets(name);
    targets.extend(counts.coverage_targets(name));
    let bound = Bound::AtLeast(0.95);
    let all = outcomes.len();
    targets.push(Target::new(format!("{name}: error at most 0.02 stop"), close, all, bound));
    targets.push(Target::new(format!("{name}: u95 at most 0.015 stop"), sure, all, bound));
    targets
}

/// Records cost some hundred frames each.
fn camera_classes() -> Vec<Class> {
    type Shoot = fn(Way, &mut Dice, u64) -> Outcome;
    let class = |name: &str, shoot: Shoot, way: Way, targets: Targets| Class {
        name: name.to_owned(),
        share: 0.4,
        short: None,
        shoot: Box::new(move |dice: &mut Dice, k: u64| shoot(way, dice, k)),
        targets,
    };
    vec![
        class("camera record, 1 to 3 % a time", camera::record, Way::PLANNED, covered),
        class("camera record of one lamp", camera::record, Way::ONE_LAMP, covered),
        class("camera record, black drifts", camera::record, Way::WARMING, covered),
        class("camera record, sensor a power", camera::record, Way::POWER, covered),
        class(
            "equal levels, 1 to 3 % a time, camera known",
            camera::ordinary,
            Way::PLANNED,
            by_plan,
        ),
        class("equal levels, known by one lamp", camera::ordinary, Way::ONE_LAMP, covered),
        class("planned, 1 to 3 % a time, camera known", camera::planned, Way::PLANNED, by_plan),
    ]
}

fn fault_classes() -> Vec<Class> {
    let alone = Class {
        name: "one sort of bad frames".into(),
        // Three of each sort where 500 shoots are asked for.
        share: 3.0 * SORTS.len() as f64 / 500.0,
        short: None,
        shoot: Box::new(|dice, k| spoilt(&[k as usize % SORTS.len()], dice, k)),
        targets: |name, outcomes| Counts::of(outcomes).spoilt_targets(name),
    };
    let combined = Class {
        name: "two or three sorts of bad frames".into(),
        shoot: Box::new(|dice, k| {
            let n = 2 + dice.below(2);
            let sorts: Vec<usize> = (0..n).map(|_| dice.below(SORTS.len())).collect();
            spoilt(&sorts, dice, k)
        }),
        ..alone_like(&alone)
    };
    let known = Class {
        name: "six stops, clipped, buried and clouded".into(),
        share: 0.08,
        shoot: Box::new(kinds::known_shoot),
        targets: |name, outcomes| {
            let right = outcomes.iter().filter(|o| o.answers.iter().all(|a| a.1)).count();
            let what = format!("{name}: one solid setting, every frame judged right");
            vec![Target::new(what, right, outcomes.len(), Bound::AtLeast(1.0))]
        },
        ..alone_like(&alone)
    };
    vec![alone, combined, known]
}

fn alone_like(class: &Class) -> Class {
    let shoot: Shoots = Box::new(|_, _| Outcome::default());
    Class { name: String::new(), shoot, ..*class }
}

/// A shoot in walking light with frames that these sorts of fault spoil.
fn spoilt(sorts: &[usize], dice: &mut Dice, k: u64) -> Outcome {
    let shutter = dice.pick(&[Shutter::Crystal, Shutter::Mechanical]);
    let recipe =
        Recipe { repeats: Some(dice.pick(&[3, 3, 4, 5])), ..Recipe::usual(Sky::Walking, shutter) };
    let stops = dice.uniform(1.5, 13.0);
    let mut shots = solid::shots(&recipe, stops, dice);
    let glass = solid::glass(stops, dice);
    let mut scene = solid::scene(&recipe, vec![glass], &shots, dice);
    for &sort in sorts {
        let before = shots.clone();
        (SORTS[sort].spoil)(&mut Spoiling { scene: &mut scene, shots: &mut shots, dice, stops });
        let changed = |s: &&mut Shot| s.fault.sort.is_empty() && !before.contains(s);
        shots.iter_mut().filter(changed).for_each(|s| s.fault.sort = SORTS[sort].name);
    }
    let about = solid::about(&scene, stops, dice);
    let truth = vec![scene.strength(0)];
    let made = scene.shoot(&shots);
    let wish = Wish::default();
    let mut outcome = assess(Case { made, wish, about, kind: Kind::Solid, stops: truth }, k);
    let good = (outcome.refused.is_some() || outcome.kind) && !outcome.is_wrong_in_silence();
    outcome.answers.extend(sorts.iter().map(|&s| (SORTS[s].name, good)));
    outcome
}
