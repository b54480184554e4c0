//! Simulated shoots of solid filters whose errors are drawn from what the budget claims.

use lightloss::frame::BlackPattern;
use lightloss::frame::cfa::{Cfa, Plane};
use lightloss::measure::{About, measure};
use lightloss::reduce::grid::FrameSummary;
use lightloss::shoot::{Candidate, Label, Wish, sort};
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::cells::draw;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::scene::{Flicker, Scene, WarmUp};
use lightloss::simulate::session::{Session, Shot};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

// The budget's claims (method section of the project's guide; no published source).
/// Drift of the light, stops per minute.
const DRIFT: f64 = 0.01;
/// Random walk of the light, stops per square root of a minute.
const WALK: f64 = 0.003;
/// Degrees of freedom of the shutter offsets' distribution, and its scale in the simulated camera's
/// usual offsets of 0.01 stop.
const SHUTTER_DOF: f64 = 3.0;
const SHUTTER_SCALE: f64 = 1.5;
/// What a sensor lacks or has too much at full scale, in parts: standard deviation.
const BEND: f64 = 0.0029;
/// Degrees of freedom of the belief in the size of the random part.
const DOF: f64 = 5.0;
/// Share of shoots with repeats under mains light, and how deep that swings at most.
const FLICKERING: f64 = 0.2;
const FLICKER: f64 = 0.02;
/// Black level in counts at 14 bit: by the file's tag, by masked pixels.
const BLACK_TAG: f64 = 0.5;
const BLACK_MASKED: f64 = 0.1;
const FULL_SCALE_14_BIT: f64 = 16_383.0;

/// Dial times of the bare frames.
const BARE: [f64; 22] = [
    1.0 / 4000.0,
    1.0 / 2500.0,
    1.0 / 2000.0,
    1.0 / 1250.0,
    1.0 / 1000.0,
    1.0 / 800.0,
    1.0 / 640.0,
    1.0 / 500.0,
    1.0 / 400.0,
    1.0 / 320.0,
    1.0 / 250.0,
    1.0 / 200.0,
    1.0 / 160.0,
    1.0 / 125.0,
    1.0 / 100.0,
    1.0 / 80.0,
    1.0 / 60.0,
    1.0 / 50.0,
    1.0 / 40.0,
    1.0 / 30.0,
    1.0 / 25.0,
    1.0 / 15.0,
];
/// Longest dial time, seconds.
const LONGEST: f64 = 30.0;

/// Kind of shoots.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    Strengths,
    Repeats,
    Closing,
    Brightness,
    WarmingUp,
    WorseShutter,
    Wobbling,
}

/// Part of a class, shown in a row of its own.
pub struct Part {
    pub name: &'static str,
    pub holds: fn(&Plan) -> bool,
}

impl Class {
    pub const MARKED: [Self; 4] = [Self::Strengths, Self::Repeats, Self::Closing, Self::Brightness];
    pub const MIS_SPECIFIED: [Self; 3] = [Self::WarmingUp, Self::WorseShutter, Self::Wobbling];

    pub fn name(self) -> &'static str {
        match self {
            Self::Strengths => "1 to 15 stops",
            Self::Repeats => "few and many repeats",
            Self::Closing => "with and without closing bare",
            Self::Brightness => "dim and bright",
            Self::WarmingUp => "lamp warming up",
            Self::WorseShutter => "shutter three times worse",
            Self::Wobbling => "aperture wobbling by 0.03 stop",
        }
    }

    pub fn parts(self) -> Vec<Part> {
        let part = |name, holds| Part { name, holds };
        match self {
            Self::Strengths => vec![
                part("1 to 5 stops", |p| p.stops < 5.0),
                part("5 to 10 stops", |p| (5.0..10.0).contains(&p.stops)),
                part("10 to 15 stops", |p| p.stops >= 10.0),
            ],
            Self::Repeats => vec![
                part("one frame each", |p| p.repeats == 1),
                part("two or three", |p| (2..=3).contains(&p.repeats)),
                part("five or eight", |p| p.repeats > 3),
            ],
            Self::Closing => {
                vec![part("with closing bare", |p| p.closing), part("without", |p| !p.closing)]
            }
            Self::Brightness => {
                vec![
                    part("dim", |p| p.filtered_level < 0.02),
                    part("bright", |p| p.filtered_level >= 0.02),
                ]
            }
            _ => Vec::new(),
        }
    }
}

/// One shoot, drawn.
#[derive(Clone, Debug)]
pub struct Plan {
    pub stops: f64,
    pub repeats: usize,
    pub closing: bool,
    /// Green level of filtered frames, about, in parts of full scale.
    pub filtered_level: f64,
    /// Dial times.
    pub bare_s: f64,
    pub filtered_s: f64,
    pub session: Session,
    pub filter: Filter,
    /// Error of the stated black level of red, green, blue, counts.
    pub black: [f64; 3],
    /// Seconds between frames, and to put the filter on or off.
    pub pauses: (f64, f64),
}

/// Error and expanded uncertainty of one quantity.
#[derive(Clone, Copy, Debug)]
pub struct Judged {
    pub error: f64,
    pub u95: f64,
}

#[derive(Clone, Debug)]
pub struct Outcome {
    pub plan: Plan,
    /// Strength (stops), gains of red and blue (relative); `None` where there was no number.
    pub results: Option<[Judged; 3]>,
}

fn normal(rng: &mut impl Rng) -> f64 {
    StandardNormal.sample(rng)
}

fn between(rng: &mut impl Rng, low: f64, high: f64) -> f64 {
    rng.random_range(low..high)
}

fn log_between(rng: &mut impl Rng, low: f64, high: f64) -> f64 {
    between(rng, low.ln(), high.ln()).exp()
}

fn dial(seconds: f64) -> f64 {
    lightloss::exposure::DialTime::nearest(lightloss::quantity::Seconds::new(seconds))
        .map_or(seconds, |d| d.shown().get())
}

impl Plan {
    /// Draws a shoot; the same seed, class and number give the same one.
    pub fn drawn(class: Class, seed: u64, number: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed ^ (class as u64) << 56 ^ number << 24);
        let rng = &mut rng;
        let stops = between(rng, 1.0, 15.0);
        let repeats = match class {
            Class::Repeats => [1, 1, 2, 3, 5, 8][rng.random_range(0..6)],
            _ => 3,
        };
        let closing = class != Class::Closing || rng.random_bool(0.5);
        let dim = class == Class::Brightness && rng.random_bool(0.5);
        let bare_level = log_between(rng, 0.2, 0.6);
        let filtered_level =
            if dim { log_between(rng, 0.0015, 0.02) } else { log_between(rng, 0.1, 0.6) };
        // the longest dial time sets how bright a strong filter's frames can be
        let wanted = filtered_level / bare_level * stops.exp2();
        let dials: Vec<f64> =
            BARE.iter().copied().filter(|t| t * wanted <= LONGEST * 8.0).collect();
        let bare_s = dials[rng.random_range(0..dials.len())];
        let filtered_s = dial((bare_s * wanted).clamp(1.0 / 8000.0, LONGEST));
        let (session, masked) = session(class, bare_level / bare_s, repeats, rng);
        let doubt = if masked { BLACK_MASKED } else { BLACK_TAG };
        let doubt = doubt * f64::from(session.camera.white) / FULL_SCALE_14_BIT;
        let colour = [0.15 * normal(rng), 0.0, 0.15 * normal(rng)].map(|c| stops + c);
        Self {
            stops,
            repeats,
            closing,
            filtered_level: filtered_s / bare_s * bare_level / stops.exp2(),
            bare_s,
            filtered_s,
            session,
            filter: if rng.random_bool(0.5) { Filter::glass(colour) } else { Filter::even(colour) },
            black: std::array::from_fn(|_| doubt * normal(rng)),
            pauses: (between(rng, 2.0, 8.0), between(rng, 8.0, 40.0)),
        }
    }

    fn shots(&self) -> Vec<Shot> {
        let n = self.repeats;
        let filter = std::slice::from_ref(&self.filter);
        let mut shots = Shot::repeated("P", 1, n, Time::Dial(self.bare_s), &[]);
        shots.extend(Shot::repeated("P", 1 + n, n, Time::Dial(self.filtered_s), filter));
        if self.closing {
            shots.extend(Shot::repeated("P", 1 + 2 * n, n, Time::Dial(self.bare_s), &[]));
        }
        for (i, shot) in shots.iter_mut().enumerate() {
            shot.pause_s = if i % n == 0 { self.pauses.1 } else { self.pauses.0 };
        }
        shots
    }
}

/// Camera, lens and light; whether the camera has a masked border.
fn session(class: Class, level: f64, repeats: usize, rng: &mut impl Rng) -> (Session, bool) {
    let masked = rng.random_bool(0.5);
    // The middle fifth is whole cells, as it nearly is in frames of full size.
    let mut camera =
        if rng.random_bool(0.8) { Camera::bayer(960, 640) } else { Camera::xtrans(900, 720) };
    if masked {
        camera = camera.with_border(36, 24);
    }
    camera.seed = rng.random();
    // Shutter offsets as heavy-tailed as the budget claims: Student's t is a normal number of a
    // scale that is itself drawn.
    let scale = SHUTTER_DOF / (0..SHUTTER_DOF as usize).map(|_| normal(rng).powi(2)).sum::<f64>();
    camera.shutter.offsets = SHUTTER_SCALE * scale.sqrt();
    camera.bend = BEND * normal(rng);
    // dark current is an error of the black level, which is drawn as a whole
    camera.dark_rate = 0.0;
    let mut lens = Lens::of([24.0, 35.0, 50.0, 85.0][rng.random_range(0..4)]);
    let light = [between(rng, 0.4, 0.8), 1.0, between(rng, 0.4, 0.9)];
    // How far the size of the walk itself is off: a scaled inverse chi-squared number.
    let weight = DOF / (0..DOF as usize).map(|_| normal(rng).powi(2)).sum::<f64>();
    let mut scene = Scene {
        drift: DRIFT * normal(rng),
        walk: WALK * weight.sqrt(),
        ..Scene::daylight(level, light)
    };
    if rng.random_bool(FLICKERING) && repeats > 1 {
        scene.flicker = Some(Flicker { hertz: 100.0, depth: between(rng, 0.0, FLICKER) });
    }
    match class {
        Class::WarmingUp => scene.warm_up = Some(WarmUp { stops: 0.1, minutes: 1.0 }),
        Class::WorseShutter => camera.shutter.offsets *= 3.0,
        Class::Wobbling => lens.aperture_scatter = 0.03,
        _ => {}
    }
    (Session::new(camera, lens, scene, rng.random()), masked)
}

/// A black pattern whose every position is off by its channel's error.
fn off(pattern: &BlackPattern, cfa: &Cfa, errors: [f64; 3]) -> BlackPattern {
    let side = cfa.side();
    let value = |i: usize| {
        let (row, column) = (i / side, i % side);
        let channel = match cfa.plane(row, column) {
            Plane::Red => 0,
            Plane::Blue => 2,
            _ => 1,
        };
        pattern.at(row, column) + errors[channel]
    };
    BlackPattern { rows: side, columns: side, values: (0..side * side).map(value).collect() }
}

/// Shoots, sorts and measures a plan.
pub fn shoot(plan: &Plan) -> Outcome {
    let shots = plan.shots();
    let session = &plan.session;
    let cfa = &session.camera.cfa;
    let candidates: Vec<Candidate> = session
        .take(&shots)
        .iter()
        .map(|taken| {
            let mut summary: FrameSummary = draw(session, taken);
            summary.levels.black = off(&summary.levels.black, cfa, plan.black);
            summary.masked = summary.masked.map(|m| off(&m, cfa, plan.black));
            let file = summary.info.file.clone();
            Candidate { sha256: file.clone(), file, outcome: Ok(summary) }
        })
        .collect();
    // A single frame between two bare ones is named by the photographer.
    let label = |shot: &Shot| {
        if shot.filters.is_empty() { Label::Bare } else { Label::Filtered(None) }
    };
    let labels = if plan.repeats == 1 {
        shots.iter().map(|s| (s.file.clone(), label(s))).collect()
    } else {
        Default::default()
    };
    let profile = sort(candidates, &Wish { labels, ..Wish::default() })
        .map_err(|e| e.to_string())
        .and_then(|s| {
            measure(&s, &About { name: "Planted".into(), ..About::default() })
                .map_err(|e| e.to_string())
        });
    let profile = match profile {
        Ok(profile) => profile,
        Err(why) => {
            println!("no number: {why}: {} stops, {plan:?}", plan.stops);
            return Outcome { plan: plan.clone(), results: None };
        }
    };
    let planted = session.centre_stops(std::slice::from_ref(&plan.filter));
    let setting = &profile.settings[0];
    let gain = |channel: usize, found: f64, u95: f64| {
        let truth = (planted[channel] - planted[1]).exp2();
        Judged { error: found / truth - 1.0, u95: u95 / truth }
    };
    let (gains, u95) = (&setting.cast.gains, &setting.cast.gains_u95);
    let results = [
        Judged {
            error: setting.strength.stops.get() - planted[1],
            u95: setting.strength.u95.get(),
        },
        gain(0, gains.red.get(), u95.red.get()),
        gain(2, gains.blue.get(), u95.blue.get()),
    ];
    Outcome { plan: plan.clone(), results: Some(results) }
}
