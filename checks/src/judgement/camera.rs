//! A camera record made of a bare wall as `lightloss camera --help` has it shot, and ordinary shoots
//! of the body that it knows. Shutter, light, sensor and apertures are the bench's own.

use super::assess::{Outcome, assess};
use super::body::Body;
use super::dice::Dice;
use super::light::{Light, Sort as Sky};
use super::optics::{Lens, Wall};
use super::planned::Ordered;
use super::scene::{Before, Lamps, Scene, Shot};
use super::shutter::{DIAL, DIAL_END, Shutter, Sort, Time};
use super::solid::{self, Case, Recipe};
use super::tint::Tint;
use lightloss::body_record::BodyRecord;
use lightloss::measure::About;
use lightloss::measure::camera::{CameraError, camera};
use lightloss::profile::Kind;
use lightloss::quantity::Millimetres;
use lightloss::shoot::Wish;

/// Longest time of each light level, seconds; five stops of the dial at each.
const LONGEST: [f64; 5] = [1.0 / 60.0, 1.0 / 8.0, 1.0, 8.0, 30.0];
const STOPS: f64 = 5.2;
/// Times of the dark frames, seconds.
const DARK: [f64; 3] = [1.0, 8.0, 30.0];
/// Longest time that ordinary shoots of the class set, seconds.
const DIALLED_S: f64 = 30.0;

/// Times at which two lamps are shot, each alone and both; frames of each light and of none.
const OF_LAMPS: [f64; 4] = [1.0 / 60.0, 1.0 / 125.0, 1.0 / 250.0, 1.0 / 500.0];
const OF_LIGHT: usize = 2;

/// Share of the light that a sensor loses at full scale, and the power of the level that this grows
/// with, from and to (ours: linearity errors of some tenths of a percent).
const BENT: (f64, f64) = (-0.004, 0.006);
const GROWS: (f64, f64) = (0.7, 2.0);

/// A record with the scene that it was made in.
pub struct Known {
    pub record: BodyRecord,
    scene: Scene,
}

impl Known {
    /// The scene is shot with this body, at the levels that it would have had with its own.
    fn taken_by(self, scene: &mut Scene, about: &mut About) {
        let own = scene.body.full_well;
        scene.body = self.scene.body;
        scene.shutter = self.scene.shutter;
        scene.brightness *= scene.body.full_well / own;
        let (width, height) = scene.body.sensor_mm;
        about.sensor_mm = Some((Millimetres::new(width), Millimetres::new(height)));
        about.camera_record = Some(self.record);
    }
}

/// How a wall is shot.
#[derive(Clone, Copy, Debug)]
pub struct Way {
    /// With two lamps, each alone and both, besides.
    pub two_lamps: bool,
    /// Black drifts while the sensor warms.
    pub warms: bool,
    /// The sensor's levels are a power of the light.
    pub power: bool,
}

impl Way {
    pub const PLANNED: Self = Self { two_lamps: true, warms: false, power: false };
    pub const ONE_LAMP: Self = Self { two_lamps: false, warms: false, power: false };
    pub const POWER: Self = Self { two_lamps: true, warms: false, power: true };
    pub const WARMING: Self = Self { two_lamps: true, warms: true, power: false };
}

/// Counts at 14 bit by which black rises or falls as the sensor warms, and in how many minutes, from and to
/// (ours).
const WARMS: (f64, f64) = (-4.0, 4.0);
const WARM_MINUTES: (f64, f64) = (8.0, 60.0);
/// Stops per stop of light above a line, from and to (ours: five stops are then off by 1.4 % at most).
const POWERS: (f64, f64) = (-0.004, 0.004);

/// Shoots the wall.
pub fn known(sort: Sort, sky: Sky, way: Way, dice: &mut Dice) -> Result<Known, CameraError> {
    let (scene, shots) = wall(sort, sky, way, dice);
    let record = camera(scene.shoot(&shots).into_iter().map(|m| m.candidate).collect())?;
    Ok(Known { record, scene })
}

fn wall(sort: Sort, sky: Sky, way: Way, dice: &mut Dice) -> (Scene, Vec<Shot>) {
    let mut body = Body::drawn(dice);
    body.bend = (dice.uniform(BENT.0, BENT.1), dice.uniform(GROWS.0, GROWS.1));
    // The first levels by the aperture, as far as it goes, or all by the lamp.
    let by_aperture = dice.chance(0.5);
    let apertures: &[f64] = if by_aperture { &[2.8, 8.0, 22.0] } else { &[2.8] };
    let mut shots = capped();
    for (level, longest) in LONGEST.iter().enumerate() {
        let f_number = apertures[level.min(apertures.len() - 1)];
        let opened = (Time::Dial(*longest).meant() / Time::Dial(LONGEST[0]).meant()).log2();
        let closed = 2.0 * (f_stop(f_number) / f_stop(2.8)).log2();
        // Nobody dims to a third of a stop.
        let slip = if level == 0 { 0.0 } else { dice.uniform(-0.1, 0.35) };
        let dimmed = opened - closed + if closed < opened - 0.2 { slip } else { 0.0 };
        let down = along(*longest);
        let up: Vec<f64> = down.iter().rev().copied().collect();
        for time in down.into_iter().chain(up) {
            for _ in 0..2 {
                let mut shot = Shot { f_number, ..Shot::new(Before::Nothing, Time::Dial(time)) };
                shot.fault.cloud = dimmed.max(0.0);
                shot.pause_s = dice.uniform(0.5, 2.0);
                shots.push(shot);
            }
        }
        if let Some(first) = shots.iter_mut().rev().take(2 * 2 * along(*longest).len()).last() {
            first.pause_s = dice.log_uniform(15.0, 120.0);
        }
    }
    if way.two_lamps {
        // Dice of their own: the same wall with one lamp and with two.
        shots.extend(two_lamps(&mut dice.clone()));
    }
    shots.extend(capped());
    if way.power {
        (body.bend, body.power) = ((0.0, 1.0), dice.uniform(POWERS.0, POWERS.1));
    }
    if way.warms {
        let scale = f64::from(body.levels().white) / 16_383.0;
        body.warms = (
            scale * dice.uniform(WARMS.0, WARMS.1),
            dice.log_uniform(WARM_MINUTES.0, WARM_MINUTES.1),
        );
    }
    shots[0].pause_s = 0.0;
    let focal_mm = 50.0;
    let lens = Lens::drawn(dice, body.half_diagonal_mm() / focal_mm);
    let wall = Wall::drawn(dice, 1.0);
    let minutes = shots.iter().map(|s| s.pause_s + s.time.meant()).sum::<f64>() / 60.0;
    let wide_open = (8.0 / f_stop(2.8)).powi(2);
    let full = dice.uniform(0.5, 0.7) * body.full_well;
    let brightness = full / Time::Dial(LONGEST[0]).meant() / wide_open / wall.light(0.0, 0.0);
    let scene = Scene {
        lens,
        focal_mm,
        wall,
        light: Light::drawn(sky, minutes, dice),
        tint: Tint::default(),
        shutter: Shutter::drawn(sort, dice),
        states: Vec::new(),
        brightness,
        wobble: dice.uniform(0.0, if by_aperture { 0.006 } else { 0.002 }),
        swing: 0.0,
        seed: dice.number(),
        body,
    };
    (scene, shots)
}

/// The dark frames.
fn capped() -> Vec<Shot> {
    let shot = |time| Shot { f_number: 2.8, ..Shot::new(Before::Cap, Time::Dial(time)) };
    DARK.into_iter().flat_map(|time| [shot(time), shot(time)]).collect()
}

/// One lamp, both, the other, and none, at a few times, mostly one light after the other; as bright together
/// as the first light level, or a little less.
fn two_lamps(dice: &mut Dice) -> Vec<Shot> {
    let lamps = Lamps {
        lit: [true; 2],
        share: dice.uniform(0.35, 0.65),
        at: [-1.0, 1.0].map(|side| {
            [side * dice.uniform(0.8, 1.3), dice.uniform(-0.5, 0.5), dice.uniform(0.9, 1.6)]
        }),
        besides: dice.log_uniform(1e-6, 1e-3),
        crossed: (
            dice.log_uniform(1e-5, 1e-3),
            [dice.uniform(-1.5, 1.5), dice.uniform(-1.0, 1.0), dice.uniform(0.5, 2.0)],
        ),
    };
    let dimmed = dice.uniform(-0.1, 0.4);
    let mut shots = Vec::new();
    let mut lights = [[true, false], [true, true], [false, true], [false, false]];
    if dice.chance(0.3) {
        lights.swap(0, 1);
    }
    let mut all: Vec<(f64, [bool; 2])> =
        lights.iter().flat_map(|lit| OF_LAMPS.map(|time| (time, *lit))).collect();
    if dice.chance(0.3) {
        all.sort_by(|a, b| b.0.total_cmp(&a.0));
    }
    for (time, lit) in all {
        for k in 0..OF_LIGHT {
            let mut shot = Shot { f_number: 2.8, ..Shot::new(Before::Nothing, Time::Dial(time)) };
            shot.lamps = Some(Lamps { lit, ..lamps });
            shot.fault.cloud = dimmed;
            shot.pause_s = if k == 0 { dice.uniform(4.0, 20.0) } else { dice.uniform(0.5, 2.0) };
            shots.push(shot);
        }
    }
    if let Some(first) = shots.first_mut() {
        first.pause_s = dice.log_uniform(15.0, 120.0);
    }
    shots
}

/// The exact stop behind a marking of the aperture ring.
fn f_stop(marked: f64) -> f64 {
    ((6.0 * marked.log2()).round() / 6.0).exp2()
}

/// Times of the dial from the longest down, longest first.
fn along(longest: f64) -> Vec<f64> {
    let all = DIAL.iter().chain(&DIAL_END).copied().rev();
    let near = |t: &f64| *t <= 1.01 * longest && *t >= longest * (-STOPS).exp2();
    let mut found: Vec<f64> = all.filter(near).collect();
    found.sort_by(|a, b| b.total_cmp(a));
    found
}

/// A record against the true times: one time by lot for the count of u95, all as answers.
pub fn record(way: Way, dice: &mut Dice, seed: u64) -> Outcome {
    let sky = dice.pick(&[Sky::Steady, Sky::Steady, Sky::Walking, Sky::Linear]);
    let refused = |why: String| Outcome { seed, refused: Some(why), ..Outcome::default() };
    let Known { record, scene } = match known(Sort::Sloppy, sky, way, dice) {
        Ok(known) => known,
        Err(why) => return refused(why.to_string()),
    };
    let Some(reference) = record.reference() else { return refused("no reference".into()) };
    let lasts = |shown: f64| scene.shutter.lasting(shown);
    let error = |shown: f64, open: f64| {
        (open / reference.true_s.get()).log2()
            - (lasts(shown) / lasts(reference.shown_s.get())).log2()
    };
    let others = || record.times.list.iter().filter(|t| t.dial != record.times.reference);
    let errors: Vec<(f64, f64)> =
        others().map(|t| (error(t.shown_s.get(), t.true_s.get()), t.u95_stops.get())).collect();
    let far: Vec<f64> =
        others().map(|t| (t.shown_s.get() / reference.shown_s.get()).log2().abs()).collect();
    let (drawn, u95) = dice.pick(&errors);
    let shown = record.times.as_shown;
    let mut answers: Vec<(&'static str, bool)> = errors
        .iter()
        .map(|(e, u)| ("times within u95, all of each record", e.abs() <= *u))
        .collect();
    for (far, (e, u)) in far.iter().zip(&errors) {
        answers.push((FAR.iter().find(|(to, _)| far <= to).map_or("", |f| f.1), e.abs() <= *u));
    }
    answers.extend(ends(&record, &error));
    answers.extend(errors.iter().map(|(_, u)| ("times known to 0.015 stop", *u <= 0.015)));
    answers
        .push(("rule of the dial right, where settled", !wrong_rule(shown, scene.shutter.powers)));
    let what = format!("{} times, {} left out", errors.len() + 1, record.frames.left_out.len());
    let frames = vec![lightloss::report::camera_page::text(&record)];
    Outcome {
        seed,
        kind: true,
        error: Some(drawn),
        u95,
        what,
        answers,
        frames,
        ..Outcome::default()
    }
}

/// Stops from the reference, up to which.
const FAR: [(f64, &str); 3] = [
    (2.0, "times within u95, up to 2 stops from the reference"),
    (4.5, "times within u95, 2 to 4.5 stops from it"),
    (f64::INFINITY, "times within u95, further from it"),
];

/// Ratios of times as far apart as strong filters need, against the uncertainty that the covariance
/// gives them.
fn ends(record: &BodyRecord, error: &dyn Fn(f64, f64) -> f64) -> Vec<(&'static str, bool)> {
    const APART: f64 = 7.0;
    let times = &record.times;
    let of = |i: usize| error(times.list[i].shown_s.get(), times.list[i].true_s.get());
    let covariance = |i: usize, j: usize| times.covariance[i.max(j)][i.min(j)];
    let mut said = Vec::new();
    for i in 0..times.list.len() {
        for j in 0..i {
            let apart = (times.list[i].shown_s.get() / times.list[j].shown_s.get()).log2();
            if apart >= APART {
                let u = (covariance(i, i) + covariance(j, j) - 2.0 * covariance(i, j)).sqrt();
                let off = of(i) - of(j);
                said.push((
                    "ratios of times 7 stops apart and more within u95",
                    off.abs() <= 1.96 * u,
                ));
                said.push(("the same within half of u95", off.abs() <= 0.98 * u));
            }
        }
    }
    said
}

fn wrong_rule(shown: f64, powers: bool) -> bool {
    if powers { shown >= 0.95 } else { shown <= 0.05 }
}

/// A careless body's record, or the shoot that is refused since there is none.
fn of_a_wall(way: Way, dice: &mut Dice, seed: u64) -> Result<Known, Box<Outcome>> {
    let sky = dice.pick(&[Sky::Steady, Sky::Steady, Sky::Walking, Sky::Linear]);
    known(Sort::Sloppy, sky, way, dice).map_err(|why| {
        Box::new(Outcome { seed, refused: Some(format!("record: {why}")), ..Outcome::default() })
    })
}

/// An ordinary shoot at equal levels of a body with a record.
pub fn ordinary(way: Way, dice: &mut Dice, seed: u64) -> Outcome {
    let known = match of_a_wall(way, dice, seed) {
        Ok(known) => known,
        Err(refused) => return *refused,
    };
    let recipe = Recipe::usual(Sky::Walking, Sort::Sloppy);
    let stops = dice.uniform(0.8, 15.0);
    let shots = loop {
        let shots = solid::shots(&recipe, stops, dice);
        let longest = shots.iter().map(|s| s.time.shown()).fold(0.0, f64::max);
        let shortest = shots.iter().map(|s| s.time.shown()).fold(1.0, f64::min);
        if longest <= DIALLED_S && shortest >= 1.0 / 2050.0 {
            break shots;
        }
        if stops > 13.5 {
            break strong(&recipe, stops, dice);
        }
    };
    let glass = solid::glass(stops, dice);
    let mut scene = solid::scene(&recipe, vec![glass], &shots, dice);
    let mut about = solid::about(&scene, stops, dice);
    known.taken_by(&mut scene, &mut about);
    let truth = vec![scene.strength(0)];
    let made = scene.shoot(&shots);
    let case = Case { made, wish: Wish::default(), about, kind: Kind::Solid, stops: truth };
    let mut outcome = assess(case, seed);
    let told = outcome.profile.as_ref().and_then(|p| p.shutter_record.as_ref());
    let all_known = told.is_some_and(|t| t.times_not_known.is_empty());
    let wider = told.and_then(|t| t.u95_without_stops.first()).map(|u| u.get());
    outcome.answers.push(("all times in the record", all_known));
    outcome
        .answers
        .push(("u95 less than half of that without", wider.is_some_and(|w| outcome.u95 < 0.5 * w)));
    outcome
}

/// A shoot as planned of such a body, which tells its times by itself.
pub fn planned(way: Way, dice: &mut Dice, seed: u64) -> Outcome {
    let known = match of_a_wall(way, dice, seed) {
        Ok(known) => known,
        Err(refused) => return *refused,
    };
    let rated = dice.pick(&[3.0, 6.0, 10.0]);
    let mut ordered = Ordered::drawn(rated, dice);
    known.taken_by(&mut ordered.scene, &mut ordered.about);
    let mut outcome = assess(ordered.case(), seed);
    let contradicted = outcome.notes.iter().chain(&outcome.cautions);
    let believed = !contradicted.into_iter().any(|code| code == "camera_record_contradicted");
    outcome.answers.push(("the record not contradicted", believed));
    outcome
}

/// A strong filter at 30 s, bare as short as that needs.
fn strong(recipe: &Recipe, stops: f64, dice: &mut Dice) -> Vec<Shot> {
    let bare = Time::near(32.0 / (stops - 0.2).exp2());
    let mut shots = solid::shots(recipe, 13.0, dice);
    for shot in &mut shots {
        shot.time = if shot.before == Before::Nothing { bare } else { Time::Dial(DIALLED_S) };
    }
    shots
}
