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
use crate::drawn::Drawn;
use crate::kept::leave;
use crate::machine::machine;
use crate::program::Program;
use outcome::{Outcome, Table};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use shoots::Shoot;
use std::path::Path;
use std::time::Instant;

/// One shoot in so many may be wrong in silence, and one whole shoot in so many may see damage.
const ONE_IN: usize = 300;

#[derive(clap::Args)]
pub struct Options {
    /// Shoots
    #[arg(long, default_value_t = 300)]
    shoots: usize,
    #[command(flatten)]
    drawn: Drawn,
}

pub fn check(options: &Options, program: &Program) -> Verdict {
    let began = Instant::now();
    let draw = options.drawn.draw(options.shoots, "shoots");
    let fence = Fence::new(program.path());
    let mut table = Table::default();
    for number in draw.numbers() {
        let mut random = ChaCha8Rng::seed_from_u64(draw.seed ^ (number as u64) << 32);
        let shoot = shoots::drawn(&mut random);
        let folder = fence.fresh("work/card");
        shoot.write(&folder);
        let whole = Outcome::of(&fence, &shoot);
        let wounds = wounds::inflict(&folder, &shoot, &mut random);
        let after = Outcome::of(&fence, &shoot);
        if draw.is_one() {
            print_one(&shoot, &wounds, &whole, &after, &folder);
        }
        table.add(number, &shoot, &wounds, &whole, &after);
    }
    let text = format!(
        "{} shoots, seed {}: lightloss-checks damage {draw}\n{}\n\n{table}\n{} s",
        table.shoots,
        draw.seed,
        machine(),
        began.elapsed().as_secs()
    );
    options.drawn.told("campaign/damage.txt", &text);
    table.verdict(draw.most(ONE_IN))
}

fn print_one(shoot: &Shoot, wounds: &[wounds::Wound], whole: &Outcome, after: &Outcome, at: &Path) {
    println!("{}", shoot.what);
    for wound in wounds {
        println!("  {}: {}", wound.file, wound.what);
    }
    println!("whole: {whole:?}\nafter: {after:?}");
    leave("damage", at);
}
