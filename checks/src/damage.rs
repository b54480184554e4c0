//! Shoots of which frames were damaged on the card: is the number right, or is the damage named?
//!
//! Each shoot is measured whole, and again with one to six of its frames damaged where their pixels
//! lie: erased flash, constants, zeros where black is zero, clusters of other content, rows that are
//! shifted, counts above white; plain numbers and lossless JPEG. Fails where the number is wrong and
//! no damaged frame is named with it, more often than once in three hundred shoots, and where a
//! frame of a whole shoot is refused or called damaged more often than that.

mod outcome;
mod shoots;
mod wounds;

use crate::Verdict;
use crate::campaign::watched::Fence;
use crate::kept::keep;
use crate::machine::machine;
use crate::program::Program;
use outcome::{Outcome, Table};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use shoots::Shoot;
use std::path::Path;
use std::time::{Instant, SystemTime, UNIX_EPOCH};

/// One shoot in so many may be wrong in silence, and one whole shoot in so many may see damage.
const ONE_IN: usize = 300;

#[derive(clap::Args)]
pub struct Options {
    /// Shoots
    #[arg(long, default_value_t = 300)]
    shoots: usize,
    /// What is drawn; without it another each time
    #[arg(long)]
    seed: Option<u64>,
    /// This shoot alone, with every frame
    #[arg(long)]
    only: Option<usize>,
    /// Write the table to reports/campaign/damage.txt
    #[arg(long)]
    keep: bool,
}

pub fn check(options: &Options, program: &Program) -> Verdict {
    let began = Instant::now();
    let seed = options.seed.unwrap_or_else(|| {
        SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_secs())
    });
    let fence = Fence::new(program.path());
    let mut table = Table::default();
    let numbers = options.only.map_or(0..options.shoots, |only| only..only + 1);
    for number in numbers {
        let mut random = ChaCha8Rng::seed_from_u64(seed ^ (number as u64) << 32);
        let shoot = shoots::drawn(&mut random);
        let folder = fence.fresh("work/card");
        shoot.write(&folder);
        let whole = Outcome::of(&fence, &shoot);
        let wounds = wounds::inflict(&folder, &shoot, &mut random);
        let after = Outcome::of(&fence, &shoot);
        if options.only.is_some() {
            print_one(&shoot, &wounds, &whole, &after, &folder);
        }
        table.add(number, &shoot, &wounds, &whole, &after);
    }
    let text = format!(
        "{} shoots, seed {seed}: lightloss-checks damage --shoots {} --seed {seed}\n{}\n\n{table}\n{} s",
        table.shoots,
        options.shoots,
        machine(),
        began.elapsed().as_secs()
    );
    println!("{text}");
    if options.keep {
        keep("campaign/damage.txt", &(text + "\n"));
    }
    table.verdict(ONE_IN)
}

fn print_one(shoot: &Shoot, wounds: &[wounds::Wound], whole: &Outcome, after: &Outcome, at: &Path) {
    println!("{}", shoot.what);
    for wound in wounds {
        println!("  {}: {}", wound.file, wound.what);
    }
    println!("whole: {whole:?}\nafter: {after:?}");
    let kept = std::env::temp_dir().join("lightloss-damage");
    if std::fs::remove_dir_all(&kept).is_ok() || !kept.exists() {
        std::fs::create_dir_all(&kept).unwrap();
        for entry in std::fs::read_dir(at).unwrap().flatten() {
            std::fs::copy(entry.path(), kept.join(entry.file_name())).unwrap();
        }
        println!("the files: {}", kept.display());
    }
}
