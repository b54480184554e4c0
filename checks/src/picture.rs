//! What filters do to the picture, measured against what was planted: `picture --shoots 100`.
//!
//! Sharpness: shoots of five edges (MTF50 0.10 to 0.42 cycles per pixel, 3 to 10 degrees, four Bayer
//! phases and a mosaic of six by six, three frames bare and three through a filter that loses nothing,
//! 3 %, or anything up to 15 %), against the closed form of a Gaussian blur seen by square pixels.
//! Veil of 0.1 to 5 %, ghosts of 6 to 14 stops and none, and shoots in which more than the filter
//! changed; what five edges cost in time. Each run draws others unless `--seed N` says which.

mod edges;
mod frames;
mod ghosts;
mod time;
mod untrue;
mod veil;

use crate::Verdict;
use crate::kept::keep;
use crate::machine::machine;
use crate::program::Program;

#[derive(clap::Args)]
pub struct Options {
    /// Shoots of five edges
    #[arg(long, default_value_t = 200)]
    shoots: u64,
    /// Two minutes at most: fewer of everything
    #[arg(long)]
    short: bool,
    /// Only what five edges cost in time
    #[arg(long, conflicts_with = "short")]
    time: bool,
    /// Only so many honest and untrue shoots, each that is misjudged told
    #[arg(long, conflicts_with_all = ["short", "time", "keep", "ghosts"])]
    untrue: Option<u64>,
    /// Only so many lamps with a ghost, each outside its u95 told
    #[arg(long, conflicts_with_all = ["short", "time", "keep"])]
    ghosts: Option<u64>,
    /// Draws these; by the clock otherwise
    #[arg(long)]
    seed: Option<u64>,
    /// Write the table to reports/picture/picture.txt
    #[arg(long)]
    keep: bool,
}

/// One line of the table, and whether it holds.
pub struct Line {
    /// What was counted.
    pub what: String,
    /// What it came to.
    pub found: String,
    /// What is asked for.
    pub wanted: String,
    /// Whether it holds.
    pub holds: bool,
}

impl Line {
    fn new(what: &str, found: String, wanted: &str, holds: bool) -> Self {
        Self { what: what.to_owned(), found, wanted: wanted.to_owned(), holds }
    }
}

pub fn check(options: &Options, program: &Program) -> Verdict {
    let clock = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
    let seed = options.seed.unwrap_or_else(|| clock.map_or(0, |c| c.as_secs()));
    let (shoots, veils, ghosts, none, untrue) =
        if options.short { (24, 36, 20, 24, 3) } else { (options.shoots, 40, 40, 200, 60) };
    if options.time {
        let line = time::line(program);
        println!("{}: {} (at most {})", line.what, line.found, line.wanted);
        return if line.holds { Ok(()) } else { Err(line.what) };
    }
    if let Some(count) = options.ghosts {
        return told(
            &ghosts::lines(count, 0, seed),
            &format!("--ghosts {count} --seed {seed}"),
            None,
        );
    }
    if let Some(count) = options.untrue {
        return told(&untrue::lines(count, seed), &format!("--untrue {count} --seed {seed}"), None);
    }
    // First, before what follows warms the machine and fills its memory.
    let time = (!options.short).then(|| time::line(program));
    let mut lines = edges::lines(shoots, seed);
    lines.extend(veil::lines(veils, seed));
    lines.extend(ghosts::lines(ghosts, none, seed));
    lines.extend(untrue::lines(untrue, seed));
    lines.extend(time);
    let drawn = if options.short { "--short".to_owned() } else { format!("--shoots {shoots}") };
    told(&lines, &format!("{drawn} --seed {seed}"), options.keep.then_some("picture/picture.txt"))
}

/// Prints the table of what was drawn, and keeps it where that is asked for.
fn told(lines: &[Line], drawn: &str, kept: Option<&str>) -> Verdict {
    let mut text = format!(
        "Sharpness, veil and ghosts against what was planted: lightloss-checks picture {drawn}\n{}\n\n",
        machine()
    );
    text += &format!("{:<58}{:>26}  {}\n", "", "found", "wanted");
    for line in lines {
        let mark = if line.holds { "" } else { "   FAILS" };
        text += &format!("{:<58}{:>26}  {}{mark}\n", line.what, line.found, line.wanted);
    }
    println!("{text}");
    if let Some(name) = kept {
        keep(name, &text);
    }
    let failed: Vec<&str> = lines.iter().filter(|l| !l.holds).map(|l| l.what.as_str()).collect();
    if failed.is_empty() { Ok(()) } else { Err(failed.join("; ")) }
}
