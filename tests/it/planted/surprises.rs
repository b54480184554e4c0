//! Filters that are not what they were taken for, and mounts that are not where they should be:
//! planted by vectors of its own, without the program's model of a filter.

#![allow(clippy::unwrap_used)]

use crate::shooting::{candidates, dial};
use lightloss::measure::evenness::evenness;
use lightloss::measure::kinds::solid;
use lightloss::measure::map::{Detail, FrameLight, RatioMap, build};
use lightloss::measure::{About, measure};
use lightloss::profile::{CrossState, Grade, Kind, Profile};
use lightloss::quantity::Stops;
use lightloss::shoot::{Candidate, Label, Wish, sort};
use lightloss::simulate::camera::{Camera, Lens};
use lightloss::simulate::filter::{Filter, Graduation};
use lightloss::simulate::optics::Transition;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};
use lightloss_planted::planted_maps::{Stage, Wall, frame, map_in};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;

/// Noise of one cell of a frame, in stops.
const NOISE: f64 = 0.008;
/// Onset of a shade, in half diagonals.
const ONSET: f64 = 0.06;
/// Half of 36 x 24 mm.
const HALF: (f64, f64) = (18.0, 12.0);

/// Light of the cells, with what passes at a place in millimetres from the middle, y upwards.
fn light(stage: &Stage, passed: &dyn Fn(f64, f64) -> f64) -> [Vec<f64>; 3] {
    let layout = stage.layout();
    let mm = 2.0 * HALF.0 / stage.width_px as f64;
    let mut cells = Vec::new();
    for row in 0..layout.rows {
        for column in 0..layout.columns {
            let mut sum = 0.0;
            for k in 0..9 {
                let at = |cell: usize, k: usize| (cell as f64 + (k as f64 + 0.5) / 3.0) * 32.0 * mm;
                sum += passed(at(column, k % 3) - HALF.0, HALF.1 - at(row, k / 3)) / 9.0;
            }
            cells.push(sum);
        }
    }
    [cells.clone(), cells.clone(), cells]
}

/// Two bare frames, two with what passes, two bare ones in what their light has become.
pub fn map(
    passed: &dyn Fn(f64, f64) -> f64,
    after: &dyn Fn(f64, f64) -> f64,
    seed: u64,
) -> RatioMap {
    map_on(&Stage::full(24.0), passed, after, seed)
}

/// The same in the cells of a camera of 36 x 24 mm.
pub fn map_on(
    stage: &Stage,
    passed: &dyn Fn(f64, f64) -> f64,
    after: &dyn Fn(f64, f64) -> f64,
    seed: u64,
) -> RatioMap {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut shot = |light: &[Vec<f64>; 3], run: u32| -> Vec<FrameLight> {
        (0..2).map(|_| frame(stage, light, run, NOISE, &mut rng)).collect()
    };
    let mut bare = shot(&light(stage, &|_, _| 1.0), 1);
    let filtered = shot(&light(stage, passed), 2);
    bare.extend(shot(&light(stage, after), 3));
    build(&stage.layout(), &bare, &filtered, Detail::Fine).unwrap()
}

/// What glass of so many stops passes that is tilted by an angle towards a direction, both in
/// degrees: the ray's angle to the glass's own normal, Snell's law with n = 1.5, the path inside.
fn tilted_glass(stops: f64, focal: f64, tilt: f64, towards: f64) -> impl Fn(f64, f64) -> f64 {
    let (tilt, towards) = (tilt.to_radians(), towards.to_radians());
    let normal = [tilt.sin() * towards.cos(), tilt.sin() * towards.sin(), tilt.cos()];
    move |x, y| {
        let length = (x * x + y * y + focal * focal).sqrt();
        let cosine = (x * normal[0] + y * normal[1] + focal * normal[2]) / length;
        let inner = (1.0 - cosine * cosine).max(0.0).sqrt() / 1.5;
        (-stops / (1.0 - inner * inner).sqrt()).exp2()
    }
}

#[test]
fn strong_glass_that_is_tilted_is_no_dark_cross() {
    let mut cases = Vec::new();
    for focal in [14.0, 20.0, 24.0] {
        for stops in [10.0, 15.0] {
            cases.extend((0..12).map(|k| (focal, stops, 30.0 * f64::from(k) + 7.0)));
        }
    }
    let crosses: Vec<_> = cases
        .into_par_iter()
        .enumerate()
        .filter(|(seed, (focal, stops, towards))| {
            let glass = tilted_glass(*stops, *focal, 4.0, *towards);
            let found = evenness(&map(&glass, &|_, _| 1.0, *seed as u64)).unwrap();
            found.record.dark_cross.state != CrossState::Absent
        })
        .collect();
    assert!(crosses.is_empty(), "{} of 72 crosses: {crosses:?}", crosses.len());
}

/// Light past an edge with a penumbra: what a disc-shaped pupil shows beside it, by halves of its
/// width (a circle's segment, handbook formula).
pub fn past_edge(inside_mm: f64, penumbra_mm: f64) -> f64 {
    let u = (2.0 * inside_mm / penumbra_mm).clamp(-1.0, 1.0);
    1.0 - (u.acos() - u * (1.0 - u * u).sqrt()) / std::f64::consts::PI
}

/// A square opening of this half side in millimetres, turned, its middle off the picture's.
pub fn square(half: f64, turned: f64, off: (f64, f64), penumbra: f64) -> impl Fn(f64, f64) -> f64 {
    let (sin, cos) = turned.to_radians().sin_cos();
    move |x, y| {
        let (x, y) = (x - off.0, y - off.1);
        let (a, b) = (x * cos + y * sin, y * cos - x * sin);
        past_edge(half - a.abs(), penumbra) * past_edge(half - b.abs(), penumbra)
    }
}

/// Smallest radius in half diagonals where the light falls by 0.1 stop below the centre's.
fn onset_of(passed: &dyn Fn(f64, f64) -> f64) -> Option<f64> {
    let limit = passed(0.0, 0.0) * (-0.1_f64).exp2();
    let steps = (0..=360).flat_map(|i| (0..=240).map(move |k| (i, k)));
    let places = steps.map(|(i, k)| (f64::from(i) / 10.0 - HALF.0, f64::from(k) / 10.0 - HALF.1));
    let dark = places.filter(|(x, y)| passed(*x, *y) < limit).map(|(x, y)| x.hypot(y));
    dark.min_by(f64::total_cmp).map(|r| r / HALF.0.hypot(HALF.1))
}

/// What passes at a place in millimetres from the middle.
type Opening = Box<dyn Fn(f64, f64) -> f64>;

#[test]
fn turned_holders_and_cut_corners_are_found_or_said_to_be_unknown() {
    let openings: Vec<(&str, Opening)> = vec![
        ("square turned by 12 degrees", Box::new(square(17.4, 12.0, (0.0, 0.0), 2.5))),
        (
            "square turned by 20 degrees, off the centre",
            Box::new(square(18.0, 20.0, (1.5, 1.0), 2.5)),
        ),
        (
            "square turned by 33 degrees, off the centre",
            Box::new(square(17.8, 33.0, (-1.0, 1.2), 3.0)),
        ),
        // Opposite edges that darken opposite corners alike, as polarisers would.
        ("square turned by 30 degrees", Box::new(square(15.5, 30.0, (0.3, -0.2), 2.0))),
        ("square turned by 38 degrees", Box::new(square(16.5, 38.0, (0.3, -0.2), 3.0))),
        ("square turned by 45 degrees", Box::new(square(16.5, 45.0, (0.3, -0.2), 3.0))),
        ("one corner", Box::new(square(18.0, 45.0, (2.0, 2.0), 2.5))),
        ("another corner", Box::new(square(18.5, 40.0, (-2.2, 1.8), 3.0))),
    ];
    let mut found_right = 0;
    for (seed, (what, opening)) in (100..).zip(openings) {
        let found = evenness(&map(&*opening, &|_, _| 1.0, seed)).unwrap();
        let planted = onset_of(&*opening).expect("something is shaded");
        assert_eq!(found.record.dark_cross.state, CrossState::Absent, "{what}");
        assert!(found.shade.mechanical || found.shade.unexplained, "{what}: nothing said");
        if let Some(told) = found.shade.onset {
            assert!((told - planted).abs() < ONSET, "{what}: {told:.3} for {planted:.3}");
            found_right += 1;
        }
    }
    assert!(found_right > 0, "none found");
}

/// Holders so small or so far off that no disc around the middle is free of their shade.
#[test]
fn holders_that_shade_whole_sides_are_found_and_are_no_cross() {
    let openings = [
        // half side, off the centre, width of the penumbra; millimetres
        (13.5, (1.4, 1.4), 3.6),
        (13.7, (-0.3, 0.4), 5.0),
        (13.4, (-1.7, -1.2), 2.0),
        (14.5, (1.0, 0.0), 6.0),
    ];
    for (seed, (half, off, penumbra)) in (200..).zip(openings) {
        let opening = square(half, 0.0, off, penumbra);
        // Even, and glass that takes more the longer the path is.
        for glass in [0.0, 0.3] {
            let of_glass = |x: f64, y: f64| (-glass * (x * x + y * y) / HALF.0.powi(2)).exp2();
            let passed = |x: f64, y: f64| opening(x, y) * of_glass(x, y);
            let found = evenness(&map(&passed, &|_, _| 1.0, seed)).unwrap();
            let planted = onset_of(&opening).expect("something is shaded");
            let what = format!("{half} mm, off by {off:?}, glass {glass}");
            assert_eq!(found.record.dark_cross.state, CrossState::Absent, "{what}");
            assert!(found.shade.mechanical, "{what}: no holder");
            let told = found.shade.onset.unwrap_or(f64::NAN);
            assert!((told - planted).abs() < ONSET, "{what}: {told:.3} for {planted:.3}");
        }
    }
}

/// A line of cells of which nothing is known, at the border of the shade or in it.
#[test]
fn a_holder_is_found_whichever_line_is_unknown() {
    let opening = square(15.5, 0.0, (0.0, 0.0), 1.5);
    let planted = onset_of(&opening).expect("something is shaded");
    let whole = map(&opening, &|_, _| 1.0, 300);
    let right = |map: &RatioMap| {
        let shade = evenness(map).unwrap().shade;
        shade.mechanical && shade.onset.is_some_and(|told| (told - planted).abs() < ONSET)
    };
    assert!(right(&whole));
    // Of 64 columns the outer four and a half are shaded.
    for line in 0..10 {
        let column: Vec<usize> = (0..whole.rows).map(|row| row * whole.columns + line).collect();
        assert!(right(&whole.without(&column)), "line {line}");
    }
}

#[test]
fn a_shadow_in_one_run_is_named() {
    // half the frame in 0.3 stop of shade, soft over 3 mm, in the closing bare frames alone
    let shadow = |x: f64, y: f64| {
        let inside = 0.9 * x + 0.4 * y - 2.0;
        1.0 - 0.19 * (1.0 - past_edge(inside, 3.0))
    };
    let even = |_: f64, _: f64| 0.25;
    let caution = solid::shadow(&map(&even, &shadow, 7)).expect("a shadow");
    assert_eq!(caution.code(), "shadow_suspected");
    // or in a fifth of a stop of shade, in all frames through the filter
    let through =
        |x: f64, y: f64| 0.25 * (1.0 - 0.13 * (1.0 - past_edge(0.9 * x + 0.4 * y - 2.0, 3.0)));
    let caution = solid::shadow(&map(&through, &|_, _| 1.0, 12)).expect("a shadow");
    assert_eq!(caution.code(), "shadow_suspected");
    // glass that takes more towards one side throws none
    let wedge = |x: f64, y: f64| 0.25 * (0.006 * x + 0.004 * y).exp2();
    assert_eq!(solid::shadow(&map(&wedge, &|_, _| 1.0, 13)), None);
    // nor does light that merely leans the other way afterwards
    let leaning = |x: f64, y: f64| (0.004 * x - 0.003 * y).exp2();
    assert_eq!(solid::shadow(&map(&even, &leaning, 8)), None);
    assert_eq!(solid::shadow(&map(&even, &|_, _| 1.0, 9)), None);
    // nor do a vignetting ring and strong glass
    let ring = |x: f64, y: f64| past_edge(19.0 - x.hypot(y), 4.0);
    assert_eq!(solid::shadow(&map(&ring, &|_, _| 1.0, 10)), None);
    assert_eq!(solid::shadow(&map(&tilted_glass(10.0, 20.0, 0.0, 0.0), &|_, _| 1.0, 11)), None);
}

#[test]
fn a_wall_that_moved_is_told_by_its_grain() {
    let stage = Stage::full(24.0);
    let mut rng = ChaCha8Rng::seed_from_u64(77);
    let filter = Filter::even([6.0; 3]);
    let mut told = 0;
    for seed in 0..8 {
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        let wave = |_| [0.003 * normal(), 8.0 * normal(), 8.0 * normal(), 3.0 * normal()];
        let wall = Wall { waves: (0..40).map(wave).collect(), ..Wall::even() };
        let moved = Wall { shift: (0.06, 0.02), ..wall.clone() };
        let map = |through: &Wall| {
            map_in(&stage, &filter, [&wall, through, &wall], 0.004, seed, Detail::Fine)
        };
        assert!(!map(&wall).surface_moved, "{seed}");
        told += usize::from(map(&moved).surface_moved);
    }
    assert!(told >= 7, "{told} of 8 told");
    // a wall without grain tells nothing
    let plain = Wall::even();
    let walls = [&plain, &plain, &plain];
    assert!(!map_in(&stage, &filter, walls, 0.004, 1, Detail::Fine).surface_moved);
}

const BARE: f64 = 1.0 / 125.0;

/// Three bare frames, three through each filter in turn at so many times the bare time, three bare
/// frames.
fn shots(filters: &[(Filter, f64)]) -> Vec<Shot> {
    let mut shots = Shot::repeated("S", 1, 3, dial(BARE), &[]);
    for (filter, times) in filters {
        let next = shots.len() + 1;
        let through = std::slice::from_ref(filter);
        shots.extend(Shot::repeated("S", next, 3, dial(BARE * times), through));
    }
    let next = shots.len() + 1;
    shots.extend(Shot::repeated("S", next, 3, dial(BARE), &[]));
    shots
}

fn profile(size: (usize, usize), shots: &[Shot], wish: &Wish, about: &About, seed: u64) -> Profile {
    measure(&sort(taken(size, shots, seed), wish).unwrap(), about).unwrap()
}

fn taken(size: (usize, usize), shots: &[Shot], seed: u64) -> Vec<Candidate> {
    let mut camera = Camera::bayer(size.0, size.1);
    camera.shutter.offsets = 0.0;
    let scene = Scene::daylight(0.45 * 128.0, [0.55, 1.0, 0.7]);
    let session = Session::new(camera, Lens::of(35.0), scene, seed);
    candidates(&session, shots)
}

fn has(profile: &Profile, code: &str) -> bool {
    let own = profile.settings.iter().flat_map(|s| &s.cautions);
    profile.cautions.iter().chain(own).any(|c| c.code == code)
}

const SMALL: (usize, usize) = (1536, 1024);

#[test]
fn graduated_filters_of_which_nobody_said_the_kind_are_never_taken_as_solid() {
    let mut rng = ChaCha8Rng::seed_from_u64(40);
    let curves = [Transition::Erf, Transition::Logistic, Transition::Linear];
    let cases: Vec<Graduation> = (0..40)
        .map(|k| Graduation {
            stops: rng.random_range(0.9..4.0),
            transition: curves[k % 3],
            width_percent: rng.random_range(4.0..45.0),
            centre_percent: rng.random_range(38.0..62.0),
            angle: rng.random_range(-25.0..25.0),
        })
        .collect();
    let (mut refused, mut solid) = (0, Vec::new());
    for (seed, planted) in cases.iter().enumerate() {
        let filter = Filter { graduation: Some(*planted), ..Filter::even([0.12, 0.10, 0.09]) };
        let about = About { name: "Unsaid".into(), ..About::default() };
        // where the middle of the frame lies in the clear half, no frame is darker than another
        let frames = taken(SMALL, &shots(&[(filter, 1.0)]), seed as u64);
        let Ok(shoot) = sort(frames, &Wish::default()) else {
            refused += 1;
            continue;
        };
        let found = measure(&shoot, &about).unwrap();
        if found.filter.kind != Kind::Graduated || !has(&found, "taken_as_graduated") {
            solid.push(*planted);
        }
    }
    assert!(refused < 10, "{refused} of 40 refused");
    assert!(solid.is_empty(), "{} of 40 taken as solid: {solid:?}", solid.len());
}

/// Filters that are darkest in a narrow line and keep less than half of it beyond, or go over in two
/// steps: no curve of few parameters is theirs. A dark band through the middle ends nowhere, and what
/// covers a twentieth of the frame is its mount.
#[test]
fn an_edge_of_any_course_is_one_and_a_dark_band_is_none() {
    const HEIGHT: f64 = 2.0 * HALF.1;
    /// The finest line is darkest over half an averaged cell, which shows so much less of it.
    const MISSED: f64 = 0.25;
    let smooth = |t: f64| t.clamp(0.0, 1.0).powi(2) * (3.0 - 2.0 * t.clamp(0.0, 1.0));
    let found = |course: &dyn Fn(f64) -> f64, turn: f64, seed: u64| {
        let passed = |x: f64, y: f64| {
            let up = (y * turn.cos() - x * turn.sin()) / HEIGHT;
            (-course(up)).exp2()
        };
        let map = map(&passed, &|_, _| 1.0, seed);
        solid::graduation(&map, Stops::new(course(0.0))).map(|found| found.step.get())
    };
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    for seed in 0..12 {
        let stops = rng.random_range(1.2..3.0);
        // beside the centre, where the strength is told over more than a point
        let at = rng.random_range(0.12..0.25) * if seed % 2 == 0 { 1.0 } else { -1.0 };
        let (turn, kept) = (rng.random_range(-0.3..0.3), rng.random_range(0.35..0.6));
        let width = rng.random_range(0.04..0.12);
        let line = |up: f64| {
            let over = smooth((up - at) / width + 0.5);
            stops * over * (1.0 - (1.0 - kept) * smooth((up - at) / (3.0 * width) - 0.3))
        };
        let step = found(&line, turn, seed).unwrap_or(0.0);
        assert!((step - stops).abs() < MISSED * stops, "a line {stops} {kept} {width}: {step}");
        let steps = |up: f64| {
            0.5 * stops * (smooth((up - at) / width + 0.5) + smooth((up - at) / width - 1.5))
        };
        let step = found(&steps, turn, seed + 100).unwrap_or(0.0);
        assert!((step - stops).abs() < MISSED * stops, "two steps {stops} {width}: {step}");
        let band =
            |up: f64| stops * (smooth((up - at) / width + 1.5) - smooth((up - at) / width - 0.5));
        assert_eq!(found(&band, turn, seed + 200), None, "a band {stops} {width}");
        let mount = |up: f64| stops * smooth((up - 0.46) / 0.04 + 0.5);
        assert_eq!(found(&mount, 0.0, seed + 300), None, "a mount {stops}");
    }
}

#[test]
fn a_solid_filter_stays_one_and_a_said_kind_is_kept() {
    let about = About { name: "Six".into(), ..About::default() };
    let shots_of = |filter: Filter, times| shots(&[(filter, times)]);
    for (seed, filter) in
        [Filter::glass([6.1, 6.0, 5.9]), Filter::even([1.0; 3])].into_iter().enumerate()
    {
        let times = filter.stops[1].exp2().round();
        let found = profile(SMALL, &shots_of(filter, times), &Wish::default(), &about, seed as u64);
        assert_eq!(found.filter.kind, Kind::Solid);
        for code in ["shadow_suspected", "taken_as_graduated", "looks_like_another_kind"] {
            assert!(!has(&found, code), "{code}");
        }
    }
    let graduation = Graduation {
        stops: 2.0,
        transition: Transition::Erf,
        width_percent: 12.0,
        centre_percent: 50.0,
        angle: 3.0,
    };
    let filter = Filter { graduation: Some(graduation), ..Filter::even([0.1; 3]) };
    let wish = Wish { kind: Some(Kind::Solid), ..Wish::default() };
    let said = About { kind_said: true, ..about };
    let found = profile(SMALL, &shots_of(filter, 1.0), &wish, &said, 5);
    assert_eq!(found.filter.kind, Kind::Solid);
    assert!(has(&found, "looks_like_another_kind"));
}

/// One graduated filter at two heights shows two levels in the middle of the frame, as a ring would.
#[test]
fn a_graduated_filter_at_two_heights_is_no_ring_without_a_word() {
    let about = About { name: "Unsaid".into(), ..About::default() };
    let at = |stops, width_percent, centre_percent| {
        let transition = Transition::Erf;
        let graduation =
            Graduation { stops, transition, width_percent, centre_percent, angle: 5.0 };
        (Filter { graduation: Some(graduation), ..Filter::even([0.0; 3]) }, 1.5)
    };
    for (stops, width, heights) in
        [(2.5, 12.0, [47.0, 70.0]), (2.5, 40.0, [47.0, 70.0]), (3.5, 40.0, [30.0, 50.0])]
    {
        let shots = shots(&heights.map(|height| at(stops, width, height)));
        let found = profile(SMALL, &shots, &Wish::default(), &about, 3);
        assert_eq!(found.filter.kind, Kind::Variable, "{stops} {width}");
        let said = found.cautions.iter().find(|c| c.code == "looks_like_another_kind").unwrap();
        assert!(said.text.contains("--kind graduated"), "{}", said.text);
        assert_eq!(said.grade, Grade::Number);
        // Who says the kind has it measured so, and is told all the same.
        let said = About { kind_said: true, ..about.clone() };
        let wish = Wish { kind: Some(Kind::Variable), ..Wish::default() };
        let found = profile(SMALL, &shots, &wish, &said, 3);
        assert_eq!(found.filter.kind, Kind::Variable);
        assert!(has(&found, "looks_like_another_kind"), "{stops} {width}");
    }
    let ring = [2.0_f64, 3.0, 4.0].map(|s| (Filter::even([s + 0.1, s, s - 0.1]), s.exp2().round()));
    let found = profile(SMALL, &shots(&ring), &Wish::default(), &about, 9);
    assert_eq!(found.filter.kind, Kind::Variable);
    assert!(!has(&found, "looks_like_another_kind"));
}

#[test]
fn what_cannot_be_is_said_with_its_likely_cause() {
    let shots = shots(&[(Filter::even([3.1, 3.0, 2.9]), 8.0)]);
    let text = |profile: &Profile, code: &str| {
        profile.cautions.iter().find(|c| c.code == code).map(|c| c.text.clone())
    };
    // a density of 0.9 typed as 0.9 stop, and a factor of 8 typed as eight stops
    for (rated, fits) in [(0.9, "0.9D"), (8.0, "8x")] {
        let about =
            About { name: "Three".into(), rated: Some(Stops::new(rated)), ..About::default() };
        let found = profile(SMALL, &shots, &Wish::default(), &about, 3);
        let text = text(&found, "far_from_rated").expect("a caution");
        assert!(text.contains(&format!("--rated {fits}. Otherwise look")), "{text}");
    }
    // three stops in the place of twenty: no other reading fits, and nothing is "otherwise"
    let about = About { name: "Three".into(), rated: Some(Stops::new(20.0)), ..About::default() };
    let found = profile(SMALL, &shots, &Wish::default(), &about, 3);
    let told = text(&found, "far_from_rated").expect("a caution");
    assert!(told.contains("are rated. Look whether"), "{told}");
    let right = About { name: "Three".into(), rated: Some(Stops::new(3.0)), ..About::default() };
    let found = profile(SMALL, &shots, &Wish::default(), &right, 3);
    assert!(!has(&found, "far_from_rated") && !has(&found, "brighter_than_bare"));
    // bare and filtered named the wrong way round
    let labels = (0..shots.len()).map(|i| {
        let label = if (3..6).contains(&i) { Label::Bare } else { Label::Filtered(None) };
        (shots[i].file.clone(), label)
    });
    let wish = Wish { labels: labels.collect(), ..Wish::default() };
    let found = profile(SMALL, &shots, &wish, &right, 3);
    assert!(found.settings[0].strength.stops.get() < -2.5);
    assert!(text(&found, "brighter_than_bare").expect("a caution").contains("swapped"));
}

#[test]
fn a_ring_whose_marks_fall_is_named_and_unnamed_marks_are_called_so() {
    let marks = [2.0, 3.0, 4.0, 5.0];
    let filters: Vec<(Filter, f64)> =
        marks.iter().map(|s| (Filter::even([*s; 3]), s.exp2())).collect();
    let named = |marks: [&str; 4]| Wish {
        kind: Some(Kind::Variable),
        marks: marks.map(str::to_owned).to_vec(),
        ..Wish::default()
    };
    let about = About { name: "Ring".into(), marks_named: true, ..About::default() };
    let good = profile(SMALL, &shots(&filters), &named(["2", "3", "4", "5"]), &about, 6);
    assert!(!has(&good, "marks_fall") && !has(&good, "marks_numbered"));
    let wrong = profile(SMALL, &shots(&filters), &named(["2", "4", "3", "5"]), &about, 6);
    assert!(has(&wrong, "marks_fall"), "{:?}", wrong.cautions);
    let unnamed = Wish { kind: Some(Kind::Variable), ..Wish::default() };
    let about = About { name: "Ring".into(), ..About::default() };
    let found = profile(SMALL, &shots(&filters), &unnamed, &about, 6);
    assert!(has(&found, "marks_numbered"));
}
