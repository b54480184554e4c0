//! What is left out of cells: hot and dead pixels, and nothing else.

use super::*;

fn pixel_mean(frame: &mut Frame) -> f64 {
    let data = data(frame);
    data.iter().map(|&v| f64::from(v)).sum::<f64>() / data.len() as f64
}

/// Values whose median lies far from their mean, with some that are hot: what counting settles is what
/// the medians say.
#[test]
fn what_is_settled_by_counting_is_what_the_medians_say() {
    let mut random = ChaCha8Rng::seed_from_u64(12);
    let (mut settled, mut open, mut off) = (0, 0, 0);
    for case in 0..4_000 {
        let (skew, hot) = (1 + case % 6, random.random_range(0..8));
        let values: Vec<u16> = (0..256)
            .map(|i| match i < hot {
                true => random.random_range(0..12_000),
                false => 1_000 + (900.0 * random.random::<f64>().powi(skew)) as u16,
            })
            .collect();
        let moments = |values: &[u16]| {
            let n = values.len() as f64;
            let mean = values.iter().map(|&v| f64::from(v)).sum::<f64>() / n;
            let squares = values.iter().map(|&v| (f64::from(v) - mean).powi(2));
            (mean, squares.sum::<f64>() / (n - 1.0))
        };
        let (near, all) = (moments(&values[hot..]), moments(&values));
        let near = (near.0, near.1.sqrt());
        let usual = (250.0 * random.random::<f64>()).powi(2);
        let (quick, slow) = dispatch!(Level::new(), simd => (
            quick_look::settle(simd, &values, near, usual),
            limits::limits(simd, &values, all, usual),
        ));
        let Some(quick) = quick else {
            open += 1;
            continue;
        };
        let left_out = |limits: Option<(u16, u16)>| -> Vec<u16> {
            let is_off = |&v: &u16| limits.is_some_and(|(low, high)| v < low || v > high);
            values.iter().copied().filter(is_off).collect()
        };
        assert_eq!(left_out(quick), left_out(slow), "case {case}");
        settled += 1;
        off += usize::from(!left_out(quick).is_empty());
    }
    assert!(settled > 200 && open > 200 && off > 100, "{settled} {open} {off}");
}

/// Frames of enough cells for a law, with hot, dead and warm pixels, which lie near the limits.
#[test]
fn what_is_left_out_beside_the_law_equals_the_slow_way() {
    for (seed, letters) in ["RGGB", XTRANS, "GBRG", "RGGB", "BGGR"].into_iter().enumerate() {
        let mut frame = noisy(512 + 13 * (seed % 2), 331, letters, 2_000.0, 25.0, seed as u64);
        let mut random = ChaCha8Rng::seed_from_u64(seed as u64);
        for v in data(&mut frame) {
            match random.random_range(0..1_000) {
                0..5 => *v = random.random_range(0..WHITE + 500),
                5..8 => *v = v.saturating_add_signed(random.random_range(-500..500)),
                _ => {}
            }
        }
        let summary = reduce(&frame);
        assert!(rejected(&summary) > 500, "{letters}: {}", rejected(&summary));
        assert_eq!(summary, reference::reduce(&frame), "{letters}");
    }
}

#[test]
fn clean_frames_lose_no_light() {
    // Five deviations leave 6e-7 of normal noise outside, evenly on both sides.
    const BIAS: f64 = 1e-5;
    for (letters, level, sigma, seed) in
        [("RGGB", 2_000.0, 25.0, 1), ("BGGR", 600.0, 4.0, 2), (XTRANS, 9_000.0, 60.0, 3)]
    {
        let mut frame = noisy(1_200, 900, letters, level, sigma, seed);
        let truth = pixel_mean(&mut frame);
        let bias = mean_of(&reduce(&frame)) / truth - 1.0;
        assert!(bias.abs() < BIAS, "{letters} at {level}: {bias:e}");
    }
}

#[test]
fn skewed_noise_of_few_electrons_loses_no_light() {
    // Photon noise of 9 electrons at 4 counts each: the long tail is on one side only.
    const BIAS: f64 = 2e-4; // a thousandth of u for 0.0003 stop
    let mut random = ChaCha8Rng::seed_from_u64(4);
    let photons = Poisson::new(9.0).unwrap();
    let mut frame = mosaic(1_200, 900, "RGGB", |_| 4 * photons.sample(&mut random) as u16);
    let truth = pixel_mean(&mut frame);
    let bias = mean_of(&reduce(&frame)) / truth - 1.0;
    assert!(bias.abs() < BIAS, "{bias:e}");
}

#[test]
fn half_a_percent_of_hot_pixels_leaves_the_light_as_it_was() {
    // Unseen hot pixels may add a tenth of the noise of one cell's mean (sigma / 16).
    const SIGMA: f64 = 12.0;
    const LEFT: f64 = 0.1 * SIGMA / 16.0;
    for letters in ["GRBG", XTRANS] {
        let mut frame = noisy(1_200, 900, letters, 700.0, SIGMA, 5);
        let truth = pixel_mean(&mut frame);
        let mut random = ChaCha8Rng::seed_from_u64(6);
        let mut planted = 0;
        for v in data(&mut frame) {
            if random.random_ratio(1, 200) {
                // From eight deviations up to white, as many small as large.
                let above = 8.0 * SIGMA * (150.0_f64).powf(random.random::<f64>());
                *v = v.saturating_add(above as u16);
                planted += 1;
            }
        }
        let spoilt = pixel_mean(&mut frame) - truth;
        let summary = reduce(&frame);
        let left = mean_of(&summary) - truth;
        assert!(spoilt > 10.0 * LEFT, "the planted pixels matter: {spoilt}");
        assert!(left.abs() < LEFT, "{letters}: {left} of {spoilt} counts are left");
        let found = rejected(&summary) as f64 / f64::from(planted);
        assert!((0.9..1.0).contains(&found), "{letters}: found {found}");
    }
}

#[test]
fn dead_pixels_are_left_out_too() {
    let mut frame = noisy(640, 640, "RGGB", 3_000.0, 30.0, 7);
    data(&mut frame).iter_mut().step_by(997).for_each(|v| *v = 0);
    let planted = (640 * 640_usize).div_ceil(997);
    assert_eq!(rejected(&reduce(&frame)), planted);
}

#[test]
fn a_saturated_hot_pixel_does_not_count_as_clipped() {
    let mut frame = noisy(640, 640, "RGGB", 300.0, 6.0, 8);
    data(&mut frame)[640 * 100 + 100] = WHITE;
    let summary = reduce(&frame);
    assert_eq!(rejected(&summary), 1);
    assert!(summary.cells.planes.iter().all(|p| p.clipped.iter().all(|&c| c == 0)));
}

#[test]
fn a_motif_stays_whole() {
    // The edge of a roof through the frame: cells it crosses hold two levels, a fifth dark.
    let mut random = ChaCha8Rng::seed_from_u64(9);
    let noise = Normal::new(0.0, 10.0).unwrap();
    let frame = mosaic(640, 640, "RGGB", |i| {
        let level = if (i % 640) % 160 < 6 { 400.0 } else { 2_000.0 };
        (level + noise.sample(&mut random)) as u16
    });
    assert_eq!(rejected(&reduce(&frame)), 0);
}
