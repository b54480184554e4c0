//! False and missed dark crosses, counted: `crosses --filters 1000`.
//!
//! `--seed N` draws others; the limits of the decision were set on seed 0. `--keep` writes the counts
//! to reports/crosses/crosses.txt. Prints the counts and fails when more than one filter in a thousand
//! without a cross shows one, or when a cross a tenth of a stop deep is missed in a map with 0.01 stop
//! of noise.

use crate::Verdict;
use crate::kept::keep;
use crate::machine::machine;
use lightloss::measure::evenness::evenness;
use lightloss::measure::map::{Detail, RatioMap};
use lightloss::profile::CrossState;
use lightloss::simulate::filter::{Filter, Ring};
use lightloss_planted::planted_maps::{Stage, Wall, between, change, map, map_in};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

/// Most the light's pattern changes between two runs, from its least to its most.
const CHANGE: f64 = 0.03;
/// Most that the picture of the wall moves, in parts of the frame's width.
const SHIFT: f64 = 40.0 / 6000.0;

/// Filters of one `--seed` are drawn from so many seeds of their own.
const SEEDS_APART: u64 = 1_000_000;

/// Most that the bottom of the frame is open longer or shorter than the top, as a share of the bare
/// frames' short time.
const CURTAIN: f64 = 0.1;

#[derive(clap::Args)]
pub struct Options {
    /// Filters without a cross
    #[arg(long, default_value_t = 1000)]
    filters: u64,
    #[arg(long, default_value_t = 0)]
    seed: u64,
    /// Write the counts to reports/crosses/crosses.txt
    #[arg(long)]
    keep: bool,
}

pub fn check(&Options { filters: count, seed, keep: kept }: &Options) -> Verdict {
    let first = seed * SEEDS_APART;
    let outcomes: Vec<Outcome> =
        (first..first + count).into_par_iter().map(without_a_cross).collect();
    let depths: Vec<(f64, CrossState)> =
        (first..first + count / 5).into_par_iter().map(with_a_cross).collect();
    let text = table(seed, &outcomes, &depths);
    println!("{text}");
    if kept {
        keep("crosses/crosses.txt", &text);
    }
    let crosses = outcomes.iter().filter(|o| o.cross).count();
    if crosses as f64 > (count as f64 / 1000.0).ceil() {
        return Err(format!("{crosses} false crosses"));
    }
    if depths.iter().any(|d| d.1 == CrossState::Absent) {
        return Err("a cross was missed".into());
    }
    Ok(())
}

/// What a filter without a cross was taken for.
struct Outcome {
    what: String,
    traits: [bool; TRAITS.len()],
    cross: bool,
    /// A ring that takes half the light of a corner cell, and whether it was told.
    ring: Option<bool>,
    called_a_ring: bool,
}

/// What may look like a cross; a filter has several of these.
const TRAITS: [&str; 8] = [
    "24 megapixels",
    "small frames",
    "absorbing glass",
    "absorbing glass of 12 to 15 stops at 14 or 16 mm",
    "a ring, centred",
    "a ring, off the centre",
    "a reflection at a slot holder's edge",
    "shutter curtains out of parallel",
];

fn table(seed: u64, outcomes: &[Outcome], depths: &[(f64, CrossState)]) -> String {
    let mut text = format!(
        "False and missed dark crosses in simulated shoots: lightloss-checks crosses --filters \
         {} --seed {seed}\n{}\n\nfilters without a cross                                   filters  called a cross\n",
        outcomes.len(),
        machine()
    );
    let mut line = |name: &str, of: &dyn Fn(&Outcome) -> bool| {
        let mine: Vec<&Outcome> = outcomes.iter().filter(|o| of(o)).collect();
        let crosses = mine.iter().filter(|o| o.cross).count();
        text += &format!("{name:<56}{:>9}{crosses:>16}\n", mine.len());
    };
    line("all", &|_| true);
    for (k, name) in TRAITS.iter().enumerate() {
        line(&format!("  {name}"), &|o| o.traits[k]);
    }
    for outcome in outcomes.iter().filter(|o| o.cross) {
        text += &format!("called a cross: {}\n", outcome.what);
    }
    let rings = outcomes.iter().filter_map(|o| o.ring).count();
    let untold = outcomes.iter().filter(|o| o.ring == Some(false)).count();
    let plain = outcomes.iter().filter(|o| !o.traits[4] && !o.traits[5]);
    let called = plain.clone().filter(|o| o.called_a_ring).count();
    let deepest = depths.iter().map(|d| d.0).fold(0.0, f64::max);
    let missed = depths.iter().filter(|d| d.1 == CrossState::Absent).count();
    text += &format!(
        "\nrings that take half the light of a corner: {rings}, not told {untold}\n\
         filters without a ring: {}, called shaded {called}\n\
         crosses of 0.10 to {deepest:.2} stop in maps with 0.01 stop of noise: {}, missed {missed}\n",
        plain.count(),
        depths.len()
    );
    text
}

/// A filter without a cross in a shoot with everything that may look like one.
fn without_a_cross(seed: u64) -> Outcome {
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
    let mut before = Wall::random(&mut rng);
    let tilted = rng.random_bool(0.5);
    let curtain = if tilted { between(&mut rng, -CURTAIN, CURTAIN) } else { 0.0 };
    let moved = |wall: &Wall, rng: &mut ChaCha8Rng| {
        let mut wall = wall.clone();
        let share = between(rng, 0.0, CHANGE);
        let step = change(rng, share);
        wall.smooth.iter_mut().zip(step).for_each(|(s, d)| *s += d);
        let reach = SHIFT * 2.0 * 0.832;
        wall.shift = (between(rng, -reach, reach), between(rng, -reach, reach));
        // of the short times; at the filter's long ones nothing of it is left
        wall.curtain = 0.0;
        wall
    };
    let through = moved(&before, &mut rng);
    let mut after = moved(&through, &mut rng);
    (before.curtain, after.curtain) = (curtain, curtain);
    let noise = 10_f64.powf(between(&mut rng, -3.0, -1.3));
    let map = map_in(&stage, &filter, [&before, &through, &after], noise, seed, Detail::Fine);
    let glass = filter.absorbing;
    let centred = filter.ring.map(|r| r.centre == (0.0, 0.0));
    let traits = [
        !small,
        small,
        glass,
        glass && stops > 12.0 && focal < 20.0,
        centred == Some(true),
        centred == Some(false),
        filter.reflection.is_some(),
        tilted,
    ];
    let found = evenness(&map);
    let mechanical = found.as_ref().is_some_and(|e| e.shade.mechanical);
    Outcome {
        what: format!(
            "{} {focal} mm noise {noise:.4} {filter:?} depth {:.3} mechanical {mechanical}",
            if small { "small" } else { "full" },
            found.as_ref().map_or(f64::NAN, |e| e.record.dark_cross.depth_stops.get()),
        ),
        traits,
        // no map at all counts as wrong
        cross: found.is_none_or(|e| e.record.dark_cross.state != CrossState::Absent),
        ring: filter.ring.filter(|r| shades(&map, *r)).map(|_| mechanical),
        called_a_ring: mechanical,
    }
}

/// Whether a ring takes half of the light of a corner cell.
fn shades(map: &RatioMap, ring: Ring) -> bool {
    (0..map.len()).any(|i| {
        let (x, y) = map.position(i);
        (x - ring.centre.0).hypot(y - ring.centre.1) > ring.begins + 0.5 / ring.slope
    })
}

/// A pair of polarisers turned until its cross is a tenth of a stop deep.
fn with_a_cross(seed: u64) -> (f64, CrossState) {
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
    (depth(axes), e.record.dark_cross.state)
}
