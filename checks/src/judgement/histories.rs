//! Does a kit's history tell a filter that ages from one that does not? `kit --histories 100` draws
//! filters by their spectra and measures each over five years, mostly with two cameras that see
//! other colours, in daylight of another temperature each time; half of the filters age by a
//! twentieth of a stop and a cast. Others crack or fade by more in ways that are no straight line.
//! Counted are the histories that tell a change, and how often the
//! uncertainty of the change holds the truth.
//!
//! The seed is drawn anew unless given, and printed. Fails where fewer than 95 of 100 tell the
//! change, more than 5 of 100 tell one where there is none, one that is no line is told as what it
//! is too rarely, as its contrary or as a contradiction, or the uncertainty holds the truth too
//! rarely, beyond what chance makes of such a share. `--keep` writes the table to reports/kit/histories.txt.

use super::body::Body;
use super::colour::{Eyes, matrix, planck, strengths_seen};
use super::dice::Dice;
use super::filter::Piece;
use super::light::Sort as Sky;
use super::scene::{Before, Scene, Shot};
use super::shutter::{Shutter, Sort};
use super::solid::{self, Design, Recipe};
use super::targets::{Bound, Target};
use crate::Verdict;
use crate::kept::keep;
use crate::machine::machine;
use jiff::civil::date;
use lightloss::compare::history::trend::{Course, Trend};
use lightloss::compare::history::{Quantity, history};
use lightloss::kit::kept::{KeptFilter, Measurement};
use lightloss::measure::measure;
use lightloss::profile::Profile;
use lightloss::profile::json::Document;
use lightloss::shoot::{Wish, sort};
use rayon::prelude::*;
use std::fmt::Write as _;

/// What a filter loses in five years: stops of all light, and of a slope over 150 nm.
const AGED_STOPS: f64 = 0.05;
const AGED_SLOPE: f64 = 0.1;
/// What one loses that shows how it ages: stops of all light (ours: six uncertainties of a change).
const FADED_STOPS: f64 = 0.25;
/// It is told how, and not the other way round.
const SHAPE_TOLD: f64 = 0.80;
const SHAPE_WRONG: f64 = 0.02;
/// Years from the first measurement to the newest.
const YEARS: f64 = 5.0;
/// A history tells the change, and a filter that never changed is let alone.
const TOLD: f64 = 0.95;
const FALSE_ALARMS: f64 = 0.05;
/// Honest measurements are called contradictory in any of four quantities.
const CONTRADICTORY: f64 = 0.02;
/// A twentieth of a stop alone is told where the sky allows it.
const STRENGTH_TOLD: f64 = 0.80;
/// The uncertainty of the change holds the truth.
const HELD: f64 = 0.93;

#[derive(clap::Args)]
pub struct Options {
    /// Histories of each row, half of them of filters that age
    #[arg(long, default_value_t = 100)]
    histories: u64,
    /// Drawn anew where not given
    #[arg(long)]
    seed: Option<u64>,
    /// Write the table to reports/kit/histories.txt
    #[arg(long)]
    keep: bool,
}

/// A row of the table.
struct Class {
    name: &'static str,
    /// From the weakest to the strongest, stops.
    stops: (f64, f64),
    design: Design,
    cameras: usize,
    measurements: usize,
    /// Whether a twentieth of a stop must show in the strength alone.
    strength_tells: bool,
}

const CLASSES: [Class; 4] = [
    Class {
        name: "up to 7 stops, one time, two cameras, six measurements",
        stops: (1.5, 6.8),
        design: Design::SameTime,
        cameras: 2,
        measurements: 6,
        strength_tells: true,
    },
    Class {
        name: "7 to 11 stops, two times, two cameras, six measurements",
        stops: (7.0, 11.0),
        design: Design::EqualLevels,
        cameras: 2,
        measurements: 6,
        strength_tells: false,
    },
    Class {
        name: "up to 7 stops, one time, one camera, two measurements",
        stops: (1.5, 6.8),
        design: Design::SameTime,
        cameras: 1,
        measurements: 2,
        strength_tells: true,
    },
    Class {
        name: "7 to 11 stops, two times, one camera, four measurements",
        stops: (7.0, 11.0),
        design: Design::EqualLevels,
        cameras: 1,
        measurements: 4,
        strength_tells: false,
    },
];

/// What a filter does over the years. None of the curves is an exponential.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Fate {
    Ages,
    Stays,
    /// All of it between two measurements.
    Cracks,
    /// Like a hyperbola.
    Settles,
    /// Like a fourth power.
    Quickens,
}

impl Fate {
    const NO_LINE: [Self; 3] = [Self::Cracks, Self::Settles, Self::Quickens];
    /// The share of its change that is over at a share of the time.
    fn course(self, age: f64) -> f64 {
        match self {
            Self::Ages => age,
            Self::Stays => 0.0,
            Self::Cracks => f64::from(u8::from(age > 0.5)),
            Self::Settles => age * 1.15 / (age + 0.15),
            Self::Quickens => age.powi(4),
        }
    }
    fn word(self) -> &'static str {
        match self {
            Self::Ages => "ages",
            Self::Stays => "stays",
            Self::Cracks => "cracks",
            Self::Settles => "settles",
            Self::Quickens => "quickens",
        }
    }
    /// What fits it, of so many measurements: a fast fade is a step between the first two, a late one
    /// between the last two.
    fn is_told_by(self, trend: &Trend, measurements: usize) -> bool {
        let step_at = trend.turn.filter(|_| trend.course == Course::Step);
        match self {
            Self::Cracks => trend.course == Course::Step,
            Self::Settles => trend.course == Course::Settling || step_at == Some(1),
            Self::Quickens => {
                trend.course == Course::Quickening || step_at == Some(measurements - 1)
            }
            Self::Ages | Self::Stays => trend.course == Course::Line,
        }
    }
    fn is_denied_by(self, course: Course) -> bool {
        match self {
            Self::Settles => course == Course::Quickening,
            Self::Quickens => course == Course::Settling,
            _ => false,
        }
    }
}

/// What became of one history.
#[derive(Clone, Copy, Default)]
struct Outcome {
    measured: bool,
    told: bool,
    strength_told: bool,
    colour_told: bool,
    /// Whether its measurements are said to contradict each other, which they never do.
    contradictory: bool,
    /// Whether the strength's course is told as what it is, and as its contrary.
    shape_told: bool,
    shape_wrong: bool,
    /// Whether the uncertainties of the changes of strength and of red minus green hold the truth.
    held: [bool; 2],
    /// Uncertainty of the change of strength, stops.
    u95: f64,
}

/// The filter's share of light at a wavelength, at an age from 0 to 1.
#[derive(Clone, Copy)]
struct Glass {
    stops: f64,
    slope: f64,
    bend: f64,
    aged: (f64, f64),
    fate: Fate,
}

impl Glass {
    fn drawn(class: &Class, fate: Fate, dice: &mut Dice) -> Self {
        let sign = dice.sign();
        Self {
            stops: dice.uniform(class.stops.0, class.stops.1),
            slope: dice.uniform(-0.4, 0.4),
            bend: dice.uniform(-0.2, 0.2),
            aged: match fate {
                Fate::Ages | Fate::Stays => (AGED_STOPS, sign * AGED_SLOPE),
                _ => (FADED_STOPS, sign * AGED_SLOPE),
            },
            fate,
        }
    }
    fn passes(&self, nm: f64, age: f64) -> f64 {
        let t = (nm - 560.0) / 150.0;
        let aged = self.fate.course(age) * (self.aged.0 + self.aged.1 * t);
        (-(self.stops + self.slope * t + self.bend * t * t + aged)).exp2()
    }
    /// Stops of red, green and blue.
    fn strengths(&self, eyes: &Eyes, kelvin: f64, age: f64) -> ([f64; 3], [f64; 3]) {
        strengths_seen(eyes, &|nm| planck(nm, kelvin), &|nm| self.passes(nm, age))
    }
}

/// What stays of a camera from year to year.
struct Own {
    eyes: Eyes,
    body: Body,
    matrix: [f64; 9],
    shutter: Shutter,
}

impl Own {
    fn drawn(number: usize, dice: &mut Dice) -> Self {
        let eyes = Eyes::drawn(dice);
        let mut body = Body::drawn(dice);
        // Other eyes are another model.
        body.name.model = Some(format!("Dunlin {number}"));
        let sorts = [Sort::Crystal, Sort::Mechanical, Sort::Mechanical, Sort::Sloppy];
        Self {
            matrix: matrix(&eyes, dice),
            eyes,
            body,
            shutter: Shutter::drawn(dice.pick(&sorts), dice),
        }
    }
}

pub fn check(options: &Options) -> Verdict {
    let seed = options.seed.unwrap_or_else(|| rand::random::<u32>().into());
    let mut text = format!(
        "Histories of filters over {YEARS} years: kit --histories {} --seed {seed}\n{}\n\n\
         A filter that ages takes {AGED_STOPS} stop more at the end, and {AGED_SLOPE} stop more or less \
         over 150 nm.\n\n{:<58}{:>7}{:>9}{:>9}{:>9}{:>9}{:>9}{:>9}\n",
        options.histories,
        machine(),
        "",
        "of",
        "told",
        "strength",
        "colour",
        "held",
        "held col",
        "u95"
    );
    let mut targets = Vec::new();
    for (row, class) in CLASSES.iter().enumerate() {
        // Only of many measurements of a weak filter can be told how it changed.
        let uneven = class.measurements > 4 && class.strength_tells;
        let uneven: &[Fate] = if uneven { &Fate::NO_LINE } else { &[] };
        for (number, fate) in [Fate::Stays, Fate::Ages].iter().chain(uneven).enumerate() {
            let outcomes: Vec<Outcome> = (0..options.histories)
                .into_par_iter()
                .map(|k| drawn(class, *fate, &mut Dice::of(&[seed, row as u64, number as u64, k])))
                .collect();
            text += &line(class, *fate, &outcomes);
            targets.extend(targets_of(class, *fate, &outcomes));
        }
    }
    let verdicts: Vec<String> = targets.iter().map(Target::to_string).collect();
    writeln!(text, "\n{}", verdicts.join("\n")).expect("room in a string");
    print!("{text}");
    if options.keep {
        keep("kit/histories.txt", &text);
    }
    let failed = targets.iter().filter(|t| t.fails()).count();
    if failed == 0 { Ok(()) } else { Err(format!("{failed} of {} targets fail", targets.len())) }
}

fn count(outcomes: &[Outcome], of: &dyn Fn(&Outcome) -> bool) -> usize {
    outcomes.iter().filter(|o| o.measured && of(o)).count()
}

fn line(class: &Class, fate: Fate, outcomes: &[Outcome]) -> String {
    let measured = count(outcomes, &|_| true);
    let mut u95: Vec<f64> = outcomes.iter().filter(|o| o.measured).map(|o| o.u95).collect();
    u95.sort_by(f64::total_cmp);
    let cells: String = [
        count(outcomes, &|o| o.told),
        count(outcomes, &|o| o.strength_told),
        count(outcomes, &|o| o.colour_told),
        count(outcomes, &|o| o.held[0]),
        count(outcomes, &|o| o.held[1]),
    ]
    .iter()
    .map(|n| format!("{n:>9}"))
    .collect();
    let word = fate.word();
    let median = u95.get(u95.len() / 2).copied().unwrap_or(f64::NAN);
    format!("{word:<9}{:<52}{measured:>7}{cells}{median:>9.4}\n", short(class.name))
}

fn short(name: &str) -> String {
    name.replace(" measurements", " times").chars().take(51).collect()
}

fn targets_of(class: &Class, fate: Fate, outcomes: &[Outcome]) -> Vec<Target> {
    let of = count(outcomes, &|_| true);
    let told = count(outcomes, &|o| o.told);
    let name = &format!("{}, {}", fate.word(), class.name);
    let mut targets = vec![
        Target::new(format!("{name}: measured"), of, outcomes.len(), Bound::AtLeast(0.95)),
        Target::new(
            format!("{name}: uncertainty of the change of strength holds"),
            count(outcomes, &|o| o.held[0]),
            of,
            Bound::AtLeast(HELD),
        ),
        Target::new(
            format!("{name}: called contradictory"),
            count(outcomes, &|o| o.contradictory),
            of,
            Bound::AtMost(CONTRADICTORY),
        ),
    ];
    // A little cast that came at once fits a line as well, which makes it a quarter too large: the table
    // counts that and nothing holds it yet.
    let held = Target::new(
        format!("{name}: uncertainty of the change of colour holds"),
        count(outcomes, &|o| o.held[1]),
        of,
        Bound::AtLeast(HELD),
    );
    targets.extend((!Fate::NO_LINE.contains(&fate)).then_some(held));
    if fate != Fate::Stays {
        targets.push(Target::new(format!("{name}: told"), told, of, Bound::AtLeast(TOLD)));
        let strength = count(outcomes, &|o| o.strength_told);
        let alone = Target::new(
            format!("{name}: told by the strength alone"),
            strength,
            of,
            Bound::AtLeast(STRENGTH_TOLD),
        );
        targets.extend(class.strength_tells.then_some(alone));
    } else {
        let bound = Bound::AtMost(FALSE_ALARMS);
        targets.push(Target::new(format!("{name}: told without a change"), told, of, bound));
    }
    if Fate::NO_LINE.contains(&fate) {
        let of_shape = |what: &str, is: &dyn Fn(&Outcome) -> bool, bound| {
            Target::new(format!("{name}: {what}"), count(outcomes, is), of, bound)
        };
        let told = Bound::AtLeast(SHAPE_TOLD);
        targets.push(of_shape("how it changed told", &|o| o.shape_told, told));
        let wrong = Bound::AtMost(SHAPE_WRONG);
        targets.push(of_shape("told the other way round", &|o| o.shape_wrong, wrong));
    }
    targets
}

/// Draws a history and reads it.
fn drawn(class: &Class, fate: Fate, dice: &mut Dice) -> Outcome {
    let glass = Glass::drawn(class, fate, dice);
    let cameras: Vec<Own> = (0..class.cameras).map(|number| Own::drawn(number, dice)).collect();
    // The new camera comes after two measurements at least, and makes two at least.
    let change = 2 + dice.below(class.measurements.saturating_sub(3).max(1));
    let mut kept = Vec::new();
    for k in 0..class.measurements {
        let age = k as f64 / (class.measurements - 1) as f64;
        let own = &cameras[usize::from(class.cameras > 1 && k >= change)];
        let Some(profile) = shot(class, &glass, own, age, dice) else { continue };
        let days = (age * YEARS * 365.25) as i64 + dice.below(20) as i64;
        let day = date(2026, 5, 9).at(10, 0, 0, 0);
        let at = day.checked_add(jiff::SignedDuration::from_hours(24 * days)).unwrap_or(day);
        kept.push(Measurement {
            path: format!("{k}/profile.json").into(),
            document: Document { value: serde_json::Value::Null, profile },
            at: Some(at),
            retired: false,
        });
    }
    if kept.len() < class.measurements {
        return Outcome::default();
    }
    let read = history(&KeptFilter::of(kept).expect("measurements"));
    let last = &cameras[class.cameras - 1];
    let [new, old] = [1.0, 0.0].map(|age| glass.strengths(&last.eyes, 5500.0, age).1);
    let truth = [new[1] - old[1], (new[0] - new[1]) - (old[0] - old[1])];
    let held = |quantity, truth: f64| {
        let change = read.change(quantity);
        change.is_some_and(|c| (c.trend.change - truth).abs() <= c.trend.u95())
    };
    let trend = read.change(Quantity::Strength).map(|change| change.trend);
    let shows = |quantity| read.change(quantity).is_some_and(|c| c.shows);
    Outcome {
        measured: true,
        told: read.shown().count() > 0,
        strength_told: shows(Quantity::Strength),
        colour_told: shows(Quantity::RedGreen) || shows(Quantity::BlueGreen),
        shape_told: trend.is_some_and(|trend| fate.is_told_by(&trend, class.measurements)),
        shape_wrong: trend.is_some_and(|trend| fate.is_denied_by(trend.course)),
        contradictory: read.changes.iter().any(|c| c.trend.course == Course::Contradiction),
        held: [held(Quantity::Strength, truth[0]), held(Quantity::RedGreen, truth[1])],
        u95: read.change(Quantity::Strength).map_or(f64::NAN, |c| c.trend.u95()),
    }
}

/// One measurement; `None` where nothing was measured, or not as a solid filter.
fn shot(class: &Class, glass: &Glass, own: &Own, age: f64, dice: &mut Dice) -> Option<Profile> {
    let kelvin = dice.uniform(5000.0, 7200.0);
    let (bare, strengths) = glass.strengths(&own.eyes, kelvin, age);
    let sky = dice.pick(&[Sky::Steady, Sky::Walking]);
    let recipe = Recipe { design: class.design, ..Recipe::usual(sky, Sort::Crystal) };
    let shots = solid::shots(&recipe, strengths[1], dice);
    let drawn = solid::scene(&recipe, vec![vec![Piece::plain(strengths)]], &shots, dice);
    let most = bare.iter().fold(0.0_f64, |a, b| a.max(*b)) / bare[1];
    let body = own.body.clone().seeing(bare, own.matrix);
    let seconds = bare_seconds(&shots);
    let level = dice.uniform(0.4, 0.55) * body.full_well / most / seconds;
    let scene = Scene {
        brightness: level / drawn.wall.light(0.0, 0.0),
        shutter: own.shutter.clone(),
        focal_mm: 50.0,
        body,
        ..drawn
    };
    let about = solid::about(&scene, strengths[1], dice);
    let candidates = scene.shoot(&shots).into_iter().map(|made| made.candidate).collect();
    let shoot = sort(candidates, &Wish::default()).ok()?;
    measure(&shoot, &about).ok().filter(|profile| profile.settings.len() == 1)
}

fn bare_seconds(shots: &[Shot]) -> f64 {
    let bare = shots.iter().find(|shot| shot.before == Before::Nothing);
    bare.map_or(0.01, |shot| shot.time.meant())
}
