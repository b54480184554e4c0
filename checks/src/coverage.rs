//! Does u95 hold what it says? `coverage --shoots 1000` (per class) counts how often the stated
//! interval holds planted truth, in four classes of simulated shoots in which every error is drawn
//! from the distribution that the budget claims, and in a mis-specified set that has no mark to
//! reach. `--keep` writes the table to reports/coverage/coverage.txt.
//!
//! Fails when a class is outside 93 to 97 % (from 1000 shoots a class), or all of them together
//! outside 90 to 99 % (fewer).

mod planted_shoots;
mod table;

use crate::Verdict;
use crate::kept::keep;
use crate::machine::machine;
use planted_shoots::{Class, Outcome, Plan, shoot};
use rayon::prelude::*;
use table::Table;

/// Share of shoots whose interval must hold the truth, per class.
const CLASS: (f64, f64) = (0.93, 0.97);
/// The same where there are too few shoots to tell the classes.
const OVERALL: (f64, f64) = (0.90, 0.99);
/// So many shoots tell a class: three standard errors of 95 % are then 2 %.
const TELLING: u64 = 1000;
/// Shoots that gave no number, at most.
const REFUSED: f64 = 0.01;
const SEED: u64 = 20_260_418;

#[derive(clap::Args)]
pub struct Options {
    /// Shoots of a class
    #[arg(long, default_value_t = TELLING)]
    shoots: u64,
    #[arg(long, default_value_t = SEED)]
    seed: u64,
    /// Write the table to reports/coverage/coverage.txt
    #[arg(long)]
    keep: bool,
}

pub fn check(&Options { shoots, seed, keep: kept }: &Options) -> Verdict {
    let mut table = Table::default();
    let mut all = Vec::new();
    let mut outside = Vec::new();
    for class in Class::MARKED {
        let outcomes = run(class, shoots, seed);
        table.class(class.name(), &outcomes);
        for part in class.parts() {
            let of: Vec<Outcome> =
                outcomes.iter().filter(|o| (part.holds)(&o.plan)).cloned().collect();
            table.part(part.name, &of);
        }
        if shoots >= TELLING {
            outside.extend(complaints(class.name(), &outcomes, CLASS));
        }
        all.extend(outcomes);
    }
    table.class("all four", &all);
    outside.extend(complaints("all four", &all, if shoots >= TELLING { CLASS } else { OVERALL }));
    table.heading("mis-specified, no mark to reach");
    for class in Class::MIS_SPECIFIED {
        table.class(class.name(), &run(class, shoots / 2, seed));
    }
    let text = format!(
        "Share of simulated shoots whose stated u95 holds planted truth.\n\
         {shoots} shoots a class, seed {seed}: lightloss-checks coverage --shoots {shoots}\n{}\n\n{table}",
        machine()
    );
    println!("{text}");
    if kept {
        keep("coverage/coverage.txt", &(text + "\n"));
    }
    if outside.is_empty() {
        Ok(())
    } else {
        Err(format!("outside the bounds:\n{}", outside.join("\n")))
    }
}

fn run(class: Class, shoots: u64, seed: u64) -> Vec<Outcome> {
    (0..shoots).into_par_iter().map(|i| shoot(&Plan::drawn(class, seed, i))).collect()
}

/// What is outside its bounds, in words.
fn complaints(name: &str, outcomes: &[Outcome], (low, high): (f64, f64)) -> Vec<String> {
    let mut found = Vec::new();
    let refused = outcomes.iter().filter(|o| o.results.is_none()).count();
    if refused as f64 > REFUSED * outcomes.len() as f64 {
        found.push(format!("{name}: {refused} of {} gave no number", outcomes.len()));
    }
    for (i, what) in table::QUANTITIES.iter().enumerate() {
        let share = table::coverage(outcomes, i);
        if !(low..=high).contains(&share) {
            found.push(format!("{name}, {what}: {:.1} %", 100.0 * share));
        }
    }
    found
}
