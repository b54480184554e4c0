//! Shoots in which more than the filter changed: no ratio, but a caution.

use super::Line;
use super::frames::{Stage, Wanted, refs, sigma_of};
use lightloss::caution::PictureDoubt;
use lightloss::measure::picture::TakenAs;
use lightloss::measure::picture::sharpness::{SharpnessResult, sharpness};
use lightloss::simulate::camera::Camera;
use lightloss::simulate::optics::image::{Image, Optics};
use lightloss::simulate::optics::subject::Subject;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use std::sync::Arc;

const SIZE: (usize, usize) = (1152, 768);
/// The filter's own blur in pixels, in the shaken frame as in its neighbours.
const FILTER: f64 = 0.2;

/// What goes wrong.
#[derive(Clone, Copy)]
enum Wrong {
    Nothing,
    Refocused,
    Shaken,
    Aperture,
}

fn shoot(wrong: Wrong, seed: u64) -> SharpnessResult {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let angle = rng.random_range(3.5..8.0);
    let target = Subject::Target { angle, dark: 0.08, side: 0.24 };
    let lens = sigma_of(rng.random_range(0.2..0.35), angle);
    let picture = |optics: &Optics| Arc::new(Image::of(&target, optics, SIZE));
    let sharp = Optics::blurred(lens);
    let bare = picture(&sharp);
    let filtered = picture(&sharp.clone().softened(FILTER));
    let frame = |image: &Arc<Image>, state, f_number| Wanted {
        image: Arc::clone(image),
        seconds: f_number * f_number / 64.0,
        filters: Vec::new(),
        f_number,
        state,
    };
    let mut wanted = vec![frame(&bare, TakenAs::Bare, 8.0); 2];
    wanted.extend(vec![frame(&filtered, TakenAs::Filtered, 8.0); 3]);
    wanted.extend(vec![frame(&bare, TakenAs::Bare, 8.0); 2]);
    match wrong {
        Wrong::Nothing => {}
        Wrong::Refocused => {
            // Focused anew before the filter went on, and never as before.
            let off = picture(&sharp.softened(rng.random_range(0.35..0.7)));
            wanted[5..].iter_mut().for_each(|w| w.image = Arc::clone(&off));
            wanted[2..5].iter_mut().for_each(|w| w.image = Arc::clone(&off));
        }
        Wrong::Shaken => {
            let length = rng.random_range(1.2..3.0);
            let through = sharp.softened(FILTER);
            let shaken = picture(&through.shaken(length, rng.random_range(20.0..70.0)));
            wanted[3].image = shaken;
        }
        Wrong::Aperture => {
            wanted[2..5].iter_mut().for_each(|w| *w = frame(&filtered, TakenAs::Filtered, 11.0));
        }
    }
    let (taken, places) = Stage::new(Camera::bayer(SIZE.0, SIZE.1), seed).taken(&wanted);
    sharpness(&refs(&taken), &places)
}

pub fn lines(count: u64, seed: u64) -> Vec<Line> {
    let kinds = [
        ("an honest shoot gives a ratio of five edges", Wrong::Nothing),
        ("refocused between the states: no ratio, and said", Wrong::Refocused),
        ("one frame shaken: no ratio, and said", Wrong::Shaken),
        ("another aperture: no ratio, and said", Wrong::Aperture),
    ];
    let line = |(what, wrong): (&str, Wrong)| {
        let right = (0..count)
            .into_par_iter()
            .filter(|i| {
                let found = shoot(wrong, seed.wrapping_mul(31) + i);
                let said = |of: &dyn Fn(&PictureDoubt) -> bool| {
                    found.change.is_none() && found.doubts.iter().any(of)
                };
                let is_right = match wrong {
                    Wrong::Nothing => {
                        found.change.is_some() && found.edges.len() == 5 && found.doubts.is_empty()
                    }
                    Wrong::Refocused => said(&|d| matches!(d, PictureDoubt::Refocused { .. } | PictureDoubt::Unsteady { .. })),
                    Wrong::Shaken => said(&|d| matches!(d, PictureDoubt::Unsteady { file, .. } if file == "P0003.dng")),
                    Wrong::Aperture => said(&|d| matches!(d, PictureDoubt::OtherSettings { .. })),
                };
                if !is_right {
                    println!("{what}: not shoot {i}: {:?}, left out {:?}, {:?}, refused {:?}", found.doubts, found.left_out, found.change, found.refused);
                }
                is_right
            })
            .count();
        Line::new(what, format!("{right} of {count}"), "all", right as u64 == count)
    };
    kinds.into_iter().map(line).collect()
}
