//! How long an album takes with a bag of many filters, and a word on it afterwards.
//!
//! A dozen filters, of which two have rings of seven marks, one is graduated and one a polariser, make
//! some 250 states with their stacks; photographs come from evenings of this world, a day apart.

use super::kit::{self, Glass};
use super::shooting::{Shot, shoot};
use super::sky::Weather;
use super::{Help, World};
use crate::Verdict;
use crate::machine::machine;
use lightloss::editing::which::{Album, Picture, Told};
use lightloss::profile::Profile;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::fmt::Write;
use std::time::Instant;

/// Albums by their photographs, and the seconds that each may take.
const ALBUMS: [(usize, f64); 2] = [(60, 3.0), (300, 15.0)];
/// Seconds that a word may take.
const WORD: f64 = 1.0;

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
/// In words what takes too long.
pub fn check(options: &Options) -> Verdict {
    let seed = options.seed.unwrap_or_else(|| rand::random::<u32>().into());
    let mut text =
        format!("Albums through a bag of a dozen filters: --seed {seed}\n{}\n", machine());
    let mut late = Vec::new();
    for (count, most) in ALBUMS {
        if options.photographs.is_some_and(|only| only != count) {
            continue;
        }
        let (shots, kit) = album(seed, count);
        let pictures: Vec<Picture> = shots.into_iter().map(|s| s.picture).collect();
        let start = Instant::now();
        let album = Album::new(pictures, kit);
        let placed = start.elapsed().as_secs_f64();
        let found = album.find(&[], false);
        let took = start.elapsed().as_secs_f64();
        let mut told = vec![Told::Nothing; count];
        let mut words = Vec::new();
        for at in [count / 3, count / 2, count / 5] {
            told[at] = Told::Bare;
            let start = Instant::now();
            let _ = album.find(&told, false);
            let took = start.elapsed().as_secs_f64();
            words.push(format!("{took:.2} s"));
            if took > WORD {
                late.push(format!(
                    "a word on {count} photographs takes {took:.1} s, {WORD} s at most"
                ));
            }
        }
        let known = found.iter().filter(|f| f.probability > 0.9).count();
        let _ = writeln!(
            text,
            "{count} photographs: {took:.2} s ({placed:.2} s of it before any judgement), {known} known; words on it: {}",
            words.join(", ")
        );
        if took > most {
            late.push(format!("{count} photographs take {took:.1} s, {most} s at most"));
        }
    }
    print!("{text}");
    if late.is_empty() { Ok(()) } else { Err(late.join("; ")) }
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
