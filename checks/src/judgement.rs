//! Is the judgement as good as the measurement? `judgement --shoots 500` makes shoots with a camera,
//! lens, wall, light, shutter and filters of its own, which share nothing with `lightloss::simulate`
//! nor with what measuring believes, and counts per class how often the kind is right, nothing is
//! measured, u95 holds the truth where no caution of grade `number` speaks, how often one speaks, what
//! is wrong without a word, and which spoilt frames are named.
//!
//! The seed is drawn anew unless given, and printed. A target fails where a count is worse than
//! chance makes of a share at its bound. `--class NAME` makes classes of that name only, `--only N`
//! one shoot of them, told frame by frame. `--keep` writes the table to reports/judgement/judgement.txt.

mod assess;
mod body;
mod camera;
mod classes;
mod colour;
mod dice;
mod faults;
mod filter;
mod habits;
pub mod histories;
mod kinds;
mod leaks;
mod light;
mod optics;
mod person;
mod planned;
mod rings;
mod scene;
mod several;
mod shutter;
mod solid;
mod table;
pub mod targets;
mod tint;
mod ways;

use crate::Verdict;
use crate::kept::keep;
use crate::machine::machine;
use assess::Outcome;
use classes::Class;
use dice::Dice;
use rayon::prelude::*;
use table::Counts;
use targets::Target;

/// So many of the worst shoots of a class are listed.
const WORST: usize = 4;

#[derive(clap::Args)]
pub struct Options {
    /// Classes whose name holds this
    #[arg(long)]
    class: Option<String>,
    /// Shoots of each large class; smaller classes shrink with it
    #[arg(long, default_value_t = 500)]
    shoots: u64,
    /// Drawn anew where not given
    #[arg(long)]
    seed: Option<u64>,
    /// This one shoot of the class
    #[arg(long)]
    only: Option<u64>,
    /// Tell every spoilt frame that was used without a word
    #[arg(long)]
    unnamed: bool,
    /// List every shoot that is wrong in silence
    #[arg(long)]
    tell: bool,
    /// Hold only what a short run can tell
    #[arg(long)]
    short: bool,
    /// Write the table to reports/judgement/judgement.txt
    #[arg(long)]
    keep: bool,
}

pub fn check(options: &Options) -> Verdict {
    let seed = options.seed.unwrap_or_else(|| rand::random::<u32>().into());
    let mut text = format!(
        "Judgement of shoots from a world of their own: judgement --shoots {} --seed {seed}\n{}\n\n{}",
        options.shoots,
        machine(),
        table::head()
    );
    print!("{text}");
    let mut targets: Vec<Target> = Vec::new();
    for class in classes::all() {
        let wanted = options.class.as_ref().is_none_or(|name| class.name.contains(name.as_str()));
        let targets_of = if options.short { class.short } else { Some(class.targets) };
        let Some(targets_of) = targets_of.filter(|_| wanted) else { continue };
        let outcomes = run(&class, options, seed);
        let worst = if options.tell { usize::MAX } else { WORST };
        let mut lines = lines(&class, &outcomes, worst);
        if options.unnamed {
            lines += &table::unnamed(&outcomes);
        }
        print!("{lines}");
        text += &lines;
        targets.extend(targets_of(&class.name, &outcomes));
    }
    let verdicts: Vec<String> = targets.iter().map(Target::to_string).collect();
    let end = format!("\n{}\n", verdicts.join("\n"));
    print!("{end}");
    text += &end;
    if options.keep {
        keep("judgement/judgement.txt", &text);
    }
    let failed = targets.iter().filter(|t| t.fails()).count();
    if failed == 0 { Ok(()) } else { Err(format!("{failed} of {} targets fail", targets.len())) }
}

/// Makes and judges the shoots of a class.
fn run(class: &Class, options: &Options, seed: u64) -> Vec<Outcome> {
    let shoots = (class.share * options.shoots as f64).ceil().max(1.0) as u64;
    let which = options.only.map_or(0..shoots, |only| only..only + 1);
    // A class draws the same whatever classes stand beside it.
    let name: Vec<u64> = class.name.bytes().map(u64::from).collect();
    let one = |k: u64| {
        let mut dice = Dice::of(&[&[seed, k], name.as_slice()].concat());
        let mut outcome = (class.shoot)(&mut dice, k);
        outcome.seed = k;
        // Its maps are large.
        outcome.profile = None;
        if options.only.is_none() {
            outcome.frames.clear();
        }
        outcome
    };
    which.into_par_iter().map(one).collect()
}

fn lines(class: &Class, outcomes: &[Outcome], worst: usize) -> String {
    let mut lines = Counts::of(outcomes).row(&class.name);
    lines += &table::cautions(outcomes);
    lines += &table::refusals(outcomes);
    lines += &table::worst(outcomes, worst);
    lines += &table::by_sort(outcomes);
    lines +=
        &outcomes.iter().flat_map(|o| &o.frames).map(|f| format!("    {f}\n")).collect::<String>();
    for (question, yes, of) in kinds::answers(outcomes) {
        lines += &format!("    {question}: {yes} of {of}\n");
    }
    lines
}
