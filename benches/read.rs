//! Reading and reducing a DNG of 24 megapixels, beside the least that any reader must do: the
//! file's bytes once, and one pass over the pixels. The hash of the file stands by itself.
//!
//! `cargo bench -p lightloss-benches --bench read`; the last lines are the ratios to the floor.

use criterion::Criterion;
use lightloss::frame::BlackPattern;
use lightloss::frame::cfa::Cfa;
use lightloss::read::{ReadOptions, read_frame};
use lightloss::reduce::reduce;
use lightloss::write::dng::{Compression, DngFile, Pattern};
use mosaic::{HEIGHT, WIDTH, four_sums, least, wall};
use sha2::{Digest, Sha256};
use std::hint::black_box;
use std::io::Write;
use std::path::Path;
use std::time::Duration;

/// Runs behind a printed ratio.
const RUNS: usize = 12;

fn dng(data: &[u16], compression: Compression) -> Vec<u8> {
    let cfa = Cfa::from_letters("RGGB").expect("a known pattern");
    let mut file = DngFile::new(WIDTH, HEIGHT, data.to_vec(), Pattern::Mosaic(cfa));
    file.compression = compression;
    file.black = Some(BlackPattern::uniform(512.0));
    file.white = Some(15_000);
    file.make = Some("Bench".to_owned());
    file.model = Some("Wall".to_owned());
    file.encode().expect("sizes agree")
}

fn read_and_reduce(path: &Path) -> u32 {
    let frame = read_frame(path, "bench", ReadOptions::default()).expect("our own file is read");
    reduce(&frame).cells.planes[0].sum[0]
}

fn main() {
    let data = wall(None);
    let folder = tempfile::tempdir().expect("a temporary folder");
    let files =
        [("uncompressed", Compression::None), ("lossless JPEG, tiled", Compression::LosslessJpeg)]
            .map(|(name, compression)| {
                let path = folder.path().join(format!("{}.dng", &name[..4]));
                std::fs::write(&path, dng(&data, compression)).expect("room for a file");
                (name, path)
            });

    let mut criterion = Criterion::default()
        .warm_up_time(Duration::from_millis(500))
        .measurement_time(Duration::from_secs(3))
        .sample_size(10)
        .configure_from_args();
    for (name, path) in &files {
        criterion.bench_function(name, |b| b.iter(|| read_and_reduce(path)));
    }
    criterion.final_summary();
    if std::env::args().any(|a| a == "--profile-time") {
        return;
    }

    let mut out = std::io::stdout().lock();
    for (name, path) in &files {
        let read = || std::fs::read(path).expect("the file is there");
        let floor = least(RUNS, read) + least(RUNS, || four_sums(black_box(&data)));
        let bytes = read();
        let mut line = |what: &str, ms: f64| {
            // A closed pipe is no reason to fail a bench.
            writeln!(out, "{name:22} {what:26} {ms:8.1} ms {:6.2} x floor", ms / floor).ok();
        };
        line("floor: bytes + one pass", floor);
        line("read + reduce, hash in it", least(RUNS, || read_and_reduce(path)));
        line("the hash by itself", least(RUNS, || Sha256::digest(black_box(&bytes))));
    }
}
