//! MTF50, ratios and their uncertainty, losses found and not invented.

use super::Line;
use super::frames::{Stage, Wanted, sigma_of};
use lightloss::frame::Area;
use lightloss::frame::cfa::Cfa;
use lightloss::measure::picture::TakenAs;
use lightloss::measure::picture::edge::{EdgeFigures, LN_MTF50, SlantedEdge};
use lightloss::measure::picture::greens::PatchGreens;
use lightloss::measure::picture::ratio::{Compared, compared, over_edges, state};
use lightloss::measure::picture::record;
use lightloss::measure::picture::transfer::Window;
use lightloss::say::picture::{Loss, loss};
use lightloss::simulate::camera::Camera;
use lightloss::simulate::optics::image::{Image, Optics};
use lightloss::simulate::optics::subject::Subject;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use std::sync::Arc;

const PATTERNS: [&str; 5] =
    ["RGGB", "GRBG", "GBRG", "BGGR", "GBGGRGRGRBGBGBGGRGGRGGBGBGBRGRGRGGBG"];
/// Edges of a shoot, as the plan's page has them, and frames of each state.
const EDGES: usize = 5;
const REPEATS: usize = 3;
/// Pixels of a patch.
const SIZE: (usize, usize) = (192, 224);

/// One edge: what was found against what was planted.
struct One {
    mtf50_off: f64,
    ratio_off: f64,
    inside: bool,
    compared: Compared,
}

struct Shoot {
    lost: f64,
    edges: Vec<One>,
    found: Option<Loss>,
    inside: bool,
    refused: usize,
}

pub fn lines(shoots: u64, seed: u64) -> Vec<Line> {
    let done: Vec<Shoot> =
        (0..shoots).into_par_iter().map(|i| shoot(seed.wrapping_mul(1_000_003) + i)).collect();
    let edges: Vec<&One> = done.iter().flat_map(|s| &s.edges).collect();
    let n = edges.len() as f64;
    let within = |of: &dyn Fn(&One) -> f64, limit: f64| {
        100.0 * edges.iter().filter(|e| of(e).abs() <= limit).count() as f64 / n
    };
    let bias = |of: &dyn Fn(&One) -> f64| 100.0 * edges.iter().map(|e| of(e)).sum::<f64>() / n;
    let (mtf, ratio) = (|e: &One| e.mtf50_off, |e: &One| e.ratio_off);
    let inside = 100.0 * edges.iter().filter(|e| e.inside).count() as f64 / n;
    let lost = |l: f64| done.iter().filter(move |s| (s.lost - l).abs() < 1e-9);
    let share = |l: f64, shows: bool| {
        let all = lost(l).count();
        let right = lost(l).filter(|s| matches!(s.found, Some(Loss::Shows(_))) == shows).count();
        (100.0 * right as f64 / all.max(1) as f64, all)
    };
    let ((found, of), (clear, none)) = (share(0.03, true), share(0.0, false));
    let refused: usize = done.iter().map(|s| s.refused).sum();
    let overall =
        100.0 * done.iter().filter(|s| s.inside).count() as f64 / done.len().max(1) as f64;
    // Chance alone: three standard deviations of a share of 95 % of so many.
    let chance = |count: f64| 300.0 * (0.05 * 0.95 / count.max(1.0)).sqrt();
    let (least, most) =
        if n >= 500.0 { (93.0, 97.0) } else { (95.0 - chance(n), 95.0 + chance(n)) };
    let share_of = |count: usize| 95.0 - if n >= 500.0 { 0.0 } else { chance(count as f64) };
    let percent = |v: f64| format!("{v:.1} %");
    vec![
        Line::new("edges measured", format!("{n:.0}, refused {refused}"), "all", refused == 0),
        Line::new(
            "MTF50, mean error",
            format!("{:+.2} %", bias(&mtf)),
            "0.3 %",
            bias(&mtf).abs() < 0.3,
        ),
        Line::new(
            "MTF50 within 1.5 % of truth",
            percent(within(&mtf, 0.015)),
            "95 %",
            within(&mtf, 0.015) >= 95.0,
        ),
        Line::new(
            "ratio, mean error",
            format!("{:+.2} %", bias(&ratio)),
            "0.1 %",
            bias(&ratio).abs() < 0.1,
        ),
        Line::new(
            "ratio within 1 % of truth",
            percent(within(&ratio, 0.01)),
            "95 %",
            within(&ratio, 0.01) >= 95.0,
        ),
        Line::new(
            "ratio inside its u95",
            percent(inside),
            &format!("{least:.0} to {most:.0} %"),
            (least..=most).contains(&inside),
        ),
        Line::new("ratio over five edges inside its u95", percent(overall), "stated", true),
        Line::new(
            &format!("loss of 3 % found, three repeats, five edges ({of})"),
            percent(found),
            &format!("{:.0} %", share_of(of)),
            found >= share_of(of),
        ),
        Line::new(
            &format!("no loss claimed where there is none ({none})"),
            percent(clear),
            &format!("{:.0} %", share_of(none)),
            clear >= share_of(none),
        ),
    ]
}

fn shoot(seed: u64) -> Shoot {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let lost = match rng.random_range(0..4) {
        0 | 1 => 0.0,
        2 => 0.03,
        _ => rng.random_range(0.0..0.15),
    };
    let mtf50 = rng.random_range(0.10..0.42);
    let angle = rng.random_range(3.0..10.0);
    let letters = PATTERNS[rng.random_range(0..PATTERNS.len())];
    let cfa = Cfa::from_letters(letters).expect("a pattern");
    let camera = if letters.len() == 4 {
        Camera::bayer(SIZE.0, SIZE.1)
    } else {
        Camera::xtrans(SIZE.0, SIZE.1)
    };
    let camera = Camera { cfa, ..camera };
    let mut refused = 0;
    let mut edges = Vec::new();
    for k in 0..EDGES {
        let subject = Subject::Edge {
            upright: rng.random_bool(0.5),
            angle,
            offset: rng.random_range(-4.0..4.0),
            dark: rng.random_range(0.05..0.25),
        };
        match one(&camera, &subject, mtf50, lost, angle, seed * 8 + k as u64) {
            Some(edge) => edges.push(edge),
            None => refused += 1,
        }
    }
    let all: Vec<Compared> = edges.iter().map(|e| e.compared.clone()).collect();
    let change = over_edges(&all).and_then(|c| c.change());
    let ratio = change.as_ref().map(record::change);
    let inside = ratio.is_some_and(|r| (r.value.get() - (1.0 - lost)).abs() <= r.u95.get());
    Shoot { lost, edges, found: ratio.map(loss), inside, refused }
}

fn one(
    camera: &Camera,
    subject: &Subject,
    mtf50: f64,
    lost: f64,
    angle: f64,
    seed: u64,
) -> Option<One> {
    let stage = Stage::new(camera.clone(), seed);
    let mut wanted = Vec::new();
    for (state, sharp) in [(TakenAs::Bare, mtf50), (TakenAs::Filtered, mtf50 * (1.0 - lost))] {
        let optics = Optics::blurred(sigma_of(sharp, angle).max(0.05));
        let image = Arc::new(Image::finely(subject, &optics, SIZE));
        let one = Wanted { image, seconds: 1.0, filters: Vec::new(), f_number: 8.0, state };
        wanted.extend(std::iter::repeat_n(one, REPEATS));
    }
    let whole = Area { left: 0, top: 0, width: SIZE.0, height: SIZE.1 };
    let edges: Vec<SlantedEdge> = stage
        .frames(&wanted)
        .iter()
        .map(|frame| {
            let patch = frame.patch(whole)?;
            SlantedEdge::of(&PatchGreens::of(
                &patch,
                &camera.cfa,
                &frame.levels.black,
                frame.levels.white,
            ))
            .ok()
        })
        .collect::<Option<_>>()?;
    let window = Window::for_rise(edges.iter().map(|e| e.rise).fold(0.0, f64::max));
    let readings: Vec<EdgeFigures> =
        edges.iter().map(|e| e.reading(window)).collect::<Option<_>>()?;
    let (bare, filtered): (Vec<&EdgeFigures>, Vec<&EdgeFigures>) =
        (readings[..REPEATS].iter().collect(), readings[REPEATS..].iter().collect());
    let compared = compared(&bare, &filtered, LN_MTF50);
    let ratio = record::change(&compared.change()?);
    let off = ratio.value.get() - (1.0 - lost);
    Some(One {
        mtf50_off: state(&bare)?.mtf50.value / mtf50 - 1.0,
        ratio_off: off,
        inside: off.abs() <= ratio.u95.get(),
        compared,
    })
}
