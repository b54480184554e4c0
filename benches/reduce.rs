//! Reducing one mosaic of 24 megapixels on one core, beside the least that any pass must do.
//!
//! `cargo bench --bench reduce`; the last lines are the ratios to the floor.

use criterion::Criterion;
use lightloss::frame::cfa::Cfa;
use lightloss::frame::{
    Area, BlackPattern, Camera, Capture, Exposure, Frame, FrameInfo, Levels, Mosaic, Origin,
    Samples,
};
use lightloss::reduce::{reduce, reference};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use std::hint::black_box;
use std::io::Write;
use std::time::{Duration, Instant};

const WIDTH: usize = 6_000;
const HEIGHT: usize = 4_000;
const BAYER: &str = "RGGB";
const XTRANS: &str = "GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG";
/// Runs behind a printed ratio; the least of them is taken, since other work only adds.
const RUNS: usize = 40;

fn frame(letters: &str, hot_one_in: Option<u32>) -> Frame {
    let mut random = ChaCha8Rng::seed_from_u64(24);
    let noise = Normal::new(0.0, 20.0).expect("a finite deviation");
    // Noise is drawn once and reused with shifts: the time does not depend on its randomness.
    let drawn: Vec<f64> = (0..65_537).map(|_| noise.sample(&mut random)).collect();
    let data = (0..WIDTH * HEIGHT)
        .map(|i| {
            if hot_one_in.is_some_and(|n| random.random_ratio(1, n)) {
                return random.random_range(3_000..16_000);
            }
            let (x, y) = ((i % WIDTH) as f64 / WIDTH as f64, (i / WIDTH) as f64 / HEIGHT as f64);
            let falloff = 1.0 - 0.5 * ((x - 0.5).powi(2) + (y - 0.5).powi(2));
            (2_500.0 * falloff + drawn[i % drawn.len()]) as u16
        })
        .collect();
    Frame {
        samples: Samples::Raw(
            Mosaic { width: WIDTH, height: HEIGHT, data },
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

/// The floor: four sums over all pixels, one for each place of a Bayer pattern.
fn four_sums(frame: &Frame) -> [u64; 4] {
    let Samples::Raw(mosaic, _) = &frame.samples else { return [0; 4] };
    let mut sums = [0; 4];
    for (row, values) in mosaic.data.chunks_exact(mosaic.width).enumerate() {
        let mut lanes = [0_u32; 8];
        let (chunks, rest) = values.as_chunks::<8>();
        for chunk in chunks {
            for (lane, &v) in chunk.iter().enumerate() {
                lanes[lane] += u32::from(v);
            }
        }
        for (lane, &v) in rest.iter().enumerate() {
            lanes[lane] += u32::from(v);
        }
        for (lane, sum) in lanes.iter().enumerate() {
            sums[(row % 2) * 2 + lane % 2] += u64::from(*sum);
        }
    }
    sums
}

fn least<T>(runs: usize, mut work: impl FnMut() -> T) -> f64 {
    let time = |work: &mut dyn FnMut() -> T| {
        let start = Instant::now();
        black_box(work());
        start.elapsed().as_secs_f64() * 1e3
    };
    (0..runs).map(|_| time(&mut work)).fold(f64::INFINITY, f64::min)
}

fn main() {
    let frames = [
        ("period 2", frame(BAYER, None)),
        ("period 6", frame(XTRANS, None)),
        ("period 2, half a percent hot", frame(BAYER, Some(200))),
    ];
    let mut criterion = Criterion::default()
        .warm_up_time(Duration::from_millis(500))
        .measurement_time(Duration::from_secs(3))
        .sample_size(20)
        .configure_from_args();
    criterion.bench_function("floor, four sums", |b| b.iter(|| four_sums(black_box(&frames[0].1))));
    for (name, frame) in &frames {
        criterion.bench_function(name, |b| b.iter(|| reduce(black_box(frame))));
    }
    criterion.final_summary();
    if std::env::args().any(|a| a == "--profile-time") {
        return;
    }

    let floor = least(RUNS, || four_sums(black_box(&frames[0].1)));
    let mut out = std::io::stdout().lock();
    let mut line = |name: &str, ms: f64| {
        // A closed pipe is no reason to fail a bench.
        writeln!(out, "{name:32} {ms:8.2} ms {:6.2} x floor", ms / floor).ok();
    };
    line("floor, four sums", floor);
    for (name, frame) in &frames {
        line(name, least(RUNS, || reduce(black_box(frame))));
    }
    line("slow reference, period 2", least(1, || reference::reduce(black_box(&frames[0].1))));
}
