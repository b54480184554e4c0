//! How long an album takes with a bag of many filters, and a word on it afterwards; and whether what is
//! found is true.
//!
//! A dozen filters, of which two have rings of seven marks, one is graduated and one a polariser, make
//! some 250 states with their stacks; photographs come from evenings of this world, a day apart.

use super::kit::{self, Glass};
use super::score::{Count, score};
use super::shooting::{Shot, shoot};
use super::sky::Weather;
use super::{Help, World, outright, told_of};
use crate::Verdict;
use crate::judgement::targets::{Bound, Target};
use crate::machine::machine;
use lightloss::editing::which::{Album, Finding, Told, Used};
use lightloss::profile::Profile;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::fmt::Write;
use std::time::Instant;

/// Albums by their photographs, and the seconds that each may take.
const ALBUMS: [(usize, f64); 2] = [(60, 3.0), (300, 15.0)];
/// Seconds that a word may take.
const WORD: f64 = 1.0;
/// What must hold of an album's photographs, as shares of them. A dozen filters, some of them a stop apart,
/// are harder to tell than four, and albums scatter: of four of 60 photographs 37 to 90 % were right, none to
/// 3 % wrong and none of those sure. The bounds are far enough from that to tell a fault from chance.
const RIGHT: f64 = 0.25;
const WRONG: f64 = 0.08;
const WRONG_AND_SURE: f64 = 0.015;

/// Which albums.
#[derive(clap::Args, Debug)]
pub struct Options {
    /// Seed; drawn anew where it is not given
    #[arg(long)]
    seed: Option<u64>,
    /// Only the album of so many photographs
    #[arg(long)]
    photographs: Option<usize>,
}

/// Runs the check.
///
/// # Errors
/// In words what takes too long, or is not true.
pub fn check(options: &Options) -> Verdict {
    let seed = options.seed.unwrap_or_else(|| rand::random::<u32>().into());
    let mut text =
        format!("Albums through a bag of a dozen filters: --seed {seed}\n{}\n", machine());
    let mut faults = Vec::new();
    for (count, most) in ALBUMS {
        if options.photographs.is_some_and(|only| only != count) {
            continue;
        }
        let (shots, kit) = album(seed, count);
        let pictures = shots.iter().map(|s| s.picture.clone()).collect();
        let start = Instant::now();
        let album = Album::new(pictures, kit);
        let placed = start.elapsed().as_secs_f64();
        let found = album.find(&[], false);
        let took = start.elapsed().as_secs_f64();
        if took > most {
            faults.push(format!("{count} photographs take {took:.1} s, {most} s at most"));
        }
        let _ = writeln!(
            text,
            "{count} photographs: {took:.2} s ({placed:.2} s of it before any judgement)"
        );
        let mut targets = truth(&format!("{count} photographs"), &shots, &found);
        let mut told = vec![Told::Nothing; count];
        for at in [count / 3, count / 2, count / 5] {
            told[at] = word(&shots[at]);
            let start = Instant::now();
            let found = album.find(&told, false);
            let took = start.elapsed().as_secs_f64();
            let _ = writeln!(text, "a word on photograph {at} of them: {took:.2} s");
            if took > WORD {
                faults.push(format!(
                    "a word on {count} photographs takes {took:.1} s, {WORD} s at most"
                ));
            }
            targets.extend(truth(&format!("{count} photographs, {at} told"), &shots, &found));
        }
        for target in targets {
            let fails = outright(&target);
            text += &told_of(&target, fails);
            faults.extend(fails.then(|| format!("{} does not hold", target.what)));
        }
    }
    print!("{text}");
    if faults.is_empty() { Ok(()) } else { Err(faults.join("; ")) }
}

/// What must hold of findings beside what was planted.
fn truth(what: &str, shots: &[Shot], found: &[Finding]) -> Vec<Target> {
    let mut count = Count::default();
    shots.iter().zip(found).for_each(|(shot, finding)| score(shot, finding, &mut count));
    let target = |which: &str, seen, bound| {
        Target::new(format!("{what}: {which}"), seen, count.photographs(), bound)
    };
    vec![
        target("wrong and sure", count.sure_wrong, Bound::AtMost(WRONG_AND_SURE)),
        target("wrong", count.all_wrong(), Bound::AtMost(WRONG)),
        target("right", count.right, Bound::AtLeast(RIGHT)),
    ]
}

/// What was in front of the lens, as a person says it.
fn word(shot: &Shot) -> Told {
    let planted = shot.truth.iter().flatten();
    let used: Vec<Used> =
        planted.map(|(filter, mark)| Used { filter: *filter, mark: mark.clone() }).collect();
    if used.is_empty() { Told::Bare } else { Told::Through(used) }
}

/// So many photographs of evenings a day apart, and the profiles of the bag.
fn album(seed: u64, count: usize) -> (Vec<Shot>, Vec<Profile>) {
    let mut r = ChaCha8Rng::seed_from_u64(seed);
    let bag: Vec<Glass> = kit::dozen(&mut r);
    let profiles = bag.iter().map(|g| kit::profile(g, &mut r)).collect();
    let mut shots: Vec<Shot> = Vec::new();
    for day in 0.. {
        let weather = if r.random_bool(0.5) { Weather::Clouds } else { Weather::Dusk };
        let world = World { weather, harsh: false };
        for mut shot in shoot(&bag, world, Help::Nothing, &mut r) {
            let info = &mut shot.picture.info;
            info.file = format!("ALB_{:04}.dng", shots.len());
            let later = jiff::Span::new().days(day);
            info.capture.at = info.capture.at.and_then(|at| at.checked_add(later).ok());
            shots.push(shot);
            if shots.len() == count {
                return (shots, profiles);
            }
        }
    }
    (shots, profiles)
}
