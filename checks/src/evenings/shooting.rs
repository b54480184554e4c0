//! An evening's photographs: which filters go on at which scene, what is metered, what goes wrong.

use super::kit::{Glass, saddle};
use super::place::Place;
use super::sky::Sky;
use super::{Help, World};
use lightloss::editing::scene::SceneMap;
use lightloss::editing::which::Picture;
use lightloss::frame::{Camera, Capture, Exposure, FrameInfo, Origin};
use lightloss::quantity::{FNumber, Iso, Millimetres, Seconds};
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal, StandardNormal, StudentT};
use std::f64::consts::TAU;

const SIDE: usize = 44;
/// Full scale above black in counts, and the usual level of a middle tone below it in stops.
const FULL_SCALE: f64 = 15_000.0;
const MIDDLE_BELOW: f64 = 3.0;
/// Electrons per count: noise of a cell of some hundred pixels.
const ELECTRONS: f64 = 2.0;
const PIXELS: f64 = 1000.0;

/// A harsh evening: how light and exposure wander from frame to frame beyond what the camera records,
/// in stops, by Student's distribution of three degrees of freedom; how its colour does.
const HARSH_STOPS: f64 = 0.05;
const HARSH_COLOUR: f64 = 0.006;
/// How often a camera that meters by itself is off by one to three stops there, something dark walks
/// into the frame, the tripod is knocked, the time is missing; how often no time is there at all.
const HARSH_METERING: f64 = 0.12;
const HARSH_PASSERS: f64 = 0.06;
const HARSH_KNOCKS: f64 = 0.06;
const HARSH_TIMELESS: f64 = 0.04;
const HARSH_TIMELESS_EVENING: f64 = 0.05;

/// One photograph and its truth.
pub struct Shot {
    pub picture: Picture,
    /// Names with marks, ascending by place in the kit; `None` for a filter that is not in it.
    pub truth: Option<Vec<(usize, Option<String>)>>,
    pub scene: usize,
    /// What was in front of the lens, in words.
    pub planted: String,
}

/// Goes through an evening.
pub fn shoot(bag: &[Glass], world: World, help: Help, r: &mut ChaCha8Rng) -> Vec<Shot> {
    let sky = Sky::new(world, r);
    let metering =
        if help == Help::BareNamed { 1.0 } else { [0.0, 0.5, 0.9][r.random_range(0..3)] };
    let words = [0.0, 0.0, 0.35][r.random_range(0..3)];
    let mut book = Book { shots: Vec::new(), seconds: 0.0, sky, words, bag, harsh: world.harsh };
    for scene in 0..r.random_range(3..7) {
        book.seconds += r.random_range(150.0..900.0);
        book.scene(scene, metering, r);
    }
    let mut shots = book.shots;
    if world.harsh {
        disorder(&mut shots, r);
    }
    shots
}

/// Files as a folder may list them, and times that a camera or a converter has lost.
fn disorder(shots: &mut [Shot], r: &mut ChaCha8Rng) {
    let none = r.random_bool(HARSH_TIMELESS_EVENING);
    for shot in shots.iter_mut() {
        if none || r.random_bool(HARSH_TIMELESS) {
            shot.picture.info.capture.at = None;
        }
    }
    for last in (1..shots.len()).rev() {
        shots.swap(last, r.random_range(0..=last));
    }
}

/// Filters and marks in front of the lens.
fn chosen(bag: &[Glass], graduated: Option<usize>, r: &mut ChaCha8Rng) -> Vec<(usize, usize)> {
    let usable: Vec<usize> = (0..bag.len()).filter(|&i| bag[i].kind != "graduated").collect();
    let one = usable[r.random_range(0..usable.len())];
    let mut on = vec![(one, r.random_range(0..bag[one].marks.len()))];
    if let Some(graduated) = graduated.filter(|_| r.random_bool(0.5)) {
        on.push((graduated, 0));
    } else if r.random_bool(0.12) {
        let second = usable[r.random_range(0..usable.len())];
        let rings = bag[one].kind == "variable" && bag[second].kind == "variable";
        if second != one && !rings {
            on.push((second, r.random_range(0..bag[second].marks.len())));
        }
    } else if r.random_bool(0.12) {
        on.clear();
    }
    on.sort_unstable();
    on
}

struct View<'a> {
    place: &'a Place,
    clouds: &'a [(f64, f64, f64, f64)],
    scene: usize,
}

/// How one photograph is made.
#[derive(Clone, Copy)]
struct Made {
    time: f64,
    aperture: f64,
    iso: f64,
    /// What the light and the camera do beyond what is recorded, in stops: level, red, blue.
    beyond: [f64; 3],
    /// Where the camera points, in widths and heights of the frame.
    turn: (f64, f64),
    /// Something dark in the frame: its middle and its radius.
    passer: Option<(f64, f64, f64)>,
}

struct Book<'a> {
    shots: Vec<Shot>,
    seconds: f64,
    sky: Sky,
    words: f64,
    bag: &'a [Glass],
    harsh: bool,
}

impl Book<'_> {
    fn scene(&mut self, scene: usize, metering: f64, r: &mut ChaCha8Rng) {
        let bag = self.bag;
        let place = Place::new(r);
        let cloud = |_| {
            let (across, down) = (r.random_range(2.0..12.0), r.random_range(2.0..12.0));
            (across, down, r.random_range(0.0..TAU), r.random_range(0.03..0.15))
        };
        let clouds: Vec<(f64, f64, f64, f64)> = (0..6).map(cloud).collect();
        let view = View { place: &place, clouds: &clouds, scene };
        let bare_at = if r.random_bool(metering) { r.random_range(0..3) } else { usize::MAX };
        let graduated =
            bag.iter().position(|g| g.kind == "graduated").filter(|_| r.random_bool(0.4));
        let sets = r.random_range(1..4);
        if bare_at == 0 || (bare_at < 3 && bare_at >= sets) {
            self.take(&view, &[], 0.0, 0.0, r);
        }
        for set in 0..sets {
            if set > 0 && set == bare_at {
                self.seconds += r.random_range(12.0..60.0);
                self.take(&view, &[], 0.0, 0.0, r);
            }
            self.seconds += r.random_range(20.0..90.0);
            let on = chosen(bag, graduated, r);
            self.set(&view, &on, r);
        }
    }

    /// Photographs through the same: a bracket, a panorama, or some more of the same.
    fn set(&mut self, view: &View<'_>, on: &[(usize, usize)], r: &mut ChaCha8Rng) {
        match r.random_range(0..10) {
            0..=1 => {
                for ev in [0.0, -2.0, 2.0] {
                    self.seconds += r.random_range(0.5..2.0);
                    self.take(view, on, ev, 0.0, r);
                }
            }
            2 => {
                for turn in 0..r.random_range(3..6) {
                    self.seconds += r.random_range(1.0..3.5);
                    self.take(view, on, 0.0, 0.35 * f64::from(turn), r);
                }
            }
            _ => {
                for again in 0..r.random_range(1..4) {
                    if again > 0 {
                        self.seconds += r.random_range(2.0..40.0);
                    }
                    let off = if r.random_bool(0.06) { -3.0 } else { 0.0 };
                    self.take(view, on, off, 0.0, r);
                }
            }
        }
    }

    fn take(
        &mut self,
        view: &View<'_>,
        on: &[(usize, usize)],
        off: f64,
        turn: f64,
        r: &mut ChaCha8Rng,
    ) {
        let made = self.made(view, on, off, turn, r);
        let scene = self.scene_map(view, on, made, r);
        let mut subject = Vec::new();
        if r.random_bool(self.words) {
            match on.iter().find(|(i, _)| self.bag[*i].known) {
                Some((i, _)) => subject.push(self.bag[*i].name.to_owned()),
                None if on.is_empty() => subject.push("bare".to_owned()),
                None => {}
            }
        }
        let foreign = on.iter().any(|(i, _)| !self.bag[*i].known);
        let truth = (!foreign)
            .then(|| on.iter().map(|&(i, m)| (i, self.bag[i].marks[m].0.clone())).collect());
        let info = self.info(made, subject);
        self.shots.push(Shot {
            picture: Picture { info, scene: Some(scene) },
            truth,
            scene: view.scene,
            planted: self.words(on),
        });
        self.seconds += made.time + 0.3;
    }

    /// Metered well, to a third or so of a stop; the photographer allows for the filters.
    fn made(
        &self,
        view: &View<'_>,
        on: &[(usize, usize)],
        off: f64,
        turn: f64,
        r: &mut ChaCha8Rng,
    ) -> Made {
        let nominal = |&(g, m): &(usize, usize)| {
            let loss = self.bag[g].marks[m].1;
            if self.bag[g].kind == "graduated" { 0.4 * loss } else { loss }
        };
        let (light, _) = self.sky.at(self.seconds / 60.0);
        let nominal: f64 = on.iter().map(nominal).sum();
        let mut ev =
            light + view.place.offset - nominal + Normal::new(0.0, 0.3).unwrap().sample(r) - off;
        let iso = [100.0, 100.0, 200.0, 400.0][r.random_range(0..4)];
        let aperture: f64 = [8.0, 8.0, 11.0, 5.6][r.random_range(0..4)];
        let mut made =
            Made { time: 0.0, aperture, iso, beyond: [0.0; 3], turn: (turn, 0.0), passer: None };
        if self.harsh {
            if r.random_bool(HARSH_METERING) {
                ev += [-3.0, -2.0, -1.0, 1.0, 2.0][r.random_range(0..5)];
            }
            let tail = StudentT::new(3.0).unwrap();
            made.beyond = [HARSH_STOPS, HARSH_COLOUR, HARSH_COLOUR].map(|s| s * tail.sample(r));
            if r.random_bool(HARSH_KNOCKS) {
                made.turn.0 += r.random_range(-0.12..0.12);
                made.turn.1 += r.random_range(-0.12..0.12);
            }
            if r.random_bool(HARSH_PASSERS) {
                made.passer = Some((r.random(), r.random(), r.random_range(0.1..0.35)));
            }
        }
        let wished: f64 = aperture * aperture * 100.0 / iso / ev.exp2();
        made.time = ((wished.log2() * 3.0).round() / 3.0).exp2().clamp(1.0 / 4000.0, 480.0);
        made
    }

    fn words(&self, on: &[(usize, usize)]) -> String {
        let one = |&(g, m): &(usize, usize)| {
            let (glass, mark) = (&self.bag[g], &self.bag[g].marks[m]);
            let label = mark.0.as_deref().unwrap_or("");
            format!("{} {label} {:.2} {:+.2?}", glass.name, mark.1, mark.2)
        };
        on.iter().map(one).collect::<Vec<_>>().join(" + ")
    }

    fn scene_map(
        &self,
        view: &View<'_>,
        on: &[(usize, usize)],
        made: Made,
        r: &mut ChaCha8Rng,
    ) -> SceneMap {
        let glasses = Glasses {
            on: on.iter().map(|&(g, m)| (&self.bag[g], m)).collect(),
            line: r.random_range(0.3..0.6),
            polarised: r.random_range(-0.3..0.4),
            hand: on.iter().map(|_| Normal::new(0.0, 0.07).unwrap().sample(r)).collect(),
        };
        let (light, hue) = self.sky.at((self.seconds + made.time / 2.0) / 60.0);
        let ev = (made.aperture * made.aperture / made.time * 100.0 / made.iso).log2();
        let noise = |r: &mut ChaCha8Rng| -> f64 { StandardNormal.sample(r) };
        let black = 0.4 * noise(r);
        let tint = |pair: [f64; 2], channel: usize| [pair[0], 0.0, pair[1]][channel];
        let cell = |i: usize| {
            let (u, v) = ((i % SIDE) as f64 / SIDE as f64, (i / SIDE) as f64 / SIDE as f64);
            let at = (u + made.turn.0, v + made.turn.1);
            let (mut stops, is_sky) = view.place.at(at.0, at.1, self.seconds / 60.0, view.clouds);
            if made.passer.is_some_and(|(x, y, size)| (u - x).hypot(v - y) < size) {
                stops = -1.5;
            }
            let (mut level, mut green) = ([0.0; 3], 0.0);
            for (channel, level) in level.iter_mut().enumerate() {
                let here = light + view.place.offset + stops - ev
                    + made.beyond[0]
                    + tint([made.beyond[1], made.beyond[2]], channel)
                    + tint(hue, channel)
                    + tint(view.place.colour, channel)
                    + [-0.6, 0.0, -0.4][channel]
                    - glasses.loss(channel, (u, v), is_sky);
                let counts = FULL_SCALE * (here - MIDDLE_BELOW).exp2();
                let sd = (counts / ELECTRONS / PIXELS + 4.0 / PIXELS).sqrt();
                let seen = counts + black + sd * noise(r);
                let told = counts <= 0.9 * FULL_SCALE && seen >= 8.0;
                *level = if told { seen.log2() as f32 } else { f32::NAN };
                if channel == 1 {
                    green = seen;
                }
            }
            (level, green)
        };
        let seen: Vec<([f32; 3], f64)> = (0..SIDE * SIDE).map(cell).collect();
        let cells: Vec<[f32; 3]> = seen.iter().map(|s| s.0).collect();
        let share = |count: usize| count as f64 / (SIDE * SIDE) as f64;
        let green = seen.iter().map(|s| s.1.clamp(1.0, FULL_SCALE).log2());
        SceneMap {
            columns: SIDE,
            rows: SIDE,
            full_scale: FULL_SCALE.log2(),
            level: green.sum::<f64>() / seen.len() as f64,
            hidden: share(cells.iter().filter(|c| !c[1].is_finite()).count()),
            cells,
        }
    }

    fn info(&self, made: Made, subject: Vec<String>) -> FrameInfo {
        let start = jiff::civil::date(2031, 5, 4).at(16, 0, 0, 0);
        let since = jiff::Span::new().milliseconds((self.seconds * 1000.0) as i64);
        FrameInfo {
            file: format!("EVE_{:04}.dng", self.shots.len()),
            sha256: String::new(),
            origin: Origin::Raw,
            camera: Camera {
                make: Some("Testmaker".into()),
                model: Some("One".into()),
                serial: Some("1".into()),
                lens: Some("24".into()),
                focal_length: Some(Millimetres::new(24.0)),
                focal_length_35mm: None,
                focal_plane: None,
            },
            exposure: Exposure {
                time: Some(Seconds::new(made.time)),
                from_apex: false,
                apex_time: None,
                bulb: false,
                f_number: Some(FNumber::new(made.aperture)),
                iso: Some(Iso::new(made.iso)),
            },
            capture: Capture { at: start.checked_add(since).ok(), offset: None },
            orientation: 1,
            as_shot_neutral: None,
            matrices: Vec::new(),
            noise_reduction: None,
            subject,
        }
    }
}

/// What is in front of the lens of one photograph.
struct Glasses<'a> {
    on: Vec<(&'a Glass, usize)>,
    /// Where the line of a graduated filter lies.
    line: f64,
    /// How the light of this direction is polarised against the polariser.
    polarised: f64,
    /// How far the hand was off in setting each, in stops.
    hand: Vec<f64>,
}

impl Glasses<'_> {
    fn loss(&self, channel: usize, (u, v): (f64, f64), is_sky: bool) -> f64 {
        let one = |(&(glass, m), hand): (&(&Glass, usize), &f64)| {
            let mark = &glass.marks[m];
            let loss = match glass.kind {
                "graduated" => mark.1 * (0.5 - (v - self.line) / 0.2).clamp(0.0, 1.0),
                "polariser" => {
                    mark.1 + if is_sky { self.polarised + 0.3 } else { self.polarised * 0.5 }
                }
                "variable" => mark.1 + hand + saddle(u - 0.49, v - 0.49, glass.saddle * mark.1),
                _ => mark.1 + 0.15 * hand,
            };
            let share = if glass.kind == "graduated" { loss / mark.1 } else { 1.0 };
            loss + share * [mark.2[0], 0.0, mark.2[1]][channel]
        };
        self.on.iter().zip(&self.hand).map(one).sum()
    }
}
