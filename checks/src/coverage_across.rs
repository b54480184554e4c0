//! Does u95 hold what it says across the frame? `coverage-across --shoots 1000`
//! counts how often the stated interval holds planted truth: amplitudes of the map's pattern (with and
//! without closing bare frames), and the angles of a variable filter's polarisers. Every error is
//! drawn from what the budget claims. `--keep` writes reports/coverage/across.txt.
//!
//! Fails when an amplitude or an angle is outside 93 to 97 % (from 1000 shoots; 90 to 99 % with
//! fewer).

use crate::Verdict;
use crate::kept::keep;
use crate::machine::machine;
use lightloss::measure::evenness::doubt::{
    BELIEF_DOF, CROSS_CHANGE, FALLOFF_CHANGE, SADDLE_CHANGE, TILT_CHANGE,
};
use lightloss::measure::evenness::evenness;
use lightloss::measure::map::{Detail, FrameLight, RatioMap, build};
use lightloss::measure::pair::{
    self, DARKENING, MODEL_SHARE, MODEL_STOPS, MarkMap, NUISANCE, View,
};
use lightloss::simulate::filter::Filter;
use lightloss_planted::planted_maps::{Stage, between, frame, map};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution, StandardNormal};
use rayon::prelude::*;
use std::fmt::Write as _;

const AMPLITUDES: [&str; 4] = ["falloff", "tilt", "saddle", "cross"];
/// Share of intervals that must hold the truth: from a thousand shoots, and with fewer.
const TOLD: (f64, f64) = (0.93, 0.97);
const SHORT: (f64, f64) = (0.90, 0.99);
const TELLING: u64 = 1000;
const SEED: u64 = 20_260_914;

/// An error with the doubt that was stated of it.
#[derive(Clone, Copy, Debug)]
struct Judged {
    error: f64,
    u95: f64,
}

#[derive(clap::Args)]
pub struct Options {
    /// Shoots of each kind
    #[arg(long, default_value_t = TELLING)]
    shoots: u64,
    #[arg(long, default_value_t = SEED)]
    seed: u64,
    /// Write the table to reports/coverage/across.txt
    #[arg(long)]
    keep: bool,
}

pub fn check(&Options { shoots, seed, keep: kept }: &Options) -> Verdict {
    let (low, high) = if shoots >= TELLING { TOLD } else { SHORT };
    let mut table = String::new();
    let mut outside = Vec::new();
    writeln!(table, "{:<46} {:>7} {:>8} {:>9} {:>9}", "", "shoots", "holds, %", "u95", "|error|")
        .unwrap();
    for closed in [true, false] {
        let all: Vec<[Judged; 4]> =
            (0..shoots).into_par_iter().map(|i| pattern(seed, i, closed)).collect();
        for (k, name) in AMPLITUDES.iter().enumerate() {
            let judged: Vec<Judged> = all.iter().map(|a| a[k]).collect();
            let what =
                format!("{name}, stops, {} closing bare", if closed { "with" } else { "without" });
            let share = row(&mut table, &what, &judged);
            if !(low..=high).contains(&share) {
                outside.push(format!("{what}: {:.1} %", 100.0 * share));
            }
        }
    }
    let pairs: Vec<Vec<[Judged; 2]>> =
        (0..shoots / 4).into_par_iter().map(|i| angles(seed, i)).collect();
    for (k, name) in ["angle between the axes, degrees", "bisector, degrees"].iter().enumerate() {
        let judged: Vec<Judged> = pairs.iter().flatten().map(|m| m[k]).collect();
        let share = row(&mut table, name, &judged);
        if !(low..=high).contains(&share) {
            outside.push(format!("{name}: {:.1} %", 100.0 * share));
        }
    }
    let text = format!(
        "Share of simulated maps whose stated u95 holds planted truth; u95 and |error| are medians.\n\
         {shoots} shoots, seed {seed}: lightloss-checks coverage-across --shoots {shoots}\n{}\n\n{table}",
        machine()
    );
    println!("{text}");
    if kept {
        keep("coverage/across.txt", &text);
    }
    if outside.is_empty() {
        Ok(())
    } else {
        Err(format!("outside the bounds:\n{}", outside.join("\n")))
    }
}

fn row(table: &mut String, what: &str, judged: &[Judged]) -> f64 {
    let held = judged.iter().filter(|j| j.error.abs() <= j.u95).count();
    let share = held as f64 / judged.len() as f64;
    let median = |of: fn(&Judged) -> f64| {
        let mut values: Vec<f64> = judged.iter().map(of).collect();
        values.sort_by(f64::total_cmp);
        values[values.len() / 2]
    };
    writeln!(
        table,
        "{what:<46} {:>7} {:>8.1} {:>9.4} {:>9.4}",
        judged.len(),
        100.0 * share,
        median(|j| j.u95),
        median(|j| j.error.abs())
    )
    .unwrap();
    share
}

/// Stops of a pattern at a place, by its definition: even, tilt, saddle and four-armed terms with
/// r = 1 in the corner.
fn stops(c: &[f64; 9], x: f64, y: f64) -> f64 {
    let (r, phi) = (x.hypot(y), y.atan2(x));
    let turned = |k: f64, a: f64, b: f64| a * (k * phi).cos() + b * (k * phi).sin();
    c[0] * r.powi(2)
        + c[1] * r.powi(4)
        + c[2] * r.powi(6)
        + r * turned(1.0, c[3], c[4])
        + r.powi(2) * turned(2.0, c[5], c[6])
        + r.powi(4) * turned(4.0, c[7], c[8])
}

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(rng)
}

/// One map's amplitudes. The light's pattern wanders between runs as the doubt says; its size is
/// drawn from the belief in it.
fn pattern(seed: u64, number: u64, closed: bool) -> [Judged; 4] {
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ (number << 1) ^ u64::from(closed));
    let mut filter = [0.0; 9];
    let size = |rng: &mut ChaCha8Rng| {
        if rng.random_bool(0.3) { 0.0 } else { 10_f64.powf(between(rng, -2.5, -0.3)) }
    };
    filter[0] = size(&mut rng);
    for first in [3, 5, 7] {
        let (amplitude, at) = (size(&mut rng) / 2.0, between(&mut rng, 0.0, std::f64::consts::TAU));
        (filter[first], filter[first + 1]) = (amplitude * at.cos(), amplitude * at.sin());
    }
    // From bare run to bare run, per coefficient; half of the variance before the filter, half after.
    let changes = [FALLOFF_CHANGE, TILT_CHANGE, SADDLE_CHANGE, CROSS_CHANGE].map(|prior| {
        prior * (BELIEF_DOF / ChiSquared::new(BELIEF_DOF).unwrap().sample(&mut rng)).sqrt()
    });
    let orders = [(0, 0), (3, 1), (4, 1), (5, 2), (6, 2), (7, 3), (8, 3)];
    let mut walls = [[0.0; 9]; 3];
    for (i, order) in orders {
        for run in 1..3 {
            walls[run][i] = walls[run - 1][i]
                + changes[order] * normal(&mut rng) * std::f64::consts::FRAC_1_SQRT_2;
        }
    }
    let stage = if rng.random_bool(0.5) { Stage::full(24.0) } else { Stage::small(24.0) };
    let layout = stage.layout();
    let light = |wall: &[f64; 9], filtered: bool| -> [Vec<f64>; 3] {
        let (w, h) = (stage.width_px as f64, stage.height_px as f64);
        let half = 0.5 * w.hypot(h);
        let cells = (0..layout.columns * layout.rows).map(|i| {
            let at = |k: usize| (k as f64 + 0.5) * layout.side_px as f64;
            let (x, y) = (at(i % layout.columns) - w / 2.0, h / 2.0 - at(i / layout.columns));
            let (x, y) = (x / half, y / half);
            (stops(wall, x, y) - if filtered { stops(&filter, x, y) } else { 0.0 }).exp2()
        });
        let cells: Vec<f64> = cells.collect();
        [cells.clone(), cells.clone(), cells]
    };
    let noise = 10_f64.powf(between(&mut rng, -3.0, -1.7));
    let mut shot = |light: &[Vec<f64>; 3], run: u32| -> Vec<FrameLight> {
        (0..3).map(|_| frame(&stage, light, run, noise, &mut rng)).collect()
    };
    let mut bare = shot(&light(&walls[0], false), 1);
    let filtered = shot(&light(&walls[1], true), 2);
    if closed {
        bare.extend(shot(&light(&walls[2], false), 3));
    }
    let found = evenness(&build(&layout, &bare, &filtered, Detail::Fine).unwrap()).unwrap().record;
    let p = &found.pattern;
    let directed = |found: &lightloss::profile::Directed, first: usize| Judged {
        error: found.stops.get() - 2.0 * filter[first].hypot(filter[first + 1]),
        u95: found.u95.unwrap().get(),
    };
    [
        Judged {
            error: p.falloff_stops.get() - filter[..3].iter().sum::<f64>(),
            u95: p.falloff_u95.unwrap().get(),
        },
        directed(&p.tilt, 3),
        directed(&p.saddle, 5),
        directed(&p.cross, 7),
    ]
}

/// The marks of one ring: angle between the axes, bisector. Base loss, floor and focal length are
/// drawn from what the fit believes of them beforehand.
fn angles(seed: u64, number: u64) -> Vec<[Judged; 2]> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0xA11 ^ (number << 12));
    let base = between(&mut rng, 1.0, 2.1);
    let floor = (10.5 + 2.0 * normal(&mut rng)).max(6.0);
    let exif = between(&mut rng, 16.0, 40.0);
    let stage = Stage::small(exif * between(&mut rng, 0.95, 1.05));
    let noise = between(&mut rng, 0.002, 0.01);
    let first = between(&mut rng, 0.0, 180.0);
    let u = 0.014;
    let glass = DARKENING * normal(&mut rng);
    let planted: Vec<(f64, f64)> = (0..6)
        .map(|k| {
            let axes = 20.0 + 12.0 * f64::from(k) + between(&mut rng, -4.0, 4.0);
            // One polariser turns, so the bisector turns by half as much.
            (axes, first + axes / 2.0)
        })
        .collect();
    let marks: Vec<MarkMap> = planted
        .iter()
        .enumerate()
        .map(|(k, &(axes, bisector))| {
            let filter = Filter::pair([base; 3], axes, bisector, [(-floor).exp2(); 3]);
            let centre = -filter.transmittance(&centre(), None)[1].log2();
            let found = evenness(&map(&stage, &filter, noise, number * 16 + k as u64)).unwrap();
            let map = uneven(found.clean, glass, &mut rng);
            MarkMap { mark: k.to_string(), strength: centre + u * normal(&mut rng), u, map }
        })
        .collect();
    let view = View { focal_length_mm: exif, sensor_mm: (36.0, 24.0) };
    let record = pair::record(&pair::fit(&marks, &view).unwrap(), 1.0 / 3.0);
    let judged = record.marks.iter().zip(&planted).filter_map(|(found, &(axes, bisector))| {
        let apart = (found.bisector_angle?.get() - bisector).rem_euclid(180.0);
        Some([
            Judged { error: found.axes_angle?.get() - axes, u95: found.u95?.get() },
            Judged { error: apart.min(180.0 - apart), u95: found.bisector_u95?.get() },
        ])
    });
    judged.collect()
}

/// What the fit allows for beside the polarisers: light and wall that change between runs, glass
/// that darkens evenly, and each cell's own departure from the model.
fn uneven(mut map: RatioMap, glass: f64, rng: &mut ChaCha8Rng) -> RatioMap {
    let light = NUISANCE.map(|size| size * normal(rng));
    for i in 0..map.len() {
        let (x, y) = map.position(i);
        let r2 = x * x + y * y;
        let places = [1.0, x, y, r2, x * x - y * y, 2.0 * x * y];
        let changed: f64 = places.iter().zip(light).map(|(p, l)| p * l).sum();
        if let Some(s) = &mut map.stops[1][i] {
            *s += normal(rng) * MODEL_STOPS.hypot(MODEL_SHARE * *s) + changed + glass * r2;
        }
    }
    map
}

fn centre() -> lightloss::simulate::filter::Point {
    lightloss::simulate::filter::Point {
        ray: lightloss::simulate::optics::ray(0.0, 0.0, 24.0),
        u: 0.5,
        v: 0.5,
        x: 0.0,
        y: 0.0,
        height: 0.0,
    }
}
