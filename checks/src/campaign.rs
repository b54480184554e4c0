//! Hostile and broken files, by the thousand: `campaign --files 20000`.
//!
//! Seeded damage (cuts at every boundary, flipped bits, absurd numbers, swapped tags, directories
//! in loops, spliced parts, zeros) to files of every kind; the built program is run on folders of
//! them, and on single ones where a folder would hide a fault. Fails on panic text, an undocumented
//! exit status, death by a signal, a file that takes longer than 20 s, more than 1 GB of parent and
//! workers together, a file without all its pixels taken as read, a frame that is not listed, or
//! anything written outside the output folder. `--seed N` changes what is drawn; `--keep` writes
//! the counts to reports/campaign/campaign.txt, and the files at fault beside it.

mod anatomy;
mod counts;
mod documents;
mod folders;
mod mutations;
mod seeds;
mod texts;
pub mod watched;

use crate::Verdict;
use crate::kept::keep;
use crate::machine::machine;
use crate::program::Program;
use counts::Counts;
use std::time::Instant;
use watched::Fence;

const SEED: u64 = 20_310_517;
/// Of a hundred files so many are documents: profiles, shoot.json, used.csv.
const DOCUMENTS_PERCENT: usize = 25;

#[derive(clap::Args)]
pub struct Options {
    /// Damaged files
    #[arg(long, default_value_t = 2000)]
    files: usize,
    #[arg(long, default_value_t = SEED)]
    seed: u64,
    /// Write the counts to reports/campaign/campaign.txt
    #[arg(long)]
    keep: bool,
}

pub fn check(&Options { files, seed, keep: kept }: &Options, program: &Program) -> Verdict {
    let began = Instant::now();
    let fence = Fence::new(program.path());
    let mut counts = Counts::default();
    let documents = files * DOCUMENTS_PERCENT / 100;
    texts::campaign(&fence, documents, seed, &mut counts);
    folders::campaign(&fence, files - documents, seed, &mut counts);
    let text = format!(
        "{files} damaged files, seed {seed}: lightloss-checks campaign --files {files}\n{}\n\n\
         {counts}\n\n{} s",
        machine(),
        began.elapsed().as_secs()
    );
    println!("{text}");
    if kept {
        keep("campaign/campaign.txt", &(text + "\n"));
    }
    if counts.faults.is_empty() {
        return Ok(());
    }
    Err(format!("{} faults:\n{}", counts.faults.len(), counts.fault_text()))
}
