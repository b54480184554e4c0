//! Ghosts found where they are, and none where there is none.

use super::Line;
use super::frames::{Stage, Wanted, refs};
use lightloss::measure::picture::TakenAs;
use lightloss::measure::picture::ghost::ghosts;
use lightloss::measured::coverage_factor;
use lightloss::simulate::camera::Camera;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::optics::image::{Ghost, Image, Optics};
use lightloss::simulate::optics::subject::Subject;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use std::sync::Arc;

const SIZE: (usize, usize) = (1920, 1280);
/// Light of the lamp against the wall that the camera's level is given for.
const LAMP: f64 = 40.0;

struct Found {
    spots: usize,
    off_place: f64,
    off_stops: f64,
    u95: f64,
    inside: bool,
}

/// A lamp, bare and filtered, at three times each; `stops` of the ghost below the lamp.
fn one(stops: Option<f64>, seed: u64) -> Option<Found> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (sin, cos) = rng.random_range(0.0..std::f64::consts::TAU).sin_cos();
    let far = rng.random_range(0.18..0.36);
    let at = (0.5 + far * cos, 0.5 + far * sin);
    let ground = rng.random_range(0.0002..0.002);
    let lamp = Subject::Lamp { at, radius: rng.random_range(17.0..50.0), light: LAMP, ground };
    let lens = Optics { veil: 0.002, ..Optics::blurred(0.8) };
    let ghost = stops.map(|s| Ghost { magnification: -1.0, share: f64::exp2(-s) });
    let veil = rng.random_range(0.002..0.01);
    let through = Optics { veil, ghosts: ghost.into_iter().collect(), ..lens.clone() };
    let [bare, filtered] = [&lens, &through].map(|o| Arc::new(Image::of(&lamp, o, SIZE)));
    let filter = Filter::even([6.05, 6.0, 5.9]);
    let mut wanted = Vec::new();
    // The wall's level is 0.6 of full scale in a second; the lamp keeps below white in the shortest.
    for seconds in [1.0 / 50.0, 0.5, 8.0] {
        wanted.push(Wanted::new(&bare, seconds, Vec::new(), TakenAs::Bare));
        wanted.push(Wanted::new(
            &filtered,
            seconds * 64.0,
            vec![filter.clone()],
            TakenAs::Filtered,
        ));
    }
    let (taken, _) = Stage::new(Camera::bayer(SIZE.0, SIZE.1), seed).taken(&wanted);
    let (found, _) = ghosts(&refs(&taken));
    let found = found?;
    let spot = found.spots.first();
    let mirrored = (1.0 - at.0, 1.0 - at.1);
    let u95 = spot.map_or(f64::NAN, |s| coverage_factor(s.stops.dof) * s.stops.u);
    let off_stops = spot.zip(stops).map_or(f64::NAN, |(s, stops)| s.stops.value - stops);
    Some(Found {
        spots: found.spots.len(),
        off_place: spot.map_or(f64::NAN, |s| {
            (s.at.0 - mirrored.0).hypot((s.at.1 - mirrored.1) * SIZE.1 as f64 / SIZE.0 as f64)
        }),
        off_stops,
        u95,
        inside: off_stops.abs() <= u95,
    })
}

pub fn lines(with: u64, without: u64, seed: u64) -> Vec<Line> {
    let seed = seed.wrapping_mul(104_729);
    let drawn: Vec<Option<Found>> = (0..with)
        .into_par_iter()
        .map(|i| one(Some(6.0 + 8.0 * i as f64 / (with - 1).max(1) as f64), seed + i))
        .collect();
    let seen: Vec<&Found> = drawn.iter().flatten().filter(|f| f.spots == 1).collect();
    for (i, found) in drawn.iter().enumerate() {
        match found {
            Some(f) if f.spots == 1 && f.inside => {}
            Some(f) => println!(
                "ghost {i}: {} spots, off by {:.3} stop (u95 {:.3}) and {:.4} of the frame",
                f.spots, f.off_stops, f.u95, f.off_place
            ),
            None => println!("ghost {i}: not looked for"),
        }
    }
    let most = |of: &dyn Fn(&Found) -> f64| seen.iter().map(|f| of(f).abs()).fold(0.0, f64::max);
    let (place, stops) = (most(&|f| f.off_place), most(&|f| f.off_stops));
    let inside = seen.iter().filter(|f| f.inside).count();
    let empty: Vec<Option<Found>> =
        (0..without).into_par_iter().map(|i| one(None, seed + 100_000 + i)).collect();
    let invented = empty.iter().flatten().filter(|f| f.spots > 0).count();
    let looked = empty.iter().flatten().count();
    vec![
        Line::new(
            "ghosts of 6 to 14 stops found",
            format!("{} of {with}", seen.len()),
            "all",
            seen.len() as u64 == with,
        ),
        Line::new(
            "furthest off in place",
            format!("{:.2} % of the frame", 100.0 * place),
            "1 %",
            place <= 0.01,
        ),
        Line::new("furthest off in strength", format!("{stops:.2} stop"), "0.2 stop", stops <= 0.2),
        Line::new(
            "strength inside its u95",
            format!("{inside} of {}", seen.len()),
            "9 of 10",
            inside * 10 >= seen.len() * 9,
        ),
        Line::new(
            &format!("ghosts invented where there is none ({looked} of {without} looked at)"),
            invented.to_string(),
            "none",
            invented == 0 && looked as u64 == without,
        ),
    ]
}
