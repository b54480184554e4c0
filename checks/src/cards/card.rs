//! One card: the frames of its shoot and whatever else lies on it, as summaries.

use super::recipe::{Mess, Shape};
use lightloss::exposure::DialTime;
use lightloss::quantity::Seconds;
use lightloss::shoot::Candidate;
use lightloss::shoot::verdict::Judgement;
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::cells::draw;
use lightloss::simulate::filter::{Filter, Leak};
use lightloss::simulate::motif::Motif;
use lightloss::simulate::scene::{Scene, WarmUp};
use lightloss::simulate::session::{Session, Shot, Taken};
use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::BTreeMap;

const BARE_S: f64 = 1.0 / 60.0;
/// Light that brings a bare frame at that time to 45 % of full scale.
const LEVEL: f64 = 0.45 / BARE_S;

/// A frame on the card, and whether a person would use it.
#[derive(Clone)]
pub struct Entry {
    pub candidate: Candidate,
    pub wanted: bool,
}

pub struct Card {
    pub what: String,
    pub messes: Vec<Mess>,
    pub entries: Vec<Entry>,
    /// Strengths in stops, green, in order of first appearance; empty where it must be refused.
    pub truth: Vec<f64>,
    /// For a card that must be refused: the strengths of each shoot.
    pub shoots: Vec<f64>,
}

fn dial(seconds: f64) -> f64 {
    DialTime::nearest(Seconds::new(seconds)).unwrap().shown().get()
}

fn camera(seed: u64) -> Camera {
    let mut camera = Camera::bayer(1152, 768);
    // The shutter's own offsets are in u95 and would hide what is tried here.
    camera.shutter.offsets = 0.0;
    camera.seed = seed;
    camera
}

pub fn session(seed: u64) -> Session {
    let scene = Scene { walk: 0.003, ..Scene::daylight(LEVEL, [0.55, 1.0, 0.7]) };
    Session::new(camera(417), Lens::of(50.0), scene, seed)
}

fn strength(rng: &mut ChaCha8Rng, low: f64, high: f64) -> f64 {
    (rng.random_range(low..high) * 100.0_f64).round() / 100.0
}

fn even(stops: f64) -> Filter {
    Filter::even([stops + 0.2, stops, stops - 0.15])
}

pub fn through(stops: f64) -> Vec<Shot> {
    let time = dial((BARE_S * stops.exp2()).min(30.0));
    Shot::repeated("", 0, 3, Time::Dial(time), &[even(stops)])
}

pub fn bare() -> Vec<Shot> {
    Shot::repeated("", 0, 3, Time::Dial(BARE_S), &[])
}

/// The shots of a shape, the truth, and the strengths of each shoot where it must be refused.
fn shape(shape: Shape, rng: &mut ChaCha8Rng) -> (Vec<Shot>, Vec<f64>, Vec<f64>) {
    let stops = strength(rng, 2.0, 11.5);
    let other = stops + if stops > 7.0 { -3.0 } else { 3.0 };
    let ring = [2.0, 3.1, 4.05, 5.2, 6.1];
    let mut shots = bare();
    let truth = match shape {
        Shape::Solid | Shape::TwoBodies | Shape::TwoLenses => {
            shots.extend(through(stops));
            vec![stops]
        }
        Shape::Interleaved => {
            shots.extend(through(stops));
            shots.extend(bare());
            shots.extend(through(stops));
            vec![stops]
        }
        Shape::Ring => {
            shots.extend(ring.iter().flat_map(|s| through(*s)));
            shots.extend(ring.iter().rev().skip(1).flat_map(|s| through(*s)));
            ring.to_vec()
        }
        Shape::RingBackwards => {
            shots.extend(ring.iter().rev().flat_map(|s| through(*s)));
            ring.iter().rev().copied().collect()
        }
        Shape::RingSkips => {
            let up: Vec<f64> = ring.iter().copied().filter(|s| *s != 4.05).collect();
            shots.extend(up.iter().flat_map(|s| through(*s)));
            up
        }
        Shape::TwoFilters => {
            shots.extend(through(stops));
            shots.extend(bare());
            shots.extend(through(other));
            Vec::new()
        }
        Shape::TwoSittings => {
            shots.extend(through(stops));
            shots.extend(bare());
            let from = shots.len();
            shots.extend(bare());
            shots.extend(through(other));
            shots[from].pause_s = 3000.0;
            Vec::new()
        }
    };
    shots.extend(bare());
    let refused = match shape {
        Shape::TwoFilters | Shape::TwoSittings => vec![stops, other],
        Shape::TwoBodies | Shape::TwoLenses => vec![stops, stops],
        _ => Vec::new(),
    };
    (shots, truth, refused)
}

/// A card in the making.
struct Making<'a> {
    rng: ChaCha8Rng,
    messes: &'a [Mess],
    session: Session,
    shots: Vec<Shot>,
    /// By file, whether a person would use it.
    wanted: BTreeMap<String, bool>,
    /// Strengths in stops, as planted.
    truth: Vec<f64>,
    /// Shots through the filter, and one of them.
    filtered: Vec<usize>,
    one: usize,
}

pub fn card(shape_of: Shape, messes: &[Mess], seed: u64) -> Card {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (mut shots, truth, shoots) = shape(shape_of, &mut rng);
    let mut wanted = BTreeMap::new();
    for (n, shot) in shots.iter_mut().enumerate() {
        shot.file = format!("w{n}");
        wanted.insert(shot.file.clone(), true);
    }
    let filtered: Vec<usize> = (0..shots.len()).filter(|&i| !shots[i].filters.is_empty()).collect();
    let one = *filtered.choose(&mut rng).unwrap();
    let session = session(seed);
    let mut making = Making { rng, messes, session, shots, wanted, truth, filtered, one };
    // The order is that of the draws: another one makes other cards of the same seeds.
    making.exposures();
    making.hands();
    making.by_hand();
    making.leak_frame();
    making.pictures();
    making.strays();
    making.light_and_clock();
    let taken = making.taken(shape_of);
    let Making { session, wanted, truth, .. } = making;
    let entries = entries(&session, &taken, messes, &wanted);
    let all = |stops: &[f64]| stops.iter().map(|&s| planted(&session, s)).collect();
    Card {
        what: format!("seed {seed} {shape_of:?} {messes:?}"),
        messes: messes.to_vec(),
        entries,
        truth: if shoots.is_empty() { all(&truth) } else { Vec::new() },
        shoots: all(&shoots),
    }
}

impl Making<'_> {
    fn has(&self, mess: Mess) -> bool {
        self.messes.contains(&mess)
    }

    /// Puts a frame that nobody would use in its place.
    fn add(&mut self, at: usize, mut shot: Shot, name: &str) {
        shot.file = format!("{name}{}", self.wanted.len());
        self.wanted.insert(shot.file.clone(), false);
        self.shots.insert(at.min(self.shots.len()), shot);
    }

    /// What the camera did of itself.
    fn exposures(&mut self) {
        if self.has(Mess::AutoIso) {
            for &i in &self.filtered {
                let time = &mut self.shots[i].time;
                *time = Time::Dial(dial((time.set() / 8.0).max(1.0 / 4000.0)));
                self.shots[i].iso = 800.0;
            }
        }
        if self.has(Mess::ApertureOnce) {
            self.shots[self.one].f_number = 11.0;
        }
        if self.has(Mess::WhiteBalance) {
            let Self { rng, shots, .. } = self;
            for shot in shots {
                shot.neutral = Some([rng.random_range(0.4..0.7), 1.0, rng.random_range(0.5..0.9)]);
            }
        }
    }

    /// What hands and weather did.
    fn hands(&mut self) {
        if self.has(Mess::Kicked) {
            let Self { rng, shots, .. } = self;
            for shot in shots.iter_mut().skip(3) {
                shot.moved = (0.01, -0.006);
                shot.lean = (rng.random_range(0.0..0.01), 200.0);
            }
        }
        if self.has(Mess::Compensation) {
            self.shots[1].time = Time::Dial(1.0 / 125.0);
        }
        if self.has(Mess::Cloud) {
            let shot = &mut self.shots[self.one];
            shot.brighter = -0.4;
            self.wanted.insert(shot.file.clone(), false);
        }
    }

    fn by_hand(&mut self) {
        let seconds = match () {
            () if self.has(Mess::HandUnder) => 14.0,
            () if self.has(Mess::HandOver) => 64.0,
            () => return,
        };
        // A fifth of a stop below the bare level: bulb frames must not clip.
        let stops = (seconds / BARE_S).log2() + 0.2;
        for &i in &self.filtered {
            self.shots[i].filters = vec![even(stops)];
            self.shots[i].time = Time::Hand(seconds);
        }
        self.truth = vec![stops];
    }

    fn leak_frame(&mut self) {
        if !self.has(Mess::LeakFrame) {
            return;
        }
        let stops = 10.4;
        let leak = Leak { share: 2e-5, lean: 0.3, angle: 90.0 };
        for &i in &self.filtered {
            self.shots[i].filters = vec![Filter { leak: Some(leak), ..even(stops) }];
            self.shots[i].time = Time::Dial(20.0);
        }
        self.truth = vec![stops];
        let mut card = Shot::of("leak", Time::Dial(20.0), vec![Filter::opaque(Some(leak))]);
        card.pause_s = 20.0;
        self.wanted.insert(card.file.clone(), false);
        self.shots.insert(self.filtered[self.filtered.len() - 1] + 1, card);
    }

    /// Pictures of something else.
    fn pictures(&mut self) {
        let motifs = [Motif::Window, Motif::Cat, Motif::Garden, Motif::Shore(0.2), Motif::Chart];
        if self.has(Mess::Pictures) {
            for _ in 0..self.rng.random_range(1..5) {
                let times = [1.0 / 500.0, 1.0 / 60.0, 1.0 / 125.0];
                let time = *times.choose(&mut self.rng).unwrap();
                let mut shot = Shot::of("", Time::Dial(time), Vec::new());
                shot.motif = *motifs.choose(&mut self.rng).unwrap();
                let at = self.rng.random_range(0..=self.shots.len());
                self.add(at, shot, "picture");
            }
        }
        if self.has(Mess::PicturesFirst) {
            for motif in [Motif::Garden, Motif::Window] {
                let mut shot = Shot::of("", Time::Dial(1.0 / 60.0), Vec::new());
                shot.motif = motif;
                shot.brighter = 0.4;
                self.add(0, shot, "picture");
            }
        }
    }

    /// Frames of the wall that are no part of the shoot.
    fn strays(&mut self) {
        if self.has(Mess::Clipped) {
            self.add(0, Shot::of("", Time::Dial(1.0 / 15.0), Vec::new()), "clipped");
        }
        if self.has(Mess::Buried) {
            let shot = Shot::of("", Time::Dial(1.0 / 4000.0), vec![even(11.0)]);
            let at = self.shots.iter().position(|s| !s.filters.is_empty()).unwrap();
            self.add(at, shot, "buried");
        }
        if self.has(Mess::Darks) {
            let longest = self.shots.iter().map(|s| s.time.set()).fold(0.0, f64::max);
            for _ in 0..2 {
                let time = Time::Dial(dial(longest.min(30.0)));
                let end = self.shots.len();
                self.add(end, Shot::of("", time, vec![Filter::opaque(None)]), "dark");
            }
        }
        if self.has(Mess::OtherDay) {
            for _ in 0..self.rng.random_range(1..6) {
                let mut shot = Shot::of("", Time::Dial(1.0 / 60.0), Vec::new());
                shot.brighter = 0.9;
                self.add(0, shot, "stray");
            }
            let first = self.shots.iter().position(|s| !s.file.starts_with("stray")).unwrap();
            self.shots[first].pause_s = 7200.0;
        }
    }

    fn light_and_clock(&mut self) {
        if self.has(Mess::NoiseReduction) {
            for i in 1..self.shots.len() {
                let before = self.shots[i - 1].time.set();
                self.shots[i].pause_s += if before >= 1.0 { before } else { 0.0 };
            }
        }
        if self.has(Mess::Lamp) {
            self.session.scene.warm_up = Some(WarmUp { stops: 0.06, minutes: 4.0 });
        }
        if self.has(Mess::Drift) {
            self.session.scene.drift = self.rng.random_range(-0.05..0.05);
        }
        if self.has(Mess::NoContacts) {
            self.session.lens = self.session.lens.clone().without_contacts();
        }
        if self.has(Mess::NoTimes) {
            self.session.starts = None;
        } else if self.has(Mess::WrongClock) {
            self.session.starts = Some(jiff::civil::date(2010, 1, 1).at(0, 0, 3, 0));
            self.session.offset = None;
        }
    }

    /// The frames, those of a second camera or lens too.
    fn taken(&self, shape_of: Shape) -> Vec<Taken> {
        let mut taken = self.session.take(&self.shots);
        if matches!(shape_of, Shape::TwoBodies | Shape::TwoLenses) {
            let mut second = self.session.clone();
            second.seed += 1;
            if shape_of == Shape::TwoBodies {
                second.camera.serial = Some("K2-00999".into());
            } else {
                second.lens = Lens::of(24.0);
            }
            let own: Vec<Shot> = self
                .shots
                .iter()
                .filter(|s| self.wanted[&s.file])
                .map(|s| Shot { file: format!("b{}", s.file), ..s.clone() })
                .collect();
            let later = 3 + taken.last().unwrap().begins_s as i64 + 60;
            second.starts =
                second.starts.map(|t| t.saturating_add(jiff::Span::new().seconds(later)));
            taken.extend(second.take(&own));
        }
        for (mess, body) in [(Mess::StrayBody, true), (Mess::StrayLens, false)] {
            if self.has(mess) {
                let mut second = self.session.clone();
                second.seed += 2;
                if body {
                    second.camera.model = "Kelmora One".into();
                } else {
                    second.lens = Lens::of(85.0);
                }
                let shot = Shot::of(&format!("stray{body}"), Time::Dial(1.0 / 60.0), Vec::new());
                taken.extend(second.take(&[shot]));
            }
        }
        taken
    }
}

pub fn planted(session: &Session, stops: f64) -> f64 {
    session.centre_stops(&[even(stops)])[1]
}

/// Names as a camera gives them, in the order of shooting.
fn entries(
    session: &Session,
    taken: &[Taken],
    messes: &[Mess],
    wanted: &BTreeMap<String, bool>,
) -> Vec<Entry> {
    let has = |mess: Mess| messes.contains(&mess);
    let count = taken.len();
    let mut entries: Vec<Entry> = taken
        .iter()
        .enumerate()
        .map(|(n, one)| {
            let number = if has(Mess::Counter) { (9994 + n) % 10_000 } else { 101 + n };
            let number = if has(Mess::Counter) && number < 9994 { number + 1 } else { number };
            let number = if has(Mess::NumbersDisagree) { 101 + count - n } else { number };
            let name = format!("P{number:04}.dng");
            let folder = if n < 4 { "100ABCDE" } else { "101ABCDE" };
            let file = if has(Mess::CameraFolders) { format!("{folder}/{name}") } else { name };
            let mut summary = draw(session, one);
            summary.info.file.clone_from(&file);
            let wanted = wanted.get(one.shot.file.trim_start_matches('b')).copied();
            Entry {
                candidate: Candidate { sha256: file.clone(), file, outcome: Ok(summary) },
                wanted: wanted.unwrap_or(false),
            }
        })
        .collect();
    if has(Mess::Copies) {
        let mut copy = entries[0].clone();
        copy.candidate.file = "copy of it.dng".into();
        copy.wanted = false;
        entries.push(copy);
    }
    if has(Mess::Companions) {
        let of = entries[1].candidate.file.clone();
        let file = of.replace(".dng", ".jpg");
        let outcome = Err(Judgement::Companion { of });
        let candidate = Candidate { sha256: "jpg".into(), file, outcome };
        entries.push(Entry { candidate, wanted: false });
    }
    entries
}
