//! Reducing one mosaic of 24 megapixels on one core, beside the least that any pass must do.
//!
//! `cargo bench -p lightloss-benches --bench reduce`; the last lines are the ratios to the floor,
//! beside what they are meant to be. It fails where one is a quarter more, three times in a row.

use criterion::Criterion;
use lightloss::frame::cfa::Cfa;
use lightloss::frame::{
    Area, BlackPattern, Camera, Capture, Exposure, Frame, FrameInfo, Levels, Mosaic, Origin,
    Samples,
};
use lightloss::reduce::{reduce, reference};
use mosaic::{HEIGHT, WIDTH, four_sums, least, wall};
use std::hint::black_box;
use std::io::Write;
use std::time::Duration;

const BAYER: &str = "RGGB";
const XTRANS: &str = "GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG";
/// Runs behind a printed ratio.
const RUNS: usize = 40;
/// Times what a ratio is meant to be: other work on the machine slows sums and floor unlike.
const GRANTED: f64 = 1.25;
const TRIES: usize = 3;

fn frame(letters: &str, hot_one_in: Option<u32>) -> Frame {
    let data = wall(hot_one_in);
    Frame {
        samples: Samples::Raw(
            Mosaic { width: WIDTH, height: HEIGHT, data: data.into() },
            Cfa::from_letters(letters).expect("a known pattern"),
        ),
        active: Area { left: 0, top: 0, width: WIDTH, height: HEIGHT },
        masked: Vec::new(),
        levels: Levels { black: BlackPattern::uniform(512.0), white: 15_000 },
        info: FrameInfo {
            file: "bench".to_owned(),
            sha256: String::new(),
            origin: Origin::Raw,
            camera: Camera::default(),
            exposure: Exposure::default(),
            capture: Capture::default(),
            orientation: 1,
            as_shot_neutral: None,
            matrices: Vec::new(),
            noise_reduction: None,
            subject: Vec::new(),
        },
    }
}

fn main() {
    let plain = wall(None);
    // How many times the floor each is meant to take.
    let frames = [
        ("period 2", 2.0, frame(BAYER, None)),
        ("period 6", 3.0, frame(XTRANS, None)),
        ("period 2, half a percent hot", 4.0, frame(BAYER, Some(200))),
        ("period 6, half a percent hot", 6.0, frame(XTRANS, Some(200))),
    ];
    let mut criterion = Criterion::default()
        .warm_up_time(Duration::from_millis(500))
        .measurement_time(Duration::from_secs(3))
        .sample_size(20)
        .configure_from_args();
    criterion.bench_function("floor, four sums", |b| b.iter(|| four_sums(black_box(&plain))));
    for (name, _, frame) in &frames {
        criterion.bench_function(name, |b| b.iter(|| reduce(black_box(frame))));
    }
    criterion.final_summary();
    if std::env::args().any(|a| a == "--profile-time") {
        return;
    }

    let (mut floor, mut found) = (0.0, Vec::new());
    let mut is_slow = true;
    for _ in 0..TRIES {
        (floor, found) = in_turns(&plain, &frames);
        let most = frames.iter().map(|(_, most, _)| GRANTED * most * floor);
        is_slow = found.iter().zip(most).any(|(ms, most)| *ms > most);
        if !is_slow {
            break;
        }
    }
    let slow = least(1, || reference::reduce(black_box(&frames[0].2)));
    let mut out = std::io::stdout().lock();
    let mut line = |name: &str, ms: f64, most: String| {
        // A closed pipe is no reason to fail a bench.
        writeln!(out, "{name:32} {ms:8.2} ms {:6.2} x floor {most}", ms / floor).ok();
    };
    line("floor, four sums", floor, String::new());
    for (ms, (name, most, _)) in found.iter().zip(&frames) {
        line(name, *ms, format!("(aim {most})"));
    }
    line("slow reference, period 2", slow, String::new());
    if is_slow {
        writeln!(out, "slower than it is meant to be by more than a quarter").ok();
        std::process::exit(1);
    }
}

/// Milliseconds of the floor and of each frame, in turns, since other work on the machine comes and
/// goes.
fn in_turns(plain: &[u16], frames: &[(&str, f64, Frame)]) -> (f64, Vec<f64>) {
    let (mut floor, mut found) = (f64::INFINITY, vec![f64::INFINITY; frames.len()]);
    for _ in 0..RUNS {
        floor = floor.min(least(1, || four_sums(black_box(plain))));
        for (found, (_, _, frame)) in found.iter_mut().zip(frames) {
            *found = found.min(least(1, || reduce(black_box(frame))));
        }
    }
    (floor, found)
}
