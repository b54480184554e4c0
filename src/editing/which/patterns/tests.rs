//! Ratio maps in closed form, and what they say of graduated filters.
#![allow(clippy::unwrap_used)]

use super::*;

const VIEW: Outlook = Outlook { size: (24, 16), orientation: 1, focal_mm: None };
/// Fine enough for a line to be placed to a fortieth of the height.
const FINE: Outlook = Outlook { size: (80, 80), orientation: 1, focal_mm: None };
const STOPS: f64 = 2.0;
const WIDTH: f64 = 0.2;
const CAST: [f64; 2] = [0.06, -0.1];

fn difference(view: Outlook, turn: isize, stops: impl Fn(f64, f64) -> f64) -> SceneDifference {
    let (columns, rows) = view.size;
    let at = |i: usize| {
        let (x, y) = (i % columns, i / columns);
        // Turned to the right the left part was seen before.
        let seen = x.checked_add_signed(turn).is_some_and(|x| x < columns);
        let stops = stops((x as f64 + 0.5) / columns as f64, (y as f64 + 0.5) / rows as f64);
        if seen { stops as f32 } else { f32::NAN }
    };
    let map: Vec<f32> = (0..columns * rows).map(at).collect();
    let stops = median(finite(&map)).unwrap_or(0.0);
    SceneDifference { stops, u: 0.02, colour: [Some(0.0); 2], map, same: 1.0, turn }
}

/// What a graduated filter takes at a height, by its line: a straight ramp.
fn taken(line: f64, y: f64) -> f64 {
    STOPS * (0.5 - (y - line) / WIDTH).clamp(0.0, 1.0)
}

fn even_and_graduated() -> [Pattern; 2] {
    [Pattern::Even, Pattern::Graduated { stops: STOPS, width: WIDTH, cast: CAST }]
}

/// Nothing changes from one frame to the next: a graduated filter that stays on says that as well as
/// none, but for how seldom its line stays; one that came or went does not.
#[test]
fn a_graduation_that_stays_is_hardly_less_likely_than_none() {
    let patterns = [
        Pattern::Even,
        Pattern::Graduated { stops: 2.5, width: 0.1, cast: [0.0; 2] },
        Pattern::Measured { columns: 2, rows: 1, stops: vec![0.2, 0.3], focal_mm: None },
        Pattern::Both(2, 1),
    ];
    let drawn = Drawn::of(&patterns, VIEW);
    let fits = fits(&difference(VIEW, 0, |_, _| 0.0), &drawn);
    let at = |one: usize, two: usize| fits[one * patterns.len() + two].log;
    let least = LINE_STAYS.ln() - 1e-3;
    assert!(at(1, 1) > least && at(1, 1) < 0.0, "{}", at(1, 1));
    assert!(at(3, 1) > at(0, 1) + 5.0, "{} {}", at(3, 1), at(0, 1));
    assert!(at(0, 1) < -5.0, "{}", at(0, 1));
}

/// What is added to the light of a frame by itself: half the density of a symmetric graduation whose line
/// lies in the middle, and beside it what was measured.
#[test]
fn a_pattern_takes_what_it_takes_with_its_line_in_the_middle() {
    let measured = Pattern::Measured { columns: 2, rows: 1, stops: vec![0.2, 0.3], focal_mm: None };
    let [even, graduated] = even_and_graduated();
    let drawn = Drawn::of(&[even, measured, graduated, Pattern::Both(1, 2)], FINE);
    // A line is drawn to half a row of two by two cells.
    let rounded = STOPS / FINE.size.1 as f64 + 1e-6;
    let truth = [0.0, 0.25, STOPS / 2.0, 0.25 + STOPS / 2.0];
    for (pattern, truth) in truth.into_iter().enumerate() {
        let mean = drawn.mean(pattern);
        assert!((mean - truth).abs() <= rounded, "{pattern}: {mean} {truth}");
    }
}

/// Somebody stands before the sky: that is no graduated filter, however dark his coat.
#[test]
fn what_comes_into_the_picture_is_no_graduation() {
    let drawn = Drawn::of(&even_and_graduated(), VIEW);
    let seen = |dark: &dyn Fn(f64, f64) -> bool| {
        let difference = difference(VIEW, 0, |x, y| if dark(x, y) { -3.0 } else { 0.0 });
        let fits = fits(&difference, &drawn);
        // Whether a graduation came, against nothing.
        fits[1].log - fits[0].log
    };
    let figure = seen(&|x, y| (x - 0.4).hypot(y - 0.15) < 0.3);
    assert!(figure < -2.0, "{figure}");
    // Darker all along the sky: that is one.
    let sky = seen(&|_, y| y < 0.4);
    assert!(sky > 3.0, "{sky}");
}

/// A graduated filter that stays on while its line moves: the light is as it was, whatever the middle of
/// the picture shows, and the cast goes with the density.
#[test]
fn a_line_that_moves_takes_its_density_and_its_cast_along() {
    let drawn = Drawn::of(&even_and_graduated(), FINE);
    // Half of what half a step of the lines makes of a ramp: 0.025 / 0.2 of two stops.
    const BETWEEN_LINES: f64 = 0.125;
    for (from, to) in [(0.3, 0.6), (0.55, 0.35), (0.42, 0.58), (0.33, 0.48)] {
        let moved = |y: f64| taken(to, y) - taken(from, y);
        let fits = fits(&difference(FINE, 0, |_, y| -moved(y)), &drawn);
        let stays = fits[3];
        assert!(stays.log > fits[0].log + 4.0, "{from} {to}: {stays:?} {:?}", fits[0]);
        assert!(stays.middle.abs() < BETWEEN_LINES, "{from} {to}: {stays:?}");
        // The middle of all heights.
        let middle = median((0..1000).map(|i| moved((f64::from(i) + 0.5) / 1000.0))).unwrap();
        for (seen, cast) in stays.colour.iter().zip(CAST) {
            let off = seen - cast * middle / STOPS;
            assert!(off.abs() < BETWEEN_LINES * cast.abs(), "{from} {to}: {stays:?} {middle}");
        }
    }
}

/// Pictures of a panorama: the filter is fixed to the camera, and its line lies across all of them.
#[test]
fn a_graduation_tells_in_pictures_of_a_panorama() {
    let drawn = Drawn::of(&even_and_graduated(), FINE);
    for turn in [28, -28] {
        // Nothing on in either, then put on in the later one, then moved.
        let nothing = fits(&difference(FINE, turn, |_, _| 0.0), &drawn);
        assert!(nothing[0].log > nothing[1].log + 5.0, "{nothing:?}");
        let came = fits(&difference(FINE, turn, |_, y| -taken(0.4, y)), &drawn);
        assert!(came[1].log > came[0].log + 5.0 && came[1].middle.abs() < 0.05, "{came:?}");
        let moved = difference(FINE, turn, |_, y| taken(0.6, y) - taken(0.4, y));
        let moved = fits(&moved, &drawn);
        assert!(moved[3].log > moved[0].log + 4.0 && moved[3].middle.abs() < 0.05, "{moved:?}");
    }
}

/// The same with the camera on its side (orientation 6: the picture's top is the first column), turned up
/// or down: the line lies along the columns, and what was before it lies elsewhere in the earlier frame.
#[test]
fn a_graduation_tells_in_pictures_of_a_panorama_on_its_side() {
    let upright = Outlook { orientation: 6, ..FINE };
    let drawn = Drawn::of(&even_and_graduated(), upright);
    // Of seven lines one lies wholly beyond what both frames see: it darkens all of that alike.
    let out_of_sight = (1f64 / 7.0).ln();
    const IN_PART: f64 = 0.2;
    for (turn, line) in [(28, 0.6), (-28, 0.4)] {
        let before = turn as f64 / upright.size.0 as f64;
        let seen =
            |stops: &dyn Fn(f64) -> f64| fits(&difference(upright, turn, |x, _| stops(x)), &drawn);
        let nothing = seen(&|_| 0.0);
        let lines = |with: usize| nothing[with].log < nothing[0].log + out_of_sight + IN_PART;
        assert!((1..4).all(lines), "{nothing:?}");
        let came = seen(&|x| -taken(line, x));
        assert!(came[1].log > came[0].log + 5.0 && came[1].middle.abs() < 0.05, "{came:?}");
        let went = seen(&|x| taken(line, x + before));
        assert!(went[2].log > went[0].log + 5.0 && went[2].middle.abs() < 0.05, "{went:?}");
        let stayed = seen(&|x| taken(line, x + before) - taken(line, x));
        assert!(stayed[3].log > stayed[0].log + 4.0, "{stayed:?}");
        assert!(stayed[3].middle.abs() < 0.05, "{stayed:?}");
    }
}

/// What falls off towards the corners of every lens moves on over the scene as the camera turns (the
/// fourth power of the cosine, for a lens of 24 mm before a frame of 36 by 24): that is no graduation.
#[test]
fn a_lens_that_falls_off_is_no_graduation() {
    let drawn = Drawn::of(&even_and_graduated(), FINE);
    let falls = |x: f64, y: f64| {
        let off = ((x - 0.5) * 36.0).hypot((y - 0.5) * 24.0);
        -2.0 * (1.0 + (off / 24.0).powi(2)).log2()
    };
    for turn in [28.0, -28.0] {
        let before = turn / FINE.size.0 as f64;
        let seen = |x: f64, y: f64| falls(x, y) - falls(x + before, y);
        let fits = fits(&difference(FINE, turn as isize, seen), &drawn);
        for with in 1..4 {
            assert!(fits[with].log < fits[0].log, "{turn}: {fits:?}");
        }
    }
}
