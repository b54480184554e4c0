//! The plan of a shoot: times that bring bare and filtered frames to the same raw level, the
//! frames in order, and what spoils them.

mod check;
pub mod checklist;
pub mod light;
pub mod longest;
pub mod one_strength;

use crate::exposure::{GivenTime, Rating};
use crate::profile::{Form, Kind};
use crate::quantity::{Degrees, Millimetres, Seconds, Stops};
use crate::shoot_file::{PlannedShot, ShootFile, ShootFilter, ShotState};
pub use check::{PlanError, no_empty_mark, rating_fits};
use light::{BareLevel, Light, ShotTime};

/// From here light past the filter matters, so a leak frame is asked for.
const LEAK_FROM: f64 = 8.0;
/// Darks are asked for where the filtered time is longer than this, in seconds.
const DARK_FROM_S: f64 = 1.0;
/// Frames of each state, so that their scatter shows.
const REPEATS: u32 = 3;
/// Rotations of a polariser: a full period of Malus' law in four even steps.
const ROTATIONS: [f64; 4] = [0.0, 45.0, 90.0, 135.0];
/// What a polariser takes from unpolarised light, about (common practice, no source).
const POLARISER: Stops = Stops::new(1.5);
/// To handle the camera between frames and between states, in seconds (ours).
const HANDLING_S: (f64, f64) = (3.0, 30.0);

/// What is to be shot.
#[derive(Clone, Debug)]
pub struct Request {
    /// Sort of filter.
    pub kind: Kind,
    /// What it is rated; a polariser is not.
    pub rating: Option<Rating>,
    /// Meter reading of the wall without the filter.
    pub metered: Option<GivenTime>,
    /// Labels of a ring, up the ring.
    pub marks: Vec<String>,
    /// Name of the filter.
    pub name: Option<String>,
    /// In a slot holder.
    pub slot: bool,
    /// Focal lengths to repeat the shoot at.
    pub focal: Vec<Millimetres>,
}

/// The plan.
#[derive(Clone, Debug)]
pub struct Plan {
    /// Name of the filter.
    pub name: String,
    /// What was asked for.
    pub request: Request,
    /// Bare time, and what must be done about the light.
    pub light: Light,
    /// Shots in order.
    pub shots: Vec<Shot>,
    /// What to see to, each with its reason.
    pub checklist: Vec<checklist::Line>,
    /// Strongest setting.
    pub strongest: Stops,
}

/// What the times of the dial are trusted for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DialTrust {
    /// Nothing: all frames get one time.
    OneTime,
    /// Nothing: the frames measure the times against each other.
    Measured,
    /// Filtered against bare frames: keeping the times as shown makes at most so much.
    UpTo(Stops),
}

/// Frames of one state.
#[derive(Clone, Debug, PartialEq)]
pub struct Shot {
    /// What it is of.
    pub state: ShotState,
    /// Mark of a ring.
    pub mark: Option<String>,
    /// Rotation of the whole filter.
    pub rotation: Option<Degrees>,
    /// Focal length.
    pub focal: Option<Millimetres>,
    /// Time.
    pub time: ShotTime,
    /// How many frames.
    pub count: u32,
    /// Why.
    pub reason: String,
}

/// One state of the filter with the strength it is expected to have.
struct Setting {
    mark: Option<String>,
    stops: Stops,
}

impl Plan {
    /// Plans a shoot.
    ///
    /// # Errors
    /// [`PlanError`], each saying what to type instead.
    pub fn of(request: Request) -> Result<Self, PlanError> {
        check::check(&request)?;
        let settings = settings(&request);
        let strongest = settings.iter().map(|s| s.stops.get()).fold(0.0, f64::max);
        let to_expose = if at_the_bare_time(request.kind, strongest) { 0.0 } else { strongest };
        let light =
            Light::of(request.metered, Stops::new(to_expose), bare_level(request.kind, strongest))?;
        let shots = shots(&request, &light, &settings);
        let name = request.name.clone().unwrap_or_else(|| default_name(&request));
        let checklist = checklist::lines(&request, &shots, light.level);
        let strongest = Stops::new(strongest);
        Ok(Self { name, request, light, shots, checklist, strongest })
    }

    /// About how long it takes.
    #[must_use]
    pub fn duration(&self) -> Seconds {
        let (frame, state) = HANDLING_S;
        let shot = |s: &Shot| state + f64::from(s.count) * (s.time.true_time.get() + frame);
        Seconds::new(self.shots.iter().map(shot).sum())
    }

    /// What the times of the dial are trusted for.
    #[must_use]
    pub fn dial_trust(&self) -> DialTrust {
        if self.shots.iter().all(|shot| shot.time.text == self.light.bare.text) {
            return DialTrust::OneTime;
        }
        if matches!(self.request.kind, Kind::Solid | Kind::Stack) {
            return DialTrust::Measured;
        }
        let filtered = self.shots.iter().filter(|shot| shot.state == ShotState::Filtered);
        let doubts = filtered.map(|shot| self.light.dial_doubt(&shot.time).get());
        DialTrust::UpTo(Stops::new(doubts.fold(0.0, f64::max)))
    }

    /// How many frames.
    #[must_use]
    pub fn frames(&self) -> u32 {
        self.shots.iter().map(|shot| shot.count).sum()
    }

    /// The document that `measure` reads.
    #[must_use]
    pub fn shoot_file(&self) -> ShootFile {
        let strengths = |rating: &Rating| {
            rating.range().map_or_else(|| vec![rating.weakest], |range| range.to_vec())
        };
        let rated = self.request.rating.as_ref().map(strengths).unwrap_or_default();
        let planned = self.shots.iter().zip(1..).map(|(shot, order)| PlannedShot {
            order,
            state: shot.state,
            mark: shot.mark.clone(),
            rotation: shot.rotation,
            focal: shot.focal,
            dial_time: shot.time.text.clone(),
            count: shot.count,
            more: Default::default(),
        });
        ShootFile {
            filter: ShootFilter {
                // Without one the folder's name is the filter's: two plans are not of one filter.
                name: self.request.name.clone(),
                kind: Some(self.request.kind),
                rated,
                size: None,
                form: self.request.slot.then_some(Form::Slot),
                note: None,
                more: Default::default(),
            },
            planned: planned.collect(),
            ..ShootFile::empty()
        }
    }
}

fn default_name(request: &Request) -> String {
    match request.kind {
        Kind::Solid => "Solid filter",
        Kind::Variable => "Variable filter",
        Kind::Graduated => "Graduated filter",
        Kind::Polariser => "Polariser",
        Kind::Stack => "Stack",
    }
    .to_owned()
}

fn settings(request: &Request) -> Vec<Setting> {
    let Some([low, high]) = request.rating.as_ref().and_then(Rating::range) else {
        let stops = request.rating.as_ref().map_or(POLARISER, |rating| rating.weakest);
        return vec![Setting { mark: None, stops }];
    };
    if request.marks.is_empty() {
        return whole_stops(low.get(), high.get());
    }
    let last = request.marks.len().saturating_sub(1).max(1) as f64;
    let even = |i: usize| low.get() + (high.get() - low.get()) * i as f64 / last;
    // Labels that can all be stops of this range are taken at their word; others spread evenly.
    let figures: Option<Vec<f64>> =
        request.marks.iter().map(|m| m.trim().parse::<f64>().ok()).collect();
    let stops = figures
        .filter(|f| f.iter().all(|s| (low.get()..=high.get()).contains(s)))
        .filter(|f| f.windows(2).all(|w| w[0] < w[1]))
        .unwrap_or_else(|| (0..request.marks.len()).map(even).collect());
    let marks = request.marks.iter().zip(stops);
    marks.map(|(mark, s)| Setting { mark: Some(mark.clone()), stops: Stops::new(s) }).collect()
}

fn whole_stops(low: f64, high: f64) -> Vec<Setting> {
    let mut strengths = vec![low];
    let mut next = low.floor() + 1.0;
    while next < high {
        strengths.push(next);
        next += 1.0;
    }
    strengths.push(high);
    let label = |s: f64| crate::rounding::fixed(s, usize::from(s.fract() != 0.0));
    let one = |s: f64| Setting { mark: Some(label(s)), stops: Stops::new(s) };
    strengths.into_iter().map(one).collect()
}

fn shots(request: &Request, light: &Light, settings: &[Setting]) -> Vec<Shot> {
    if request.focal.is_empty() {
        return block(request, light, settings, None);
    }
    let blocks = request.focal.iter().map(|focal| block(request, light, settings, Some(*focal)));
    blocks.flatten().collect()
}

/// Whether all frames get the bare time: a graduated filter leaves its clear end as bright as no
/// filter at all, and of weak filters the frames then need not trust the shutter.
fn at_the_bare_time(kind: Kind, strongest: f64) -> bool {
    match kind {
        Kind::Graduated | Kind::Polariser => true,
        Kind::Solid | Kind::Stack => one_strength::shares_a_time(Stops::new(strongest)),
        Kind::Variable => false,
    }
}

/// How bright bare frames are to be.
fn bare_level(kind: Kind, strongest: f64) -> BareLevel {
    match kind {
        Kind::Solid | Kind::Stack => one_strength::bare_level(Stops::new(strongest)),
        Kind::Graduated | Kind::Polariser | Kind::Variable => BareLevel::Half,
    }
}

/// Bare, filtered, bare, ..., leak, bare, dark, at one focal length.
fn block(
    request: &Request,
    light: &Light,
    settings: &[Setting],
    focal: Option<Millimetres>,
) -> Vec<Shot> {
    let shot = |state, time: &ShotTime, count, reason: &str| Shot {
        state,
        mark: None,
        rotation: None,
        focal,
        time: time.clone(),
        count,
        reason: reason.to_owned(),
    };
    let strongest = Stops::new(settings.iter().map(|s| s.stops.get()).fold(0.0, f64::max));
    let longest = match at_the_bare_time(request.kind, strongest.get()) {
        true => light.bare.clone(),
        false => light.through(strongest),
    };
    let leak = (strongest.get() >= LEAK_FROM || request.slot).then(|| {
        shot(
            ShotState::Leak,
            &longest,
            1,
            "an opaque card in the filter's place shows what slips past it",
        )
    });
    if matches!(request.kind, Kind::Solid | Kind::Stack) {
        return one_strength::shots(light, strongest, leak.into_iter().collect(), &shot);
    }
    let bare = |reason| shot(ShotState::Bare, &light.bare, REPEATS, reason);
    let mut list = vec![bare("the light before; three, so that its scatter shows")];
    list.extend(through(request, light, settings, &shot));
    list.extend(leak);
    list.push(bare("the light after: what it did in between is taken out"));
    if longest.true_time.get() > DARK_FROM_S {
        list.push(shot(
            ShotState::Dark,
            &longest,
            REPEATS,
            "lens capped, same time: a long exposure raises the black level",
        ));
    }
    list
}

/// The shots through a filter of several states.
fn through(
    request: &Request,
    light: &Light,
    settings: &[Setting],
    shot: &dyn Fn(ShotState, &ShotTime, u32, &str) -> Shot,
) -> Vec<Shot> {
    let at = |setting: &Setting, reason: &str| Shot {
        mark: setting.mark.clone(),
        ..shot(ShotState::Filtered, &light.through(setting.stops), REPEATS, reason)
    };
    match request.kind {
        Kind::Solid | Kind::Stack => Vec::new(),
        Kind::Graduated => vec![shot(
            ShotState::Filtered,
            &light.bare,
            REPEATS,
            "the bare time again: the clear end must not clip",
        )],
        Kind::Polariser => {
            let stops = settings.first().map_or(POLARISER, |s| s.stops);
            let turned = |angle: &f64| Shot {
                rotation: Some(Degrees::new(*angle)),
                ..shot(
                    ShotState::Filtered,
                    &light.bare.behind(stops),
                    REPEATS,
                    "four rotations: an even wall gives the same level at each",
                )
            };
            let mut list: Vec<Shot> = ROTATIONS.iter().map(turned).collect();
            list.insert(
                ROTATIONS.len() / 2,
                shot(ShotState::Bare, &light.bare, REPEATS, "the light between"),
            );
            list
        }
        Kind::Variable => ring(settings, light, &at, shot),
    }
}

fn ring(
    settings: &[Setting],
    light: &Light,
    at: &dyn Fn(&Setting, &str) -> Shot,
    shot: &dyn Fn(ShotState, &ShotTime, u32, &str) -> Shot,
) -> Vec<Shot> {
    let up = "up the ring, arriving from the weaker side";
    let down = "back down, arriving from the stronger side: shows how well the ring repeats";
    let mut list: Vec<Shot> = settings.iter().map(|s| at(s, up)).collect();
    list.push(shot(ShotState::Bare, &light.bare, REPEATS, "the light between"));
    list.extend(settings.iter().rev().map(|s| at(s, down)));
    if let Some(weakest) = settings.first() {
        list.push(Shot {
            mark: weakest.mark.clone(),
            rotation: Some(Degrees::new(90.0)),
            ..shot(
                ShotState::LightCheck,
                &light.through(weakest.stops),
                1,
                "the whole filter a quarter turn in its thread: polarised light changes the level",
            )
        });
    }
    list
}
