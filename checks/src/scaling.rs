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
use std::ffi::OsString;
use std::path::Path;

/// The largest shoot may cost so many times what the smaller half's line says: room for a busy
/// machine, and below what any cost with half of it growing as the square would be at.
const LINEAR: f64 = 1.35;
/// The largest shoot must cost so many times the smallest: a flat curve would tell nothing.
const TELLING: f64 = 2.0;
/// Runs of each shoot; the cheapest counts. They go in turns, so that a busy spell of the machine
/// falls on all sizes.
const RUNS: usize = 3;
/// Where a curve still bends, its shoots run again, up to so many times: a spell may outlast three
/// turns, a cost that grows as the square stays.
const MOST_RUNS: usize = 12;

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

/// Shoots of one curve, rendered, and the cheapest run of each so far.
struct Shoots {
    curve: Curve,
    /// The command line of each point of the curve.
    words: Vec<Vec<OsString>>,
    /// The most times that the largest may cost what the line says.
    most: f64,
}

impl Shoots {
    /// Renders a shoot of so many frames of such a size for each point.
    fn rendered(
        room: &Path,
        what: &'static str,
        most: f64,
        shoots: &[(f64, usize, (usize, usize))],
    ) -> Self {
        let words = shoots.iter().enumerate().map(|(i, &(_, count, size))| {
            let folder = room.join(format!("{what} {i}"));
            frames::shoot(&folder, count, size, Compression::None);
            program::measure(&folder, &room.join("out"))
        });
        let words = words.collect();
        let points = shoots.iter().map(|&(x, ..)| (x, f64::INFINITY)).collect();
        Self { curve: Curve { what, points }, words, most }
    }

    /// One more run of each.
    fn turn(&mut self, program: &Program) {
        for (point, words) in self.curve.points.iter_mut().zip(&self.words) {
            let cost = program::run(program, words);
            point.1 = point.1.min(cost.cpu.unwrap_or(cost.wall));
        }
    }

    /// Runs all in turns, more often while the curve bends.
    fn cheapest(mut self, program: &Program) -> Curve {
        for turn in 0..MOST_RUNS {
            if turn >= RUNS && self.curve.growth() <= self.most {
                break;
            }
            self.turn(program);
        }
        self.curve
    }
}

/// What every curve must hold, and what would be wrong with this one.
fn verdict(curve: &Curve, most: f64) -> Verdict {
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
    Ok(())
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
    let of_size = |counts: &[usize], size| -> Vec<_> {
        counts.iter().map(|&count| (count as f64, count, size)).collect()
    };
    let by_frames = Shoots::rendered(room, "frames", LINEAR, &of_size(counts, small));
    let by_frames = by_frames.cheapest(program);
    let many = of_size(if short { &FEWER_COUNTS } else { &MANY_COUNTS }, SMALLEST);
    let many = Shoots::rendered(room, "small frames", MANY_LINEAR, &many);
    let held = many.words.last().and_then(|words| program::peak_megabytes(program, words));
    let by_many = many.cheapest(program);
    let of_pixels: Vec<_> = sizes.iter().map(|&size| (megapixels(size), FRAMES, size)).collect();
    let by_pixels = Shoots::rendered(room, "megapixels", LINEAR, &of_pixels).cheapest(program);
    let machine = machine();
    let text = format!(
        "Processor seconds of lightloss measure with its workers, cheapest of at least {RUNS} runs in turns; uncompressed DNG.\n\
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
        verdict(curve, most)?;
    }
    Ok(())
}
