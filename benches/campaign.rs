//! Hostile and broken files, by the thousand: `cargo bench --bench campaign -- --files 20000`.
//!
//! Seeded damage (cuts at every boundary, flipped bits, absurd numbers, swapped tags, directories
//! in loops, spliced parts, zeros) to files of every kind; the built program is run on folders of
//! them, and on single ones where a folder would hide a fault. Fails on panic text, an undocumented
//! exit status, death by a signal, a file that takes longer than 20 s, more than 1 GB of parent and
//! workers together, a file without all its pixels taken as read, a frame that is not listed, or
//! anything written outside the output folder. `--seed N` changes what is drawn; `--keep` writes
//! the counts to reports/campaign/campaign.txt, and the files at fault beside it.

#![allow(clippy::print_stdout, clippy::unwrap_used, missing_docs)]

#[path = "support/arguments.rs"]
mod arguments;
#[path = "support/campaign/anatomy.rs"]
mod anatomy;
#[path = "support/campaign/counts.rs"]
mod counts;
#[path = "support/campaign/documents.rs"]
mod documents;
#[path = "support/campaign/folders.rs"]
mod folders;
#[path = "support/machine.rs"]
mod machine;
#[path = "support/campaign/mutations.rs"]
mod mutations;
#[path = "support/campaign/raw_seeds.rs"]
mod raw_seeds;
#[path = "support/campaign/seeds.rs"]
mod seeds;
#[path = "../tests/it/small_dng.rs"]
#[allow(dead_code)]
mod small_dng;
#[path = "../tests/it/support/small_session.rs"]
mod small_session;
#[path = "support/campaign/texts.rs"]
mod texts;
#[path = "support/campaign/watched.rs"]
mod watched;

use arguments::number;
use counts::Counts;
use std::time::Instant;
use watched::Fence;

const SEED: u64 = 20_310_517;
/// Of a hundred files so many are documents: profiles, shoot.json, used.csv.
const DOCUMENTS_PERCENT: usize = 25;

fn main() {
    let (files, seed) = (number("--files", 2000) as usize, number("--seed", SEED));
    let began = Instant::now();
    let fence = Fence::new(env!("CARGO_BIN_EXE_lightloss").as_ref());
    let mut counts = Counts::default();
    let documents = files * DOCUMENTS_PERCENT / 100;
    texts::campaign(&fence, documents, seed, &mut counts);
    folders::campaign(&fence, files - documents, seed, &mut counts);
    let text = format!(
        "{files} damaged files, seed {seed}: cargo bench --bench campaign -- --files {files}\n{}\n\n\
         {counts}\n\n{} s",
        machine::machine(),
        began.elapsed().as_secs()
    );
    println!("{text}");
    if std::env::args().any(|a| a == "--keep") {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/reports/campaign");
        std::fs::create_dir_all(folder).unwrap();
        std::fs::write(format!("{folder}/campaign.txt"), text + "\n").unwrap();
    }
    assert!(counts.faults.is_empty(), "{} faults:\n{}", counts.faults.len(), counts.fault_text());
}
