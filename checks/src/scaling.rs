//! How the cost of `lightloss measure` grows with the number of frames and with their pixels.
//!
//!     scaling [--short] [--keep]
//!
//! Goes to 500 frames, to 5,000 small ones, and to 100 megapixels a frame; `--short` goes to 384
//! frames, 1,500 small ones and 36 megapixels. Cost is the processor time of the program and its workers, which other work on the
//! machine changes little. Fails where the largest shoot costs clearly more than the line through
//! the smaller half of the shoots says. `--keep` writes reports/speed/scaling.txt and scaling.svg.

mod curve;

use crate::machine::machine;
use crate::program::Program;
use crate::{Verdict, frames, kept, program};
use curve::Curve;
use lightloss::write::dng::Compression;
use std::path::Path;

/// The largest shoot may cost so many times what the smaller half's line says: room for a busy
/// machine, and below what any cost with half of it growing as the square would be at.
const LINEAR: f64 = 1.35;
/// The largest shoot must cost so many times the smallest: a flat curve would tell nothing.
const TELLING: f64 = 2.0;
/// Runs of each shoot; the cheapest counts.
const RUNS: usize = 3;

/// Pixels of the frames that are counted.
const SMALL: (usize, usize) = (1_536, 1_024);
const COUNTS: [usize; 7] = [20, 60, 120, 180, 250, 375, 500];
const FEW_COUNTS: [usize; 5] = [48, 96, 144, 192, 384];
/// Frames so small that what is done with each, and not its pixels, is what costs.
const SMALLEST: (usize, usize) = (288, 192);
const MANY_COUNTS: [usize; 4] = [250, 500, 750, 5_000];
const FEWER_COUNTS: [usize; 4] = [125, 250, 375, 1_500];
/// So many of them may cost so many times their line, and take so much memory, megabytes.
const MANY_LINEAR: f64 = 1.3;
const MANY_MEGABYTES: f64 = 1024.0;

/// Frames of the shoots whose pixels grow.
const FRAMES: usize = 8;
const SIZES: [(usize, usize); 6] = [
    (2_448, 1_632),
    (4_248, 2_832),
    (6_000, 4_000),
    (7_344, 4_896),
    (9_504, 6_336),
    (12_288, 8_192),
];
/// From six megapixels on: smaller frames stay in the cache, and their cost is few ticks of the
/// system's clock.
const FEW_SIZES: [(usize, usize); 5] =
    [(3_000, 2_000), (3_600, 2_400), (4_248, 2_832), (6_000, 4_000), (7_344, 4_896)];

/// Cost of one shoot, which is removed again, and most megabytes of one more run where asked for.
fn cost(program: &Program, room: &Path, frames: usize, size: (usize, usize)) -> f64 {
    cost_and_memory(program, room, frames, size, false).0
}

fn cost_and_memory(
    program: &Program,
    room: &Path,
    frames: usize,
    size: (usize, usize),
    memory: bool,
) -> (f64, Option<f64>) {
    let folder = room.join("shoot");
    frames::shoot(&folder, frames, size, Compression::None);
    let words = program::measure(&folder, &room.join("out"));
    let held = if memory { program::peak_megabytes(program, &words) } else { None };
    let least = (0..RUNS)
        .map(|_| program::run(program, &words))
        .map(|cost| cost.cpu.unwrap_or(cost.wall))
        .fold(f64::INFINITY, f64::min);
    std::fs::remove_dir_all(&folder).expect("our own folder");
    (least, held)
}

/// The curve of many small frames, and the memory that the largest shoot took.
fn many(program: &Program, room: &Path, counts: &[usize]) -> (Curve, Option<f64>) {
    let mut held = None;
    let points = counts.iter().map(|&n| {
        let (seconds, memory) =
            cost_and_memory(program, room, n, SMALLEST, Some(&n) == counts.last());
        held = memory.or(held);
        (n as f64, seconds)
    });
    let points = points.collect();
    (Curve { what: "small frames", points }, held)
}

#[derive(clap::Args)]
pub struct Options {
    /// To 384 frames, 1,500 small ones and 36 megapixels
    #[arg(long)]
    short: bool,
    /// Write reports/speed/scaling.txt and scaling.svg
    #[arg(long)]
    keep: bool,
}

pub fn check(&Options { short, keep }: &Options, program: &Program) -> Verdict {
    let (counts, sizes) =
        if short { (&FEW_COUNTS[..], &FEW_SIZES[..]) } else { (&COUNTS[..], &SIZES[..]) };
    let small = if short { (768, 512) } else { SMALL };
    let temporary = tempfile::tempdir().expect("a temporary folder");
    let room = temporary.path();
    let megapixels = |(width, height): (usize, usize)| (width * height) as f64 / 1e6;
    let by_frames = Curve {
        what: "frames",
        points: counts.iter().map(|&n| (n as f64, cost(program, room, n, small))).collect(),
    };
    let (by_many, held) =
        many(program, room, if short { &FEWER_COUNTS[..] } else { &MANY_COUNTS[..] });
    let by_pixels = Curve {
        what: "megapixels",
        points: sizes.iter().map(|&s| (megapixels(s), cost(program, room, FRAMES, s))).collect(),
    };
    let machine = machine();
    let text = format!(
        "Processor seconds of lightloss measure with its workers, cheapest of {RUNS} runs; uncompressed DNG.\n\
         {machine}\n\n\
         Frames of {:.1} megapixels:\n{}\nFrames of {} x {} pixels, {:.0} MB in the largest shoot:\n{}\n\
         Shoots of {FRAMES} frames, megapixels of each:\n{}",
        megapixels(small),
        by_frames.table(),
        SMALLEST.0,
        SMALLEST.1,
        held.unwrap_or(f64::NAN),
        by_many.table(),
        by_pixels.table()
    );
    println!("{text}");
    if keep {
        kept::keep("speed/scaling.txt", &text);
        curve::draw(
            &[&by_frames, &by_many, &by_pixels],
            &machine,
            &kept::report("speed/scaling.svg"),
        )
        .expect("room for the plot");
    }
    if held.is_some_and(|held| held > MANY_MEGABYTES) {
        return Err(format!("the most small frames took {held:?} MB, at most {MANY_MEGABYTES}"));
    }
    for (curve, most) in [(&by_frames, LINEAR), (&by_many, MANY_LINEAR), (&by_pixels, LINEAR)] {
        // The check itself: the same sizes with half of the largest cost growing as their square.
        let largest = curve.points[curve.points.len() - 1].0;
        let bent = |x: f64| x / largest + (x / largest).powi(2);
        let points = curve.points.iter().map(|&(x, _)| (x, bent(x))).collect();
        assert!(Curve { what: curve.what, points }.growth() > most, "a bent curve is not seen");
        let (first, last) = (curve.points[0].1, curve.points[curve.points.len() - 1].1);
        if last <= TELLING * first {
            return Err(format!("{}: {first} s to {last} s tells nothing", curve.what));
        }
        let growth = curve.growth();
        if growth > most {
            return Err(format!("{}: {growth:.2} times the line, at most {most}", curve.what));
        }
    }
    Ok(())
}
