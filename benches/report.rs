//! The page of an eight-mark variable filter from its profile: target 300 ms and 1.5 MB.
//!
//! `cargo bench -p lightloss-benches --bench report`; the last line is the time and size against their targets.

use criterion::Criterion;
use lightloss::profile::json::Document;
use lightloss::report::page;
use std::hint::black_box;
use std::io::Write;
use std::path::Path;
use std::time::{Duration, Instant};

const TARGET: Duration = Duration::from_millis(300);
const TARGET_BYTES: usize = 1_500_000;
/// Runs behind the printed time.
const RUNS: u32 = 20;

fn main() {
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/profiles/tide-ring/profile.json");
    let text = std::fs::read_to_string(path).expect("the fixture");
    let write = || {
        let document = Document::parse(black_box(&text)).expect("a profile");
        page(&document.profile).expect("a page")
    };
    let mut criterion = Criterion::default().configure_from_args();
    criterion
        .bench_function("report: parse a profile of eight marks, make its page", |b| b.iter(write));
    criterion.final_summary();
    let began = Instant::now();
    let mut bytes = 0;
    for _ in 0..RUNS {
        bytes = write().html.len();
    }
    let each = began.elapsed() / RUNS;
    let mut out = std::io::stdout();
    writeln!(
        out,
        "eight marks: {:.1} ms of {} ms, {} bytes of {TARGET_BYTES}",
        each.as_secs_f64() * 1e3,
        TARGET.as_millis(),
        bytes
    )
    .expect("standard output");
}
