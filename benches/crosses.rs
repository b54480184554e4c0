//! False and missed dark crosses, counted: `cargo bench --bench crosses -- --filters 1000`.
//!
//! Prints the counts and fails when more than one filter in a thousand without a cross shows one,
//! or when a cross a tenth of a stop deep is missed in a map with 0.01 stop of noise.

#![allow(clippy::print_stdout, clippy::unwrap_used, missing_docs)]

#[allow(dead_code)]
#[path = "../tests/it/support/planted_maps.rs"]
mod planted_maps;

use lightloss::measure::evenness::evenness;
use lightloss::measure::map::{Detail, RatioMap};
use lightloss::profile::CrossState;
use lightloss::simulate::filter::{Filter, Ring};
use planted_maps::{Stage, Wall, between, change, map, map_in};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

/// Most the light's pattern changes between two runs, from its least to its most.
const CHANGE: f64 = 0.03;
/// Most that the picture of the wall moves, in parts of the frame's width.
const SHIFT: f64 = 40.0 / 6000.0;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let count = arguments
        .iter()
        .position(|a| a == "--filters")
        .and_then(|i| arguments.get(i + 1))
        .map_or(1000, |n| n.parse::<u64>().unwrap());
    let outcomes: Vec<(String, bool, bool)> =
        (0..count).into_par_iter().map(without_a_cross).collect();
    let mut false_crosses = 0;
    let mut rings = (0, 0);
    for (what, cross, missed) in &outcomes {
        if *cross {
            false_crosses += 1;
            println!("false cross: {what}");
        }
        rings.0 += usize::from(what.contains("Ring"));
        rings.1 += usize::from(*missed);
    }
    println!(
        "{false_crosses} false crosses in {count} filters without one; {} rings, {} of them not told",
        rings.0, rings.1
    );
    let depths: Vec<(f64, f64, CrossState)> =
        (0..count / 5).into_par_iter().map(with_a_cross).collect();
    let missed = depths.iter().filter(|d| d.2 == CrossState::Absent).count();
    println!(
        "{missed} missed crosses in {} filters with one 0.1 stop deep or a little more",
        depths.len()
    );
    assert!(false_crosses as f64 <= (count as f64 / 1000.0).ceil());
    assert_eq!(missed, 0);
}

/// A filter without a cross in a shoot with everything that may look like one.
fn without_a_cross(seed: u64) -> (String, bool, bool) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let small = rng.random_bool(0.3);
    let focal = [14.0, 16.0, 20.0, 24.0, 35.0, 50.0, 85.0][rng.random_range(0..7)];
    let stage = if small { Stage::small(focal) } else { Stage::full(focal) };
    let stops = between(&mut rng, 1.0, 15.0);
    let mut filter =
        if rng.random_bool(0.7) { Filter::glass([stops; 3]) } else { Filter::even([stops; 3]) };
    if rng.random_bool(0.4) {
        let off = if rng.random_bool(0.5) { 0.0 } else { 0.08 };
        filter.ring = Some(Ring {
            begins: between(&mut rng, 0.75, 0.97),
            slope: between(&mut rng, 2.5, 10.0),
            centre: (off * between(&mut rng, -1.0, 1.0), off * between(&mut rng, -1.0, 1.0)),
        });
    } else if rng.random_bool(0.3) {
        let place = if rng.random_bool(0.5) { 0.0 } else { 1.0 };
        // light on the filter's back, in parts of what passes
        filter.reflection =
            Some((place, between(&mut rng, 0.05, 0.4), between(&mut rng, 0.0, 0.1)));
    }
    if rng.random_bool(0.5) {
        filter.tilt = Some((between(&mut rng, 0.0, 0.1), between(&mut rng, 0.0, 360.0)));
    }
    let before = Wall::random(&mut rng);
    let moved = |wall: &Wall, rng: &mut ChaCha8Rng| {
        let mut wall = wall.clone();
        let share = between(rng, 0.0, CHANGE);
        let step = change(rng, share);
        wall.smooth.iter_mut().zip(step).for_each(|(s, d)| *s += d);
        let reach = SHIFT * 2.0 * 0.832;
        wall.shift = (between(rng, -reach, reach), between(rng, -reach, reach));
        wall
    };
    let through = moved(&before, &mut rng);
    let after = moved(&through, &mut rng);
    let noise = 10_f64.powf(between(&mut rng, -3.0, -1.3));
    let map = map_in(&stage, &filter, [&before, &through, &after], noise, seed, Detail::Fine);
    let Some(e) = evenness(&map) else { return (format!("no map: {filter:?}"), true, false) };
    let cross = e.record.dark_cross.state != CrossState::Absent;
    let missed = filter.ring.is_some_and(|r| shades(&map, r)) && !e.shade.mechanical;
    let what = format!(
        "{} {focal} mm noise {noise:.4} {filter:?} depth {:.3} mechanical {}",
        if small { "small" } else { "full" },
        e.record.dark_cross.depth_stops.get(),
        e.shade.mechanical
    );
    (what, cross, missed)
}

/// Whether a ring takes half of the light of a corner cell.
fn shades(map: &RatioMap, ring: Ring) -> bool {
    (0..map.len()).any(|i| {
        let (x, y) = map.position(i);
        (x - ring.centre.0).hypot(y - ring.centre.1) > ring.begins + 0.5 / ring.slope
    })
}

/// A pair of polarisers turned until its cross is a tenth of a stop deep.
fn with_a_cross(seed: u64) -> (f64, f64, CrossState) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let focal = [16.0, 20.0, 24.0, 35.0, 50.0][rng.random_range(0..5)];
    let stage = if rng.random_bool(0.3) { Stage::small(focal) } else { Stage::full(focal) };
    let bisector = between(&mut rng, 0.0, 180.0);
    let pair = |axes: f64| Filter::pair([1.5; 3], axes, bisector, [1e-3; 3]);
    let depth = |axes: f64| {
        let e = evenness(&map(&stage, &pair(axes), 1e-5, 0)).unwrap();
        e.record.dark_cross.depth_stops.get()
    };
    let axes = (10..45).map(|k| 2.0 * f64::from(k)).find(|&a| depth(a) > 0.1).unwrap();
    let e = evenness(&map(&stage, &pair(axes), 0.01, seed)).unwrap();
    (axes, depth(axes), e.record.dark_cross.state)
}
