//! What is drawn in one run of a check, and what is told of it.

use crate::kept::keep;
use std::fmt;
use std::ops::Range;
use std::time::{SystemTime, UNIX_EPOCH};

/// How a check draws its cases.
#[derive(clap::Args)]
pub struct Drawn {
    /// What is drawn; without it another each time
    #[arg(long)]
    seed: Option<u64>,
    /// This one alone, whatever the count: told whole, and its files left behind
    #[arg(long)]
    only: Option<usize>,
    /// Write the table into reports/
    #[arg(long, conflicts_with = "only")]
    keep: bool,
}

/// What is drawn in one run.
#[derive(Clone, Copy)]
pub struct Draw {
    pub seed: u64,
    only: Option<usize>,
    count: usize,
    /// How the check calls its count.
    flag: &'static str,
}

impl Drawn {
    pub fn draw(&self, count: usize, flag: &'static str) -> Draw {
        let now =
            || SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_secs());
        Draw { seed: self.seed.unwrap_or_else(now), only: self.only, count, flag }
    }
    /// Prints a table, and writes it where that was asked for.
    pub fn told(&self, name: &str, text: &str) {
        println!("{text}");
        if self.keep {
            keep(name, &format!("{text}\n"));
        }
    }
}

impl Draw {
    pub fn numbers(&self) -> Range<usize> {
        self.only.map_or(0..self.count, |only| only..only + 1)
    }
    pub fn is_one(&self) -> bool {
        self.only.is_some()
    }
    /// How many may be wrong where one in so many may be: of one that is asked for by itself, none.
    pub fn most(&self, one_in: usize) -> usize {
        if self.is_one() { 0 } else { (self.count / one_in).max(1) }
    }
}

/// The words that draw the same again.
impl fmt::Display for Draw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.only {
            Some(only) => write!(f, "--only {only} --seed {}", self.seed),
            None => write!(f, "--{} {} --seed {}", self.flag, self.count, self.seed),
        }
    }
}
