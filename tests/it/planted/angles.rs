//! Whether the stated doubts of the angles between two polarisers, of what the pair costs and of its
//! floor hold, at long lenses, where they rest on the strengths, and at wide ones, where they rest on the
//! sheets' refractive index; near parallel and crossed: pairs planted from exact vectors, in light whose
//! pattern wanders.

#![allow(clippy::print_stderr, clippy::unwrap_used)]

use lightloss::measure::evenness::evenness;
use lightloss::measure::map::Detail;
use lightloss::measure::pair::{self, MarkMap, View};
use lightloss::quantity::Stops;
use lightloss::simulate::filter::{Filter, Point};
use lightloss::simulate::optics::ray;
use lightloss_planted::planted_maps::{Stage, Wall, between, change, map_in};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;

/// Rings drawn at each lens, of seven marks each.
const RINGS: u64 = 40;
/// Of 240 draws or so a share within u95 of 95 % lies above this in 999 of 1000 (binomial).
const HOLDS: f64 = 0.90;

/// Of one value per ring such a share lies above this in 999 of 1000 draws (binomial, 40 rings).
const HOLDS_OF_RINGS: f64 = 0.82;
/// Refractive index of cellulose triacetate, the film over polarising sheet, and of crown glass
/// (handbook values, from memory).
const INDEX: (f64, f64) = (1.48, 1.53);

/// Error over u95 of the angle and of the bisector of every mark that is measured, of the base loss and
/// of the floor, and whether the bound of those near parallel holds.
#[derive(Default)]
struct Ring {
    angles: Vec<f64>,
    bisectors: Vec<f64>,
    bounds: Vec<bool>,
    bases: Vec<f64>,
    floors: Vec<f64>,
}

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(rng)
}

/// Strength in the middle fifth of the frame, light averaged, behind a lens in millimetres.
fn strength(filter: &Filter, focal: f64) -> f64 {
    const POINTS: i32 = 10;
    let at = |k: i32, half: f64| 0.2 * half * (f64::from(2 * k + 1) / f64::from(POINTS) - 1.0);
    let point = |k: i32| {
        let (x, y) = (at(k % POINTS, 18.0), at(k / POINTS, 12.0));
        Point { ray: ray(x, y, focal), u: 0.5, v: 0.5, x: 0.0, y: 0.0, height: 0.0 }
    };
    let light: f64 = (0..POINTS * POINTS).map(|k| filter.transmittance(&point(k), None)[1]).sum();
    -(light / f64::from(POINTS * POINTS)).log2()
}

fn ring(focal: f64, number: u64) -> Ring {
    let mut rng = ChaCha8Rng::seed_from_u64(number ^ ((focal as u64) << 20));
    let base = between(&mut rng, 1.0, 2.2);
    let floor = between(&mut rng, 9.0, 13.0);
    let stage = Stage::small(focal * between(&mut rng, 0.96, 1.04));
    let noise = between(&mut rng, 0.003, 0.01);
    let first = between(&mut rng, 0.0, 180.0);
    let u = between(&mut rng, 0.006, 0.02);
    let index = between(&mut rng, INDEX.0, INDEX.1);
    let planted: Vec<(f64, f64)> = [5.0, 22.0, 38.0, 52.0, 65.0, 77.0, 88.0]
        .iter()
        .map(|axes| {
            let axes = axes + between(&mut rng, -2.0, 2.0);
            // one polariser turns, so the bisector turns by half as much
            (axes, first + axes / 2.0)
        })
        .collect();
    let marks: Vec<MarkMap> = (0..)
        .zip(&planted)
        .map(|(k, &(axes, bisector))| {
            let mut filter = Filter::pair([base; 3], axes, bisector, [(-floor).exp2(); 3]);
            filter.pair.as_mut().unwrap().index = index;
            let strength = strength(&filter, stage.focal_mm);
            // the light's pattern wanders by a percent between the runs
            let walls = [Wall::even(), moved(&mut rng), moved(&mut rng)];
            let walls = [&walls[0], &walls[1], &walls[2]];
            let map = map_in(&stage, &filter, walls, noise, number * 16 + k, Detail::Fine);
            let found = evenness(&map).unwrap();
            let strength = strength + u * normal(&mut rng);
            MarkMap { mark: k.to_string(), strength, u, map: found.clean }
        })
        .collect();
    let view = View { focal_length_mm: focal, sensor_mm: (36.0, 24.0) };
    let record = pair::record(&pair::fit(&marks, &view).unwrap(), 1.0 / 3.0);
    let off = |found: Option<Stops>, planted: f64, u95: Option<Stops>| {
        vec![(found.unwrap().get() - planted).abs() / u95.unwrap().get()]
    };
    let mut judged = Ring {
        bases: off(record.base_stops, base, record.base_u95),
        floors: off(record.floor_stops, floor, record.floor_u95),
        ..Ring::default()
    };
    for (found, &(axes, bisector)) in record.marks.iter().zip(&planted) {
        let angle = found.axes_angle.unwrap().get();
        let Some(u95) = found.u95 else {
            judged.bounds.push(axes <= angle);
            continue;
        };
        judged.angles.push((angle - axes).abs() / u95.get());
        let apart = (found.bisector_angle.unwrap().get() - bisector).rem_euclid(180.0);
        judged.bisectors.push(apart.min(180.0 - apart) / found.bisector_u95.unwrap().get());
    }
    judged
}

fn moved(rng: &mut ChaCha8Rng) -> Wall {
    Wall { smooth: change(rng, 0.01), ..Wall::even() }
}

fn held(ratios: &[f64]) -> f64 {
    ratios.iter().filter(|r| **r <= 1.0).count() as f64 / ratios.len() as f64
}

#[test]
fn angles_hold_at_long_and_wide_lenses() {
    let mut faults = Vec::new();
    for focal in [18.0, 50.0, 85.0] {
        let rings: Vec<Ring> = (0..RINGS).into_par_iter().map(|n| ring(focal, n)).collect();
        let all =
            |of: fn(&Ring) -> &Vec<f64>| rings.iter().flat_map(of).copied().collect::<Vec<_>>();
        let (angles, bisectors) = (all(|r| &r.angles), all(|r| &r.bisectors));
        let (bases, floors) = (all(|r| &r.bases), all(|r| &r.floors));
        let bounds: Vec<bool> = rings.iter().flat_map(|r| r.bounds.clone()).collect();
        let bounded = bounds.iter().filter(|b| **b).count() as f64 / bounds.len().max(1) as f64;
        let line = format!(
            "{focal} mm: angles {:.1} %, bisectors {:.1} % of {}; bounds {:.1} % of {}; \
             bases {:.1} %, floors {:.1} %",
            100.0 * held(&angles),
            100.0 * held(&bisectors),
            angles.len(),
            100.0 * bounded,
            bounds.len(),
            100.0 * held(&bases),
            100.0 * held(&floors)
        );
        eprintln!("{line}");
        let good = [held(&angles), held(&bisectors)].iter().all(|h| *h > HOLDS)
            && [held(&bases), held(&floors)].iter().all(|h| *h > HOLDS_OF_RINGS);
        if !good || bounded < 0.9 {
            faults.push(line);
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}
