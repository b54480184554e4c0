//! A bare wall as `lightloss camera --help` has it shot: along the dial and back at light levels
//! three stops apart.

use lightloss::exposure::DialTime;
use lightloss::quantity::Seconds;
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};

/// Light of the wall: at f/2.8 the longest time of the first level fills 60 % of the scale.
const LEVEL: f64 = 1.18;
/// Aperture and longest time of each light level.
pub const LEVELS: [(f64, f64); 3] = [(2.8, 1.0 / 15.0), (8.0, 0.5), (22.0, 4.0)];
/// Stops along the dial at each.
const STOPS: f64 = 5.0;
/// Times of the dark frames.
const DARK: [f64; 3] = [0.5, 2.0, 4.0];

/// A body before a lamp; its shutter errs by so many times what a good one does.
pub fn session(size: (usize, usize), errs: f64, seed: u64) -> Session {
    let mut camera = Camera::bayer(size.0, size.1);
    camera.shutter.offsets = errs;
    camera.seed = seed;
    let scene = Scene { walk: 0.001, drift: 0.001, ..Scene::daylight(LEVEL, [0.55, 1.0, 0.7]) };
    Session::new(camera, Lens::of(50.0), scene, seed)
}

/// The times of a light level whose longest is this, longest first.
pub fn times(longest: f64) -> Vec<f64> {
    let shortest = longest * (-STOPS - 0.2).exp2();
    let span = DialTime::thirds(Seconds::new(longest * 1.01), Seconds::new(shortest));
    span.into_iter().map(|d| d.shown().get()).collect()
}

/// All frames of these light levels, `each` at a time before going on along the dial, and dark ones.
pub fn shots(levels: &[(f64, f64)], each: usize) -> Vec<Shot> {
    let mut shots = Vec::new();
    let mut add = |time: f64, f_number: f64, capped: bool| {
        let file = format!("W{:04}.dng", shots.len() + 1);
        let mut shot = Shot { f_number, ..Shot::of(&file, Time::Dial(time), Vec::new()) };
        if capped {
            shot.brighter = -40.0;
        }
        shots.push(shot);
    };
    for &(f_number, longest) in levels {
        let down = times(longest);
        let up: Vec<f64> = down.iter().rev().copied().collect();
        for time in down.into_iter().chain(up) {
            (0..each).for_each(|_| add(time, f_number, false));
        }
    }
    for time in DARK {
        (0..2).for_each(|_| add(time, 2.8, true));
    }
    shots
}
