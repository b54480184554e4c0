//! Shoots of every shape, from cameras and walls of many sorts.

use lightloss::exposure::DialTime;
use lightloss::frame::BlackPattern;
use lightloss::quantity::Seconds;
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::files::write_all;
use lightloss::simulate::filter::{Filter, Graduation};
use lightloss::simulate::optics::Transition;
use lightloss::simulate::scene::{Scene, Texture};
use lightloss::simulate::session::{Session, Shot, Taken};
use lightloss::write::dng::Compression;
use rand::Rng;
use rand::seq::IndexedRandom;
use rand_chacha::ChaCha8Rng;
use std::path::Path;

/// A shoot before anything is damaged.
pub struct Shoot {
    pub what: String,
    pub session: Session,
    pub taken: Vec<Taken>,
    pub compression: Compression,
    /// Words for `measure`.
    pub words: Vec<String>,
    /// Strength of each state in stops (for a graduation that of its dark end), and its frames.
    pub truth: Vec<(f64, Vec<String>)>,
    pub graduated: bool,
}

const SIZES: [(usize, usize); 4] = [(768, 512), (1152, 768), (1536, 1024), (1032, 1548)];
/// The longest time that is shot here.
const LONGEST_S: f64 = 30.0;

fn camera(random: &mut ChaCha8Rng) -> (Camera, &'static str) {
    let &(width, height) = SIZES.choose(random).unwrap();
    let six = random.random_ratio(1, 5);
    let mut camera = if six { Camera::xtrans(width, height) } else { Camera::bayer(width, height) };
    let zero = random.random_ratio(1, 4);
    if zero {
        camera.black = BlackPattern::uniform(0.0);
    } else if random.random_ratio(1, 3) {
        camera = camera.with_border(24, 16);
    }
    // The shutter's own offsets are in u95 and would hide what is tried here.
    camera.shutter.offsets = 0.0;
    camera.seed = random.random();
    camera.hot_share = *[0.0, 2e-4, 5e-4].choose(random).unwrap();
    let what = match (six, zero) {
        (true, true) => "6 x 6, black 0",
        (true, false) => "6 x 6",
        (false, true) => "Bayer, black 0",
        (false, false) => "Bayer",
    };
    (camera, what)
}

fn scene(random: &mut ChaCha8Rng, bare_s: f64) -> Scene {
    let share = random.random_range(0.1..0.4);
    let grain =
        Texture { depth: random.random_range(0.0..0.04), grains: random.random_range(10.0..200.0) };
    Scene {
        walk: random.random_range(0.0..0.01),
        lean: (random.random_range(-0.5..0.5), random.random_range(0.0..360.0)),
        texture: random.random_bool(0.5).then_some(grain),
        ..Scene::daylight(share / bare_s, [random.random_range(0.4..0.8), 1.0, 0.65])
    }
}

fn dial(seconds: f64) -> Time {
    Time::Dial(DialTime::nearest(Seconds::new(seconds)).unwrap().shown().get())
}

fn even(random: &mut ChaCha8Rng, stops: f64) -> Filter {
    let mut cast = || random.random_range(-0.2..0.2);
    let of = [stops + cast(), stops, stops + cast()];
    if random.random_bool(0.5) { Filter::even(of) } else { Filter::glass(of) }
}

/// A ring of two polarisers at so many marks, weakest first, 2 to 6.5 stops.
fn ring(random: &mut ChaCha8Rng, marks: usize) -> Vec<Filter> {
    let turn = random.random_range(0.0..180.0);
    (0..marks)
        .map(|mark| {
            let stops = 2.0 + 4.5 * mark as f64 / (marks - 1).max(1) as f64;
            // cos^2 of the angle between the axes is what the pair lets pass beyond its base.
            let angle = (-(stops - 1.5) / 2.0).exp2().acos().to_degrees();
            Filter::pair([1.6, 1.5, 1.45], angle, turn + angle / 2.0, [2e-4; 3])
        })
        .collect()
}

fn graduated(random: &mut ChaCha8Rng) -> Filter {
    let line = Graduation {
        stops: random.random_range(1.5..4.0),
        transition: Transition::Logistic,
        width_percent: random.random_range(6.0..40.0),
        centre_percent: random.random_range(40.0..60.0),
        angle: random.random_range(-4.0..4.0),
    };
    Filter { graduation: Some(line), ..Filter::even([0.05; 3]) }
}

pub fn drawn(random: &mut ChaCha8Rng) -> Shoot {
    let (camera, of_camera) = camera(random);
    let bare_s = *[1.0 / 500.0, 1.0 / 125.0, 1.0 / 60.0].choose(random).unwrap();
    let scene = scene(random, bare_s);
    let focal = *[24.0, 35.0, 50.0, 85.0].choose(random).unwrap();
    let session = Session::new(camera, Lens::of(focal), scene, random.random());
    let compression = *[Compression::None, Compression::LosslessJpeg].choose(random).unwrap();
    let mut each = random.random_range(2..4);
    let (shape, filters, kind) = match random.random_range(0..10) {
        0..6 => {
            let stops = random.random_range(1.5..10.5);
            ("solid", vec![even(random, stops)], None)
        }
        6..8 => {
            let marks = random.random_range(3..6);
            ("ring", ring(random, marks), Some("variable"))
        }
        8 => {
            each = 1;
            ("ring, one frame a mark", ring(random, 5), Some("variable"))
        }
        _ => ("graduated", vec![graduated(random)], Some("graduated")),
    };
    let bare = |n: usize| Shot::repeated("B", 0, n, dial(bare_s), &[]);
    let mut shots = bare(random.random_range(2..4));
    let rounds = if filters.len() == 1 && random.random_bool(0.5) { 2 } else { 1 };
    for _ in 0..rounds {
        for filter in &filters {
            let stops = session.centre_stops(std::slice::from_ref(filter))[1];
            let time = dial((bare_s * stops.exp2()).min(LONGEST_S));
            shots.extend(Shot::repeated("F", 0, each, time, std::slice::from_ref(filter)));
        }
        shots.extend(bare(random.random_range(2..4)));
    }
    for (n, shot) in shots.iter_mut().enumerate() {
        shot.file = format!("HAR_{:04}.dng", n + 1);
    }
    let is_graduated = shape == "graduated";
    let truth = filters.iter().map(|filter| {
        let own = std::slice::from_ref(filter);
        let stops = match filter.graduation {
            Some(line) => line.stops,
            None => session.centre_stops(own)[1],
        };
        let frames = shots.iter().filter(|s| s.filters == own).map(|s| s.file.clone());
        (stops, frames.collect())
    });
    let truth = truth.collect();
    let mut words: Vec<String> = ["measure", "card", "--format", "json"].map(Into::into).into();
    if let Some(kind) = kind.filter(|_| is_graduated || random.random_bool(0.5)) {
        words.extend(["--kind".into(), kind.into()]);
    }
    let how = if compression == Compression::None { "plain" } else { "lossless JPEG" };
    let what = format!("{shape}, {of_camera}, {how}, {} frames", shots.len());
    let taken = session.take(&shots);
    Shoot { what, session, taken, compression, words, truth, graduated: is_graduated }
}

impl Shoot {
    pub fn stops(&self) -> Vec<f64> {
        self.truth.iter().map(|(stops, _)| *stops).collect()
    }
    pub fn write(&self, folder: &Path) {
        write_all(&self.session, &self.taken, folder, self.compression, true).unwrap();
    }
}
